"""The plan: how fast it is proved, whether it is right, and what it is worth against rules."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from typing import Any

import highspy
import numpy as np

from bench._organs import a_season_later, invented_organ
from walkboard.condition.assessing import assess
from walkboard.condition.kinds import Role
from walkboard.condition.state import PipeCents
from walkboard.organ.model import Organ
from walkboard.planning.choosing import choose
from walkboard.planning.demands import Demands
from walkboard.planning.layout import Layout
from walkboard.planning.minutes import in_steps
from walkboard.planning.pitch import DivisionPitch
from walkboard.planning.planning import make_plan
from walkboard.planning.problem import Problem, pose
from walkboard.planning.standing import REFERENCES_CENTS, Standing, situation
from walkboard.planning.task import Level, Task
from walkboard.planning.walked import choose_and_walk
from walkboard.planning.weighing import weigh
from walkboard.planning.what_if import Prepared, Question, prepare

ORGANS = 20
SMALL_CASES = 200
HIGHS_SECONDS = 20.0


@dataclass(frozen=True, slots=True)
class Posed:
    """A problem with all that it came from."""

    organ: Organ
    pipes: Sequence[PipeCents]
    prepared: Prepared
    problem: Problem
    described: Problem  # the same, tuned to the description's pitch at the temperature told


def posed(pipes: int, seed: int, off_cents: float = 0.0, demands: Demands | None = None) -> Posed:
    organ = invented_organ(pipes, seed)
    heard = a_season_later(organ, 1000 + seed, off_cents)
    prepared = prepare(organ, assess(organ, heard, {}), heard)
    problem = prepared.problem(Question(60.0, demands=demands or Demands()))
    layout = Layout.of(organ)
    told = {d.id: DivisionPitch(d.id, 18.0, 0.0, 0.1, 18.0, heard=True) for d in organ.divisions}
    pull = np.zeros((len(REFERENCES_CENTS), len(organ.divisions)))  # every pipe was heard
    described = pose(situation(layout, told, heard, weigh(layout, heard)), pull)
    return Posed(organ, heard, prepared, problem, described)


def speed() -> None:
    print("Proof and time. Whole: make_plan without and with the curve; choice: that alone [s].")
    print(f"HiGHS: the same choice at the best reference only, at most {HIGHS_SECONDS:.0f} s.\n")
    print(
        f"{'pipes':>6s} {'minutes':>7s} {'whole':>7s} {'+curve':>7s} {'choice':>7s} {'solved':>6s} "
        f"{'gap':>9s} {'HiGHS':>7s}"
    )
    for size, visits in ((400, (60, 120)), (2400, (120, 240, 480)), (10_000, (240, 960))):
        this = posed(size, 1)
        condition = assess(this.organ, this.pipes, {})
        for minutes in visits:
            given = (this.organ, condition, this.pipes, float(minutes))
            whole = _seconds(partial(make_plan, *given, curve_every_minutes=1e9))
            begun = time.perf_counter()
            plan = make_plan(*given)
            curved = time.perf_counter() - begun
            task = choose_and_walk(this.organ, this.problem, in_steps(minutes)).task
            choice = _seconds(partial(choose, task, in_steps(minutes)))
            chosen = choose(task, in_steps(minutes))
            other = highs_seconds(task, chosen.reference, in_steps(minutes))
            print(
                f"{len(this.pipes):6d} {minutes:7d} {whole:7.3f} {curved:7.3f} {choice:7.3f} "
                f"{chosen.solved:6d} {plan.gap:9.1e} {other:>7s}",
                flush=True,
            )


def _seconds(call: Callable[[], object]) -> float:
    """The quickest of three."""
    taken = []
    for _ in range(3):
        begun = time.perf_counter()
        call()
        taken.append(time.perf_counter() - begun)
    return min(taken)


def highs_seconds(task: Task, reference: int, capacity: int) -> str:
    """Seconds of HiGHS, a general solver, to its usual gap of 1e-4; ``-`` where it ran out."""
    model: Any = highspy.Highs()  # type: ignore[no-untyped-call]
    model.setOptionValue("log_to_console", False)
    model.setOptionValue("output_flag", False)
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
    ours = choose(_at(task, reference), capacity).cost
    theirs = float(task.untouched[reference]) + float(model.getInfo().objective_function_value)
    if abs(ours - theirs) > 2e-4 * abs(float(task.untouched[reference]) - ours) + 1e-6:
        raise AssertionError(f"HiGHS leaves {theirs}, ours {ours}")
    return f"{taken:.2f}"


def _at(task: Task, reference: int) -> Task:
    one = [reference]
    return Task(
        task.references_cents[one], task.untouched[one], task.gain[one], task.steps, task.levels
    )


def brute_force() -> None:
    worst = 0.0
    for seed in range(SMALL_CASES):
        rng = np.random.default_rng(seed)
        pipes, references = 10, 7
        starts = np.array([0, 3, 5, 8])
        untouched = rng.uniform(4.0, 9.0, references)
        task = Task(
            np.linspace(-3.0, 3.0, references),
            untouched,
            rng.uniform(-0.2, 1.0, (references, pipes)),
            rng.integers(8, 30, pipes),
            (
                Level(starts, rng.integers(0, 25, 4)),
                Level(np.array([0, 2]), rng.integers(0, 30, 2)),
                Level(np.array([0]), rng.integers(0, 20, 1)),
            ),
        )
        capacity = int(rng.integers(20, 300))
        least = float(untouched.min())
        for bits in product((False, True), repeat=pipes):
            chosen = np.array(bits)
            if task.time_of(chosen) <= capacity:
                least = min(least, float((untouched - task.gain[:, chosen].sum(axis=1)).min()))
        worst = max(worst, abs(choose(task, capacity).cost - least))
    print(f"\nBrute force: {SMALL_CASES} small cases, largest difference {worst:.1e}.")


PASSING_STEPS = 2  # 6 s to pass a pipe that is in tune (5 to 10 s: common practice, no source)
IN_TUNE_CENTS = 1.0

RULES = (
    "worst cents first",
    "reeds, then strays",
    "whole ranks",
    "worst weighted first",
    "weighted per minute",
    "optimum, unweighted",
    "optimum, pitch not moved",
)
DESCRIBED = "optimum at the described pitch"


def removed_by_rules(this: Posed, minutes: float) -> tuple[float, dict[str, float], float]:
    """Badness removed by the plan and by each rule in the same minutes, and the gap."""
    capacity = in_steps(minutes)
    outcome = choose_and_walk(this.organ, this.problem, capacity)
    task, chosen = outcome.task, outcome.chosen
    before = float(task.untouched.min())
    pipes = this.problem.tunable
    zero = int(np.argmin(np.abs(REFERENCES_CENTS)))
    off = np.abs([s.cents for s in pipes])
    gain = task.gain[zero]
    rank = np.repeat(np.arange(len(task.levels[0].starts)), task.levels[0].sizes(len(pipes)))
    reed = np.array([s.role is Role.REED for s in pipes])
    mean_off = np.bincount(rank, off) / np.bincount(rank)
    by_rank = np.lexsort((np.arange(len(pipes)), rank, -mean_off[rank]))
    worst, passed = np.argsort(-off), off <= IN_TUNE_CENTS
    nobody = np.zeros(len(pipes), dtype=bool)
    as_listed = np.concatenate([np.flatnonzero(reed), worst[~reed[worst]]])
    rules = {
        "worst cents first": (worst, nobody),
        "reeds, then strays": (as_listed, passed & reed),
        "whole ranks": (by_rank, passed),
        "worst weighted first": (np.argsort(-gain), nobody),
    }
    removed = {
        name: before - task.cost_of(zero, _in_turn(task, order, passing, capacity))
        for name, (order, passing) in rules.items()
    }
    removed["weighted per minute"] = before - task.cost_of(zero, _greedy(task, gain, capacity))
    plain = replace(this.problem, gain=this.problem.gain / _weights(pipes))
    unweighted = choose(_at(_with_gain(task, plain.gain), zero), capacity)
    removed["optimum, unweighted"] = before - task.cost_of(zero, unweighted.pipes)
    removed["optimum, pitch not moved"] = before - choose(_at(task, zero), capacity).cost
    described = replace(task, untouched=this.described.untouched, gain=this.described.gain)
    removed[DESCRIBED] = before - choose(_at(described, zero), capacity).cost
    return before - chosen.cost, removed, (chosen.cost - chosen.bound) / before


def _weights(pipes: Sequence[Standing]) -> np.ndarray:
    weights: np.ndarray = np.array([s.weight.whole for s in pipes])
    return weights


def _with_gain(task: Task, gain: np.ndarray) -> Task:
    return Task(task.references_cents, task.untouched, gain, task.steps, task.levels)


def _in_turn(task: Task, order: np.ndarray, passing: np.ndarray, capacity: int) -> np.ndarray:
    """Pipes taken in turn while they fit, set-ups paid when a rank or chest is first come to.

    Pipes that are `passing` are listened to and left.
    """
    chosen = np.zeros(len(task.steps), dtype=bool)
    groups = _groups(task)
    reached = [np.zeros(len(level.starts), dtype=bool) for level in task.levels]
    left = capacity
    for pipe in dict.fromkeys(int(i) for i in order):
        needs = PASSING_STEPS if passing[pipe] else int(task.steps[pipe])
        needs += sum(
            int(level.steps[group[pipe]])
            for level, group, seen in zip(task.levels, groups, reached, strict=True)
            if not seen[group[pipe]]
        )
        if needs <= left:
            chosen[pipe] = not passing[pipe]
            left -= needs
            for group, seen in zip(groups, reached, strict=True):
                seen[group[pipe]] = True
    return chosen


def _greedy(task: Task, gain: np.ndarray, capacity: int) -> np.ndarray:
    """The best gain a minute next, the set-ups that it still needs counted, until none fits."""
    chosen = np.zeros(len(task.steps), dtype=bool)
    groups = _groups(task)
    needs = [level.steps.astype(float).copy() for level in task.levels]
    left = capacity
    while True:
        minutes = task.steps + sum(n[g] for n, g in zip(needs, groups, strict=True))
        worth = np.where(chosen | (minutes > left) | (gain <= 0.0), -1.0, gain / minutes)
        pipe = int(np.argmax(worth))
        if worth[pipe] <= 0.0:
            return chosen
        chosen[pipe] = True
        left -= int(minutes[pipe])
        for n, g in zip(needs, groups, strict=True):
            n[g[pipe]] = 0.0


def _groups(task: Task) -> list[np.ndarray]:
    """For each level, the group of every pipe."""
    found: list[np.ndarray] = []
    of = np.arange(len(task.steps))
    count = len(task.steps)
    for level in task.levels:
        of = np.repeat(np.arange(len(level.starts)), level.sizes(count))[of]
        found.append(of)
        count = len(level.starts)
    return found


def worth(minutes: float = 240.0, off_cents: float = 0.0) -> None:
    print(
        f"\nWorth: badness removed in {minutes:.0f} minutes, plan over rule, {ORGANS} invented "
        f"organs of 2 400 pipes, {off_cents:g} cents off their described pitch"
    )
    ratios: dict[str, list[float]] = {rule: [] for rule in RULES}
    gaps: list[float] = []
    best_rule: list[float] = []
    at_described: list[float] = []
    for seed in range(ORGANS):
        ours, rules, gap = removed_by_rules(posed(2400, seed, off_cents), minutes)
        gaps.append(gap)
        for rule in RULES:
            ratios[rule].append(ours / rules[rule])
        at_described.append(rules[DESCRIBED] / ours)
        best_rule.append(ours / max(rules[rule] for rule in RULES[:3]))
    print(f"{'rule':28s} {'mean':>6s} {'least':>6s} {'most':>6s}")
    for rule in RULES:
        values = ratios[rule]
        print(f"{rule:28s} {np.mean(values):6.2f} {min(values):6.2f} {max(values):6.2f}")
    print(
        f"{'best of the first three':28s} {np.mean(best_rule):6.2f} {min(best_rule):6.2f} "
        f"{max(best_rule):6.2f}"
    )
    weighting = np.array(ratios["worst cents first"]) / np.array(ratios["worst weighted first"])
    print(f"of that over 'worst cents first', weighing alone brings x{weighting.mean():.2f};")
    print(
        f"the optimum that tunes to the described pitch removes {np.mean(at_described):.2f} "
        f"({min(at_described):.2f} to {max(at_described):.2f}) of what the plan does"
    )
    print(f"largest gap {max(gaps):.1e}")


def main() -> None:
    """Print the tables."""
    speed()
    brute_force()
    worth()
    worth(120.0)
    worth(240.0, off_cents=3.0)


if __name__ == "__main__":
    main()
