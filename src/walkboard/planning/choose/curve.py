"""What further minutes would buy: the least cost at every ten minutes."""

from __future__ import annotations

import numpy as np

from walkboard.errors import NotEnoughMinutesError
from walkboard.planning.choose.arrays import FloatArray
from walkboard.planning.choose.certify import choose
from walkboard.planning.choose.task import Task
from walkboard.planning.plan import CurvePoint
from walkboard.planning.route.minutes import in_steps

EVERY_MINUTES = 10.0
BEYOND = 1.5  # the curve goes on to so many times the visit's minutes, unless all is done before


def cost_curve(
    task: Task, minutes: float, *, every_minutes: float = EVERY_MINUTES
) -> tuple[CurvePoint, ...]:
    """Least cost for each number of minutes, each solved to the optimum.

    Parameters
    ----------
    task : Task
    minutes : float
        Of the visit.
    every_minutes : float

    Returns
    -------
    tuple of CurvePoint
        From 0 upward (or from where what must be done fits), to 1.5 × the visit's minutes or to
        where nothing is left to gain. The visit's own minutes are among them.
    """
    useful = np.maximum(task.gain, 0.0) if task.must is None else _useful(task)
    least = float((task.untouched - useful.sum(axis=1)).min())
    if task.parts is not None and task.parts.within:
        least = -np.inf  # every point is asked for
    end = BEYOND * minutes
    places = {round(n * every_minutes, 6) for n in range(int(end / every_minutes + 1e-9) + 1)}
    points: list[CurvePoint] = []
    start: int | None = None
    for at in sorted(places | {minutes}):
        try:
            chosen = choose(task, in_steps_within(at), start)
        except NotEnoughMinutesError:  # what must be done does not fit in so few
            continue
        start = chosen.reference
        points.append(CurvePoint(at, chosen.cost))
        if chosen.cost <= least + 1e-9 and at >= minutes:
            break
    return tuple(points)


def _useful(task: Task) -> FloatArray:
    assert task.must is not None
    useful: FloatArray = np.where(task.must, task.gain, np.maximum(task.gain, 0.0))
    return useful


def in_steps_within(minutes: float) -> int:
    """Whole steps of time that fit into some minutes."""
    return -in_steps(-minutes)
