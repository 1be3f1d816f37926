"""What the plan is worth: badness removed in the same minutes, against rules of thumb."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bench._ear_rules import IN_TUNE_CENTS, greedy, in_turn
from bench.plan import Posed, at_reference, posed
from walkboard.condition.kinds import Role
from walkboard.planning.choose.certify import choose
from walkboard.planning.choose.task import Task
from walkboard.planning.minutes import in_steps
from walkboard.planning.route.ways import QUICK
from walkboard.planning.value.pipe_offset import PipeOffset
from walkboard.planning.value.pipe_offsets import REFERENCES_CENTS
from walkboard.planning.with_walks import choose_and_walk

ORGANS = 20

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


def removed_by_rules(
    this: Posed, minutes: float, *, knows_it: bool = False
) -> tuple[float, dict[str, float], float, float]:
    """Badness removed by the plan and by each rule in the same minutes, the gap, and all of it.

    All: what any number of minutes could remove, every pipe tuned that gains by it, at the
    reference where that is most.
    """
    capacity = in_steps(minutes)
    outcome = choose_and_walk(this.organ, this.problem, capacity, beams=QUICK)
    task, chosen = outcome.task, outcome.chosen
    before = float(task.untouched.min())
    pipes = this.problem.tunable
    zero = int(np.argmin(np.abs(REFERENCES_CENTS)))
    off = np.abs([s.cents for s in pipes])
    gain = task.gain[zero]
    rank = np.repeat(np.arange(len(task.levels[0].starts)), task.levels[0].sizes(len(pipes)))
    reed = np.array([s.role is Role.REED for s in pipes])
    mean_off = np.bincount(rank, off) / np.bincount(rank)
    # if the rules know of the event, its pipes (its ranks) come before all others
    own = np.array([s.weight.use is not None and s.weight.use > 0.25 for s in pipes]) & knows_it
    own_rank = np.bincount(rank, own) / np.bincount(rank) > 0.2
    by_rank = np.lexsort((np.arange(len(pipes)), rank, -mean_off[rank], ~own_rank[rank]))
    worst, passed = np.lexsort((-off, ~own)), off <= IN_TUNE_CENTS
    nobody = np.zeros(len(pipes), dtype=bool)
    reeds = np.flatnonzero(reed)
    reeds = reeds[np.argsort(~own_rank[rank[reeds]], kind="stable")]
    as_listed = np.concatenate([reeds, worst[~reed[worst]]])
    rules = {
        "worst cents first": (worst, nobody),
        "reeds, then strays": (as_listed, passed & reed),
        "whole ranks": (by_rank, passed),
        "worst weighted first": (np.argsort(-gain), nobody),
    }
    removed = {
        name: before - task.cost_of(zero, in_turn(task, order, passing, capacity))
        for name, (order, passing) in rules.items()
    }
    removed["weighted per minute"] = before - task.cost_of(
        zero, greedy(task, gain, capacity, shared=False)
    )
    plain = replace(this.problem, gain=this.problem.gain / _weights(pipes))
    unweighted = choose(at_reference(_with_gain(task, plain.gain), zero), capacity)
    removed["optimum, unweighted"] = before - task.cost_of(zero, unweighted.pipes)
    removed["optimum, pitch not moved"] = before - choose(at_reference(task, zero), capacity).cost
    described = replace(task, untouched=this.described.untouched, gain=this.described.gain)
    removed[DESCRIBED] = before - choose(at_reference(described, zero), capacity).cost
    everything = before - float((task.untouched - np.maximum(task.gain, 0.0).sum(axis=1)).min())
    return before - chosen.cost, removed, (chosen.cost - chosen.bound) / before, everything


def _weights(pipes: Sequence[PipeOffset]) -> np.ndarray:
    weights: np.ndarray = np.array([s.weight.whole for s in pipes])
    return weights


def _with_gain(task: Task, gain: np.ndarray) -> Task:
    return Task(task.references_cents, task.untouched, gain, task.steps, task.levels)


def worth(
    minutes: float = 240.0,
    off_cents: float = 0.0,
    *,
    event: bool = False,
    knows_it: bool = False,
) -> None:
    print(
        f"\nWorth: badness removed in {minutes:.0f} minutes, plan over rule, {ORGANS} invented "
        f"organs of 2 400 pipes, {off_cents:g} cents off their described pitch"
    )
    if event:
        knowing = "begin with its pipes" if knows_it else "know nothing of it"
        print(f"before a recital whose music is known; the first three rules {knowing}")
    ratios: dict[str, list[float]] = {rule: [] for rule in RULES}
    gaps: list[float] = []
    best_rule: list[float] = []
    at_described: list[float] = []
    whole: list[float] = []
    for seed in range(ORGANS):
        ours, rules, gap, everything = removed_by_rules(
            posed(2400, seed, off_cents, event=event), minutes, knows_it=knows_it
        )
        gaps.append(gap)
        for rule in RULES:
            ratios[rule].append(ours / rules[rule])
        at_described.append(rules[DESCRIBED] / ours)
        best = max(rules[rule] for rule in RULES[:3])
        best_rule.append(ours / best)
        whole.append(everything / best)
    print(f"{'rule':28s} {'mean':>6s} {'least':>6s} {'most':>6s}")
    for rule in RULES:
        values = ratios[rule]
        print(f"{rule:28s} {np.mean(values):6.2f} {min(values):6.2f} {max(values):6.2f}")
    print(
        f"{'best of the first three':28s} {np.mean(best_rule):6.2f} {min(best_rule):6.2f} "
        f"{max(best_rule):6.2f}"
    )
    print(
        f"{'all there is, over that best':28s} {np.mean(whole):6.2f} {min(whole):6.2f} "
        f"{max(whole):6.2f}"
    )
    weighting = np.array(ratios["worst cents first"]) / np.array(ratios["worst weighted first"])
    print(f"of that over 'worst cents first', weighing alone brings x{weighting.mean():.2f};")
    print(
        f"the optimum that tunes to the described pitch removes {np.mean(at_described):.2f} "
        f"({min(at_described):.2f} to {max(at_described):.2f}) of what the plan does"
    )
    print(f"largest gap {max(gaps):.1e}: no choice of pipes and pitch removes more in the minutes")


def main() -> None:
    """Print the tables."""
    worth()
    worth(120.0)
    worth(240.0, off_cents=3.0)
    worth(240.0, event=True)
    worth(240.0, event=True, knows_it=True)


if __name__ == "__main__":
    main()
