"""Choice and walk together: against every set of visits, and against HiGHS ."""

from __future__ import annotations

from contextlib import suppress
from itertools import chain, combinations

import numpy as np
import pytest
from bench._organs import a_season_later
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_matrix

from walkboard.condition.assess import assess
from walkboard.errors import NotEnoughMinutesError
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.planning.choose.certify import choose
from walkboard.planning.choose.demands import Demands
from walkboard.planning.choose.problem import Problem, with_strays
from walkboard.planning.minutes import RANK_MINUTES, in_steps
from walkboard.planning.request import PlanRequest
from walkboard.planning.route.order import reference_rank
from walkboard.planning.route.ways import Ways
from walkboard.planning.value.pipe_offsets import REFERENCE_STEP_CENTS, REFERENCES_CENTS
from walkboard.planning.what_if import prepare

LEAVE = Demands(leave_strays=True)


def small_case(seed: int, *, reeds: bool = True) -> Organ:
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
            reed = reeds and number == 2 and rng.random() < 0.7
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


@pytest.mark.parametrize(
    ("seed", "minutes"),
    [
        (21, 14.0),
        pytest.param(22, 20.0, marks=pytest.mark.long),
        pytest.param(23, 30.0, marks=pytest.mark.long),
    ],
)
def test_highs_finds_no_better_choice_and_walk_in_one_program(seed, minutes):
    """Pipes, ranks, chests and the walk between them as one mixed integer program, by reference."""
    organ = small_case(seed, reeds=False)
    heard = a_season_later(organ, 170 + seed)
    ready = prepare(organ, assess(organ, heard, {}), heard)
    request = PlanRequest(minutes, prove_order=True, demands=LEAVE)
    plan, problem = ready.plan(request), ready.problem(request)
    (above,) = {round(cents, 6) for cents in ready.above_cents(request, plan).values()}
    own = round(above / REFERENCE_STEP_CENTS) + len(REFERENCES_CENTS) // 2
    there = by_highs(organ, problem, own, in_steps(minutes))
    assert plan.cost_after == pytest.approx(there, rel=1e-6)
    assert plan.cost_bound == pytest.approx(there, rel=1e-6)
    for reference in (own - 1, own + 9):
        assert by_highs(organ, problem, reference, in_steps(minutes)) >= plan.cost_bound - 1e-6


def by_highs(organ: Organ, problem: Problem, reference: int, capacity: int) -> float:
    """The least that is left at a reference. No reeds or mixtures: the chests have no order, but
    for that of the reference rank, which comes first if anything in it is tuned."""
    ranks, ways = problem.ranks_once(), Ways(organ)
    chests = list(dict.fromkeys(rank.chest for rank in ranks))
    principal = reference_rank(organ)
    panels = {chest.id: in_steps(chest.minutes) for chest in organ.chests}
    arcs = [(a, b) for a in (None, *chests) for b in chests if a != b]
    pipes, count = len(problem.order), len(chests)
    rank_at = {rank.id: pipes + n for n, rank in enumerate(ranks)}
    chest_at = {chest: pipes + len(ranks) + n for n, chest in enumerate(chests)}
    arc_at = {arc: pipes + len(ranks) + count + n for n, arc in enumerate(arcs)}
    flow_at = {arc: at + len(arcs) for arc, at in arc_at.items()}
    variables = pipes + len(ranks) + count + 2 * len(arcs)
    rows: list[tuple[dict[int, float], float, float]] = []  # coefficients, least, most
    for n, rank in enumerate(problem.ranks):
        rows.append(({n: 1.0, rank_at[rank.id]: -1.0}, -np.inf, 0.0))
    rows += [({rank_at[r.id]: 1.0, chest_at[r.chest]: -1.0}, -np.inf, 0.0) for r in ranks]
    for chest, at in chest_at.items():  # one way in; what flows in feeds it and goes on
        into = {arc_at[a, b]: 1.0 for a, b in arcs if b == chest}
        rows.append(({**into, at: -1.0}, 0.0, 0.0))
        out = {arc_at[a, b]: 1.0 for a, b in arcs if a == chest}
        rows.append(({**out, at: -1.0}, -np.inf, 0.0))
        flow = {flow_at[a, b]: 1.0 if b == chest else -1.0 for a, b in arcs if chest in (a, b)}
        rows.append(({**flow, at: -1.0}, 0.0, 0.0))
    rows += [({flow_at[a]: 1.0, arc_at[a]: -float(count)}, -np.inf, 0.0) for a in arcs]
    rows.append(({arc_at[None, chest]: 1.0 for chest in chests}, 0.0, 1.0))
    if principal is not None and principal.chest in chest_at:
        elsewhere = {arc_at[None, c]: 1.0 for c in chests if c != principal.chest}
        rows.append(({**elsewhere, chest_at[principal.chest]: 1.0}, -np.inf, 1.0))
    time = {n: float(steps) for n, steps in enumerate(problem.steps)}
    time |= {at: float(in_steps(RANK_MINUTES)) for at in rank_at.values()}
    time |= {chest_at[chest]: float(panels[chest]) for chest in chests}
    time |= {at: float(in_steps(ways.minutes(*arc))) for arc, at in arc_at.items()}
    rows.append((time, -np.inf, float(capacity)))
    matrix = lil_matrix((len(rows), variables))
    for n, (coefficients, _, _) in enumerate(rows):
        for at, value in coefficients.items():
            matrix[n, at] = value
    whole = np.ones(variables, dtype=np.int64)
    whole[-len(arcs) :] = 0
    most = np.where(whole > 0, 1.0, float(count))
    gain = np.zeros(variables)
    gain[:pipes] = -problem.gain[reference]
    found = milp(
        gain,
        integrality=whole,
        bounds=Bounds(0.0, most),
        constraints=LinearConstraint(
            matrix.tocsr(), [least for _, least, _ in rows], [high for _, _, high in rows]
        ),
        options={"mip_rel_gap": 1e-9},
    )
    assert found.status == 0
    return float(problem.untouched[reference]) + float(found.fun)
