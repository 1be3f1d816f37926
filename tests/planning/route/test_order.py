"""The order of work, as the trade has it."""

from __future__ import annotations

from itertools import pairwise

import pytest

from tests.condition.organs import small_organ
from tests.planning.states import a_state
from walkboard.condition.assess import assess
from walkboard.condition.kinds import Role, roles
from walkboard.organ.examples import hall, village
from walkboard.organ.reading import read_organ
from walkboard.planning.make_plan import make_plan
from walkboard.planning.route.order import reference_rank

HALL = read_organ(hall())


@pytest.fixture(scope="module")
def worklist():
    pipes = a_state(HALL, 21, strays=0.1)
    return make_plan(HALL, assess(HALL, pipes, {}), pipes, 2500.0, curve_every_minutes=2500.0).items


@pytest.mark.parametrize(
    ("organ", "rank"),
    [
        (HALL, "great.octave4"),
        (read_organ(village()), "great.principal4"),
        (small_organ(), "great.octave"),
    ],
)
def test_the_reference_is_a_four_foot_principal_of_the_main_division(organ, rank):
    """Reeds are heard against a 4′ Octave or Principal (Casavant opus 400 site, 2019)."""
    found = reference_rank(organ)
    assert found is not None
    assert found.id == rank


def test_the_reference_rank_comes_first(worklist):
    assert worklist[0].pipe.rank == "great.octave4"


def test_flues_come_first_and_reeds_last(worklist):
    """Reeds last, as the most easily disarranged (Encyclopedia Americana, tuning)."""
    reed = [not HALL.rank(item.pipe.rank).family.is_flue for item in worklist]
    assert 0 < sum(reed) < len(reed)
    assert reed == sorted(reed)


def test_mixtures_come_after_the_principals_of_their_division(worklist):
    """Great chorus 8, 4, 2⅔, 2, mixtures (common practice, no source)."""
    part = roles(HALL)
    for division in HALL.divisions:
        own = [i.pipe.rank for i in worklist if HALL.rank(i.pipe.rank).division == division.id]
        mixtures = [n for n, rank in enumerate(own) if part[rank] is Role.MIXTURE]
        chorus = [n for n, rank in enumerate(own) if part[rank] in (Role.UNISON, Role.MUTATION)]
        if mixtures and chorus:
            assert min(mixtures) > max(chorus)
    assert any(part[item.pipe.rank] is Role.MIXTURE for item in worklist)


def test_a_rank_is_done_in_one_go_with_the_keys_upward(worklist):
    ranks = [item.pipe.rank for item in worklist]
    changes = sum(a != b for a, b in pairwise(ranks))
    assert changes == len(set(ranks)) - 1
    for rank in set(ranks):
        numbers = [item.pipe.number for item in worklist if item.pipe.rank == rank]
        assert numbers == sorted(numbers)


def test_each_chest_is_come_to_once_in_each_round(worklist):
    visits = [
        (HALL.rank(item.pipe.rank).family.is_flue, HALL.rank(item.pipe.rank).chest)
        for item in worklist
    ]
    changes = sum(a != b for a, b in pairwise(visits))
    assert changes == len(set(visits)) - 1
