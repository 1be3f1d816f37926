"""The plan: how fast it is proved and made again, and whether it is right."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from typing import Any

import highspy
import numpy as np

from bench._organs import a_season_later, an_event, invented_organ
from walkboard.condition.assess import assess
from walkboard.condition.state import PipeCents
from walkboard.errors import NotEnoughMinutesError
from walkboard.organ.model import Organ
from walkboard.planning.between_references import certify
from walkboard.planning.choose.certify import choose
from walkboard.planning.choose.curve import cost_curve
from walkboard.planning.choose.demands import Demands
from walkboard.planning.choose.problem import Problem, pose
from walkboard.planning.choose.task import Level, Parts, Task
from walkboard.planning.minutes import in_steps
from walkboard.planning.pitch import DivisionPitch, division_pitches
from walkboard.planning.request import PlanRequest
from walkboard.planning.route.ways import QUICK
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.pipe_offsets import REFERENCES_CENTS, situation
from walkboard.planning.value.use import EventUse
from walkboard.planning.value.weight import weigh
from walkboard.planning.what_if import Prepared, prepare
from walkboard.planning.with_walks import choose_and_walk

SMALL_CASES = 200
HIGHS_SECONDS = 20.0


@dataclass(frozen=True, slots=True)
class Posed:
    """A problem with all that it came from."""

    organ: Organ
    pipes: Sequence[PipeCents]
    prepared: Prepared
    problem: Problem
    described: Problem  # the same, tuned to the description's pitch at the stated temperature


def posed(pipes: int, seed: int, off_cents: float = 0.0, *, event: bool = False) -> Posed:
    organ = invented_organ(pipes, seed)
    heard = a_season_later(organ, 1000 + seed, off_cents)
    prepared = prepare(organ, assess(organ, heard, {}), heard)
    use = an_event(organ, 2000 + seed) if event else EventUse()
    problem = prepared.problem(PlanRequest(60.0, use=use))
    layout = Layout.of(organ)
    pitches = {d.id: DivisionPitch(d.id, 18.0, 0.0, 0.1, 18.0, heard=True) for d in organ.divisions}
    pull = np.zeros((len(REFERENCES_CENTS), len(organ.divisions)))  # every pipe was heard
    described = pose(situation(layout, pitches, heard, weigh(layout, heard)), pull)
    return Posed(organ, heard, prepared, problem, described)


def speed() -> None:
    print("Proof and time [s, the quickest of three; processor seconds, one thread].")
    print("Whole: from readings to a plan, without curve. Choice: that alone, walks given.")
    print("Curve: every ten minutes to 1.5 times the visit. Other, event, reach, within, tied: a")
    print("plan made again for other minutes, another event's air and music, a division out of")
    print("reach, a stop within 3 cents, divisions within 0.5 cent of each other. Bound: the")
    print("certificate between the grid's references, and its gap.")
    print(f"HiGHS: the same choice at the best reference only, at most {HIGHS_SECONDS:.0f} s.\n")
    print(
        f"{'pipes':>6s} {'minutes':>7s} {'whole':>6s} {'choice':>6s} {'curve':>6s} {'other':>6s} "
        f"{'event':>6s} {'reach':>6s} {'within':>6s} {'tied':>6s} {'bound':>6s} {'its gap':>8s} "
        f"{'solved':>6s} {'gap':>8s} {'HiGHS':>6s}"
    )
    for size, visits in ((400, (60, 120)), (2400, (120, 240, 480)), (10_000, (240, 960))):
        this = posed(size, 1)
        for minutes in visits:
            _speed_row(this, float(minutes))


def _speed_row(this: Posed, minutes: float) -> None:
    condition = assess(this.organ, this.pipes, {})
    question = PlanRequest(minutes)
    prepared = prepare(this.organ, condition, this.pipes)
    plan = prepared.plan(question)
    use = an_event(this.organ, 1)
    reach = frozenset(r.id for r in this.organ.ranks if r.division == "swell")
    within = {this.organ.ranks[0].id: 3.0}
    airs = iter(np.linspace(19.0, 21.0, 10))  # another event each time: nothing is remembered

    def again(**asked: Any) -> object:
        return prepared.plan(replace(question, **asked))

    def another_event() -> object:
        return again(event_air_celsius=float(next(airs)), use=use)

    def whole() -> object:
        return prepare(this.organ, condition, this.pipes).plan(question)

    capacity = in_steps(minutes)
    outcome = choose_and_walk(this.organ, this.problem, capacity, beams=QUICK)
    task = outcome.task
    chosen = choose(task, capacity)
    begun = time.process_time()
    bound = certify(this.problem, outcome, capacity, division_pitches(this.organ, condition, None))
    bounding = time.process_time() - begun
    times = [
        _seconds(whole),
        _seconds(partial(choose, task, capacity)),
        _seconds(partial(cost_curve, task, minutes), 1),
        _seconds(partial(again, minutes=minutes + 10.0)),
        _seconds(another_event),
        _seconds(partial(again, demands=Demands(out_of_reach=reach))),
        _seconds(partial(again, demands=Demands(within_cents=within))),
        _seconds(partial(again, demands=Demands(tie_cents=0.5))),
    ]
    print(
        f"{len(this.pipes):6d} {minutes:7.0f} {' '.join(f'{t:6.3f}' for t in times)} "
        f"{bounding:6.2f} {bound.gap:8.1e} {chosen.solved:6d} {plan.gap:8.1e} "
        f"{highs_seconds(task, chosen.reference, capacity):>6s}",
        flush=True,
    )


def _seconds(call: Callable[[], object], times: int = 3) -> float:
    """Processor seconds, the quickest of three."""
    taken = []
    for _ in range(times):
        begun = time.process_time()
        call()
        taken.append(time.process_time() - begun)
    return min(taken)


def highs_seconds(task: Task, reference: int, capacity: int) -> str:
    """Seconds of HiGHS, a general solver, to its usual gap of 1e-4; ``-`` where it ran out."""
    model: Any = highspy.Highs()  # type: ignore[no-untyped-call]
    model.silent()
    model.setOptionValue("time_limit", HIGHS_SECONDS)
    model.setOptionValue("threads", 1)
    gain = task.gain[reference]
    useful = np.flatnonzero(gain > 0.0)
    x = {int(i): model.addBinary(obj=-float(gain[i])) for i in useful}
    spent = sum(int(task.steps[i]) * v for i, v in x.items())
    members = x
    count = len(gain)
    for level in task.levels:
        of = np.repeat(np.arange(len(level.starts)), level.sizes(count))
        opened = {int(g): model.addBinary() for g in np.unique(of[list(members)])}
        for i, v in members.items():
            model.addConstr(v <= opened[int(of[i])])
        spent = spent + sum(int(level.steps[g]) * v for g, v in opened.items())
        members, count = opened, len(level.starts)
    model.addConstr(spent <= capacity)
    begun = time.perf_counter()
    model.run()
    taken = time.perf_counter() - begun
    if model.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        return "-"
    ours = choose(at_reference(task, reference), capacity).cost
    theirs = float(task.untouched[reference]) + float(model.getInfo().objective_function_value)
    if abs(ours - theirs) > 2e-4 * abs(float(task.untouched[reference]) - ours) + 1e-6:
        raise AssertionError(f"HiGHS leaves {theirs}, ours {ours}")
    return f"{taken:.2f}"


def at_reference(task: Task, reference: int) -> Task:
    one = [reference]
    return Task(
        task.references_cents[one], task.untouched[one], task.gain[one], task.steps, task.levels
    )


def brute_force() -> None:
    """Small cases, a third plain, a third with musts that depend on the pitch, a third tied too."""
    worst, refused = 0.0, 0
    for seed in range(SMALL_CASES):
        rng = np.random.default_rng(seed)
        pipes, references = 9, 6
        by_part = rng.uniform(1.0, 4.0, (references, 2))
        kind = seed % 3
        must = None
        if kind:
            must = (rng.random((references, pipes)) < 0.8) & (rng.random(pipes) < 0.4)
        task = Task(
            np.linspace(-3.0, 3.0, references),
            by_part.sum(axis=1),
            rng.uniform(-0.2, 1.0, (references, pipes)),
            rng.integers(8, 30, pipes),
            (
                Level(np.array([0, 3, 5, 7]), rng.integers(0, 25, 4)),
                Level(np.array([0, 2]), rng.integers(0, 30, 2)),
            ),
            must,
            Parts(np.array([0, 1]), by_part, 2) if kind == 2 else None,
        )
        capacity = int(rng.integers(20, 300))
        least = _least_of_all(task, capacity)
        try:
            found = choose(task, capacity).cost
        except NotEnoughMinutesError:
            found, refused = np.inf, refused + 1
        if np.isfinite(least) or np.isfinite(found):
            worst = max(worst, abs(found - least))
    print(
        f"\nBrute force: {SMALL_CASES} small cases with and without musts and ties, largest "
        f"difference {worst:.1e}; {refused} could not be done, and were refused."
    )


def _least_of_all(task: Task, capacity: int) -> float:
    references, pipes = task.gain.shape
    within = 0 if task.parts is None else task.parts.within
    sets = [(r, s) for r, s in product(range(references), repeat=2) if abs(r - s) <= within]
    rows = [task.row(at) for at in sets]
    least = np.inf
    for bits in product((False, True), repeat=pipes):
        chosen = np.array(bits)
        if task.time_of(chosen) <= capacity:
            for row in rows:
                if row.must is None or not np.any(row.must & ~chosen):
                    least = min(least, row.cost_of(chosen))
    return least


def main() -> None:
    """Print the tables."""
    speed()
    brute_force()


if __name__ == "__main__":
    main()
