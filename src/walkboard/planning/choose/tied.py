"""References of the parts of an organ, which may differ up to a limit.

A set of references is given by an index for each part. It keeps the tie if its highest and lowest
are at most `within` steps apart.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from walkboard.planning.arrays import FloatArray, IntArray
from walkboard.planning.choose.task import Task


def least(values: FloatArray, within: int) -> tuple[tuple[int, ...], float]:
    """The set within the tie with the least sum.

    Parameters
    ----------
    values : (k, parts) array
        Value of each part at each reference.
    within : int
        Steps.
    """
    best: tuple[tuple[int, ...], float] = ((), np.inf)
    for low in range(max(1, len(values) - within)):
        window = values[low : low + within + 1]
        total = float(window.min(axis=0).sum())
        if total < best[1] or not best[0]:
            best = (tuple(int(i) + low for i in window.argmin(axis=0)), total)
    return best


def below(values: FloatArray, within: int, limit: float) -> Iterator[tuple[tuple[int, ...], float]]:
    """Every set within the tie whose sum is below a limit, the least first.

    Parameters
    ----------
    values : (k, parts) array
    within : int
    limit : float
    """
    found: list[tuple[float, tuple[int, ...]]] = []
    references, parts = values.shape
    for low in range(references):
        window = values[low : low + within + 1]
        rest = np.append(np.cumsum(window.min(axis=0)[::-1])[::-1], 0.0)
        if rest[0] >= limit:
            continue
        sums, picked = np.zeros(1), np.zeros((1, 0), dtype=np.int64)
        for part in range(parts):
            more = sums[:, None] + window[:, part]
            old, new = np.nonzero(more + rest[part + 1] < limit)
            sums = more[old, new]
            picked = np.column_stack([picked[old], new + low])
        lowest = picked.min(axis=1) == low if len(picked) else np.zeros(0, dtype=bool)
        found += [
            (float(total), tuple(int(i) for i in at))
            for total, at in zip(sums[lowest], picked[lowest], strict=True)
        ]
    for total, at in sorted(found):
        yield at, total


def must_by_group(task: Task) -> IntArray:
    """Steps for the required pipes, by reference and outermost group."""
    assert task.must is not None
    taken, steps = task.must, np.where(task.must, task.steps, 0)
    for level in task.levels:
        taken = np.logical_or.reduceat(taken, level.starts, axis=1)
        steps = np.add.reduceat(steps, level.starts, axis=1) + np.where(taken, level.steps, 0)
    return steps


def needs_of(task: Task, at: tuple[int, ...]) -> int:
    """Steps for the required pipes at a set of references."""
    if task.must is None:
        return 0
    return int(needs_by_part(task)[list(at), range(len(at))].sum())


def least_needs(task: Task) -> tuple[int, ...]:
    """The set of references at which the required pipes take the least time."""
    assert task.parts is not None
    return least(needs_by_part(task).astype(np.float64), task.parts.within)[0]


def needs_by_part(task: Task) -> IntArray:
    """Steps for the required pipes, by reference and part."""
    if task.must is None:
        parts = 1 if task.parts is None else len(task.parts.starts)
        return np.zeros((len(task.references_cents), parts), dtype=np.int64)
    by_group = must_by_group(task)
    if task.parts is None:
        whole: IntArray = by_group.sum(axis=1, keepdims=True)
        return whole
    needs: IntArray = np.add.reduceat(by_group, task.parts.starts, axis=1)
    return needs
