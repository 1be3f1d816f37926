"""Choice and walk together: against every set of visits, each walked and chosen exactly."""

from __future__ import annotations

from contextlib import suppress
from itertools import chain, combinations

import numpy as np
import pytest
from bench._organs import a_season_later

from walkboard.condition.assess import assess
from walkboard.errors import NotEnoughMinutesError
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.planning.choose.certify import choose
from walkboard.planning.choose.demands import Demands
from walkboard.planning.choose.problem import Problem, with_strays
from walkboard.planning.minutes import in_steps
from walkboard.planning.request import PlanRequest
from walkboard.planning.route.order import reference_rank
from walkboard.planning.route.ways import Ways
from walkboard.planning.what_if import prepare

LEAVE = Demands(leave_strays=True)


def small_case(seed: int) -> Organ:
    """54 pipes a rank is too much to enumerate; these have a dozen, on four chests far apart."""
    rng = np.random.default_rng(seed)
    rows = ["format = 1", 'name = "Small"', 'temperament = "equal"', "[pitch]", "a4_hz = 440.0"]
    rows += ["at_celsius = 18.0"]
    for division in ("great", "swell"):
        rows += ["[[division]]", f'id = "{division}"', f'name = "{division}"', "keys = 61"]
        for chest in (f"{division}.1", f"{division}.2"):
            rows += ["[[chest]]", f'id = "{chest}"', f'division = "{division}"']
            rows += [f"minutes = {rng.choice([0.5, 1.0, 2.0])}"]
        for number in range(3):
            reed = number == 2 and rng.random() < 0.7
            rows += ["[[rank]]", f'id = "{division}.r{number}"', f'division = "{division}"']
            rows += [
                f'name = "Rank {number}"',
                "pipes = 18",
                'from = "C4"',
                f'feet = "{8 >> (number % 2)}"',
            ]
            rows += [f'chest = "{division}.{1 + int(rng.integers(2))}"']
            family, device = ("reed", "spring") if reed else ("open", "slide")
            rows += [f'family = "{family}"', f'tuned_by = "{device}"']
    return read_organ("\n".join(rows))


@pytest.mark.parametrize("seed", range(6))
def test_no_choice_and_way_together_is_better_than_the_bound_or_the_plan(seed):
    organ = small_case(seed)
    heard = a_season_later(organ, 70 + seed)
    ready = prepare(organ, assess(organ, heard, {}), heard)
    minutes = (12.0, 25.0)[seed % 2]
    plan = ready.plan(PlanRequest(minutes, prove_order=True))
    freely = ready.plan(PlanRequest(minutes, prove_order=True, demands=LEAVE))
    problem = ready.problem(PlanRequest(minutes))
    assert plan.minutes_used <= minutes
    assert freely.cost_after == pytest.approx(least_left(organ, problem, minutes), rel=1e-9)
    assert freely.cost_bound == pytest.approx(freely.cost_after, rel=2e-3)
    assert freely.cost_bound <= freely.cost_after + 1e-9
    # strays come first where they fit; the bound is then of the plans that tune them
    strays = with_strays(problem)
    firmly = least_left(organ, strays, minutes)
    least = firmly if np.isfinite(firmly) else freely.cost_after
    assert plan.cost_after == pytest.approx(least, rel=1e-9)
    assert plan.cost_bound <= least + 1e-9


def least_left(organ: Organ, problem: Problem, minutes: float) -> float:
    """The least that is left, over every set of visits; infinite if the required never fits."""
    ways, first = Ways(organ), reference_rank(organ)
    visits = sorted({problem.visit_of(rank.id) for rank in problem.ranks_once()})
    capacity = in_steps(minutes)
    least = np.inf if problem.must is not None else float(problem.untouched.min())
    for made in chain.from_iterable(combinations(visits, n) for n in range(1, len(visits) + 1)):
        way = ways.round_trip(made, first.chest if first else None)
        left = capacity - sum(in_steps(leg.minutes) for leg in way.legs)
        task = problem.task({v: 0.0 if v in made else 1000.0 for v in visits})
        with suppress(NotEnoughMinutesError):
            least = min(least, choose(task, left).cost)
    return least
