"""The reference moves only where it pays, and the plan says what that buys; many: bench."""

from __future__ import annotations

import re

import numpy as np
import pytest
from bench._organs import a_season_later, invented_organ

from walkboard.condition.assess import assess
from walkboard.planning.choose.problem import STAYS_CENTS
from walkboard.planning.request import PlanRequest
from walkboard.planning.what_if import prepare


@pytest.mark.parametrize("seed", range(9100, 9108))
def test_a_reference_that_moves_says_what_that_buys(seed: int) -> None:
    organ = invented_organ(120, seed)
    pipes = a_season_later(organ, seed)
    ready = prepare(organ, assess(organ, pipes, {}), pipes)
    for minutes in (40.0, 1000.0):
        request = PlanRequest(minutes)
        plan = ready.plan(request)
        away = next(iter(ready.above_cents(request, plan).values()))
        said = [note for note in plan.notes if "from the organ's present pitch" in note]
        assert bool(said) == (abs(away) > STAYS_CENTS + 1e-9)
        for note in said:
            buys = re.search(r"\((\d+)%\)", note)
            assert buys is not None
            assert int(buys[1]) >= 1


def test_moving_the_organs_pitch_costs_a_hundredth_at_once_and_one_a_cent() -> None:
    organ = invented_organ(120, 9100)
    pipes = a_season_later(organ, 9100)
    problem = prepare(organ, assess(organ, pipes, {}), pipes).problem(PlanRequest(40.0))
    charge = problem.charge_for_moving(np.array([0.0, 0.3, 0.4, -2.0])) / problem.standing_badness
    assert charge == pytest.approx([0.0, 0.003, 0.014, 0.03])


def test_an_organ_may_be_invented_whose_last_mixture_rank_is_short():
    """Its 12 to 61 pipes have only the breaks that they reach."""
    organ = invented_organ(400, 2)
    assert sum(rank.pipes for rank in organ.ranks) >= 400
    assert min(rank.pipes for rank in organ.ranks if rank.breaks_back) < 40
