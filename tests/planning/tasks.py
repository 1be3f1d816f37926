"""Small and large choices with known structure, made by chance from a seed."""

from __future__ import annotations

from typing import Any

import highspy
import numpy as np

from walkboard.planning.choose.task import Level, Task
from walkboard.planning.value.cost import expected_badness


def groups(members: int, count: int, steps: tuple[int, int], rng: np.random.Generator) -> Level:
    """Members cut into so many groups side by side, with set-ups of so many steps."""
    cuts = np.sort(rng.choice(np.arange(1, members), min(count, members) - 1, replace=False))
    starts = np.concatenate([[0], cuts]).astype(np.int64)
    return Level(starts, rng.integers(*steps, len(starts)))


def a_task(pipes: int, references: int, seed: int, *, ranks: int, off_cents: float = 0.0) -> Task:
    """An organ in a usual state: ranks that moved as one, strays, reeds that are off."""
    rng = np.random.default_rng(seed)
    rank_level = groups(pipes, ranks, (5, 40), rng)
    chests = groups(len(rank_level.starts), max(1, ranks // 4), (0, 60), rng)
    divisions = groups(len(chests.starts), max(1, ranks // 8), (10, 60), rng)
    rank_of = np.repeat(np.arange(len(rank_level.starts)), rank_level.sizes(pipes))
    reed = (rng.random(len(rank_level.starts)) < 0.2)[rank_of]
    moved = rng.normal(0.0, 0.6, len(rank_level.starts))[rank_of]
    stands = off_cents + moved + rng.normal(0.0, 1.5, pipes)
    stands += np.where(rng.random(pipes) < 0.08, rng.normal(0.0, 10.0, pipes), 0.0)
    stands += np.where(reed, rng.normal(-4.0, 5.0, pipes), 0.0)
    hz = 65.4 * 2.0 ** rng.uniform(0.0, 5.0, pipes)
    weight = rng.uniform(0.3, 1.5, pipes)
    at = np.linspace(-8.0, 8.0, references) if references > 1 else np.zeros(1)
    left = weight * expected_badness(stands - at[:, None], rng.uniform(0.02, 0.5, pipes), hz)
    return Task(
        references_cents=at,
        untouched=left.sum(axis=1),
        gain=left - weight * expected_badness(0.0, 0.6, hz),
        steps=rng.integers(10, 35, pipes),
        levels=(rank_level, chests, divisions),
    )


def highs_least(task: Task, capacity: int, gap: float = 0.0) -> float:
    """Least cost at the task's only reference by HiGHS, a general solver (MIT licence)."""
    model: Any = highspy.Highs()  # type: ignore[no-untyped-call]
    model.silent()
    model.setOptionValue("mip_rel_gap", gap)
    model.setOptionValue("mip_abs_gap", 1e-9)
    model.setOptionValue("time_limit", 20.0)
    gain = task.gain[0]
    x = [model.addBinary(obj=-float(g)) for g in gain]
    time = sum(int(s) * v for s, v in zip(task.steps, x, strict=True))
    members = x
    for level in task.levels:
        opened = [model.addBinary() for _ in level.starts]
        of = np.repeat(np.arange(len(level.starts)), level.sizes(len(members)))
        for member, group in zip(members, of, strict=True):
            model.addConstr(member <= opened[int(group)])
        time = time + sum(int(s) * v for s, v in zip(level.steps, opened, strict=True))
        members = opened
    model.addConstr(time <= capacity)
    model.run()
    assert model.getModelStatus() == highspy.HighsModelStatus.kOptimal
    return float(task.untouched[0] + model.getInfo().objective_function_value)
