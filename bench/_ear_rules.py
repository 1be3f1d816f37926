"""Rules of practice: how tuners choose pipes in the minutes there are, without a cost."""

from __future__ import annotations

import numpy as np

from bench._ear_organs import EarOrgan
from walkboard.planning.choose.certify import choose
from walkboard.planning.choose.task import Task
from walkboard.planning.minutes import in_steps
from walkboard.planning.request import PlanRequest
from walkboard.planning.route.ways import QUICK
from walkboard.planning.what_if import Prepared
from walkboard.planning.with_walks import choose_and_walk

__all__ = ["IN_TUNE_CENTS", "RULES", "greedy", "in_turn", "tuned_by_rules"]

RULES = (
    "worst cents first",
    "middle octaves by cents",
    "most strays a minute",
    "reeds, then strays",
    "whole ranks",
)
IN_TUNE_CENTS = 1.0
STRAY_CENTS = 5.0
MIDDLE = (48, 84)  # C3 to C6
PASSING_STEPS = 2  # 6 s to pass a pipe that is in tune: common practice, no source


def tuned_by_rules(
    this: EarOrgan, prepared: Prepared, minutes: float
) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """For each rule the pipes tuned, and to where: where their division's flues stand."""
    capacity = in_steps(minutes)
    problem = prepared.problem(PlanRequest(minutes))
    task = choose_and_walk(this.organ, problem, capacity, beams=QUICK).task
    tunable = problem.tunable
    places = {pipe: i for i, pipe in enumerate(this.organ.pipes())}
    place = np.array([places[s.pipe] for s in tunable])
    cents = np.array([s.cents for s in tunable])
    off = np.abs(cents)
    key = np.array([s.rank.key_of(s.pipe.number).semitone for s in tunable])
    reed = np.array([not s.rank.family.is_flue for s in tunable])
    group = groups(task)[0]
    mean_off = np.bincount(group, off) / np.bincount(group)
    passed, nobody = off <= IN_TUNE_CENTS, np.zeros(len(off), dtype=bool)
    worst = np.argsort(-off)
    middle = np.lexsort((-off, (key < MIDDLE[0]) | (key >= MIDDLE[1])))
    by_rank = np.lexsort((np.arange(len(off)), group, -mean_off[group]))
    as_listed = np.concatenate([np.flatnonzero(reed), worst[~reed[worst]]])
    taken = {
        "worst cents first": in_turn(task, worst, nobody, capacity),
        "middle octaves by cents": in_turn(task, middle, nobody, capacity),
        "most strays a minute": greedy(task, np.where(off > STRAY_CENTS, 1.0, 1e-6), capacity),
        "reeds, then strays": in_turn(task, as_listed, passed & reed, capacity),
        "whole ranks": in_turn(task, by_rank, passed, capacity),
    }
    shift = prepared.condition.divisions
    base = np.concatenate(
        [np.full(r.pipes, shift[r.division].shift_cents or 0.0) for r in this.organ.ranks]
    )
    found = {}
    for name, chosen in taken.items():
        tuned = np.zeros(len(places), dtype=bool)
        tuned[place[chosen]] = True
        found[name] = (tuned, base)
    return found


def in_turn(task: Task, order: np.ndarray, passing: np.ndarray, capacity: int) -> np.ndarray:
    """Pipes taken in turn while they fit, set-ups paid when a rank or chest is first come to.

    Pipes that are `passing` are listened to and left.
    """
    chosen = np.zeros(len(task.steps), dtype=bool)
    of = groups(task)
    reached = [np.zeros(len(level.starts), dtype=bool) for level in task.levels]
    left = capacity
    for pipe in (int(i) for i in order):
        needs = PASSING_STEPS if passing[pipe] else int(task.steps[pipe])
        needs += sum(
            int(level.steps[group[pipe]])
            for level, group, seen in zip(task.levels, of, reached, strict=True)
            if not seen[group[pipe]]
        )
        if needs <= left:
            chosen[pipe] = not passing[pipe]
            left -= needs
            for group, seen in zip(of, reached, strict=True):
                seen[group[pipe]] = True
    return chosen


def greedy(task: Task, gain: np.ndarray, capacity: int, *, shared: bool = True) -> np.ndarray:
    """The best gain a minute next, the set-ups that it still needs counted, until none fits.

    If they are shared, a rank is opened for all its strays: its set-up is spread over those that
    are left in it.
    """
    chosen = np.zeros(len(task.steps), dtype=bool)
    of = groups(task)
    needs = [level.steps.astype(float).copy() for level in task.levels]
    left = capacity
    while True:
        minutes = task.steps + sum(n[g] for n, g in zip(needs, of, strict=True))
        pays = minutes
        if shared:
            pays = task.steps + sum(
                (n / np.maximum(1.0, np.bincount(g, np.where(chosen, 0.0, gain), len(n))))[g]
                for n, g in zip(needs, of, strict=True)
            )
        worth = np.where(chosen | (minutes > left) | (gain <= 0.0), -1.0, gain / pays)
        pipe = int(np.argmax(worth))
        if worth[pipe] <= 0.0:
            return chosen
        chosen[pipe] = True
        left -= int(minutes[pipe])
        for n, g in zip(needs, of, strict=True):
            n[g[pipe]] = 0.0


def groups(task: Task) -> list[np.ndarray]:
    """For each level, the group of every pipe."""
    found: list[np.ndarray] = []
    of = np.arange(len(task.steps))
    count = len(task.steps)
    for level in task.levels:
        of = np.repeat(np.arange(len(level.starts)), level.sizes(count))[of]
        found.append(of)
        count = len(level.starts)
    return found


def optimum(task: Task, capacity: int) -> np.ndarray:
    """The best choice for a task's own gains."""
    return choose(task, capacity).pipes
