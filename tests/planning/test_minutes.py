"""Minutes for a pipe: common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.condition.organs import RANKS, a_rank, small_organ
from walkboard.condition.kinds import Role
from walkboard.organ.model import TunedBy
from walkboard.planning.minutes import (
    BY_TUNING,
    RECHECK_MINUTES,
    in_minutes,
    in_steps,
    pipe_minutes,
)


def test_a_flue_that_moves_takes_one_to_two_minutes_and_a_reed_one():
    organ = small_organ()
    for rank in organ.ranks:
        role = Role.UNISON if rank.family.is_flue else Role.REED
        assert 1.0 <= pipe_minutes(rank, 1, role, 440.0) <= 2.0
    assert pipe_minutes(organ.rank("great.trumpet"), 1, Role.REED, 440.0) == 1.0


def test_large_pipes_and_mixtures_take_longer():
    organ = small_organ()
    principal, mixture = organ.rank("great.principal"), organ.rank("great.mixture")
    assert pipe_minutes(principal, 1, Role.UNISON, 40.0) > pipe_minutes(
        principal, 1, Role.UNISON, 70.0
    )
    assert pipe_minutes(mixture, 1, Role.MIXTURE, 900.0) > pipe_minutes(
        mixture, 1, Role.UNISON, 900.0
    )


def test_the_ranks_own_minutes_take_their_place():
    own = a_rank("great.slow", minutes="2.72")
    organ = small_organ(more=own)
    assert len(organ.ranks) == len(RANKS) + 1
    assert pipe_minutes(organ.rank("great.slow"), 1, Role.UNISON, 40.0) == 2.75


@pytest.mark.parametrize(("minutes", "steps"), [(0.0, 0), (0.05, 1), (0.051, 2), (1.2, 24)])
def test_time_goes_in_steps_of_three_seconds(minutes, steps):
    assert in_steps(minutes) == steps
    assert in_minutes(steps) >= minutes - 1e-9


def test_pipes_tuned_by_hand_are_heard_once_more_and_tools_warm_nothing():
    organ = small_organ()
    principal, trumpet = organ.rank("great.principal"), organ.rank("great.trumpet")
    by_slide = replace(principal, tuned_by=TunedBy.SLIDE)
    by_cone = replace(principal, tuned_by=TunedBy.CONE)
    slide = BY_TUNING[TunedBy.SLIDE] + RECHECK_MINUTES
    assert pipe_minutes(by_slide, 1, Role.UNISON, 440.0) == pytest.approx(slide)
    assert pipe_minutes(by_cone, 1, Role.UNISON, 440.0) == BY_TUNING[TunedBy.CONE]
    assert pipe_minutes(trumpet, 1, Role.REED, 440.0) == BY_TUNING[TunedBy.SPRING]


def test_each_of_two_that_pull_takes_a_third_of_a_minute_more() -> None:
    """To silence the other and to hear both; common practice, no source."""
    rank = small_organ().rank("great.principal")
    alone, pulls = (pipe_minutes(rank, 25, Role.UNISON, 440.0, pulls=p) for p in (False, True))
    assert pulls - alone == pytest.approx(0.3)
