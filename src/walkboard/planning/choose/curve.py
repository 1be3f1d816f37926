"""What more minutes would gain: the least cost at every ten minutes."""

from __future__ import annotations

import numpy as np

from walkboard.errors import NotEnoughMinutesError
from walkboard.planning.arrays import FloatArray
from walkboard.planning.choose.certify import Chosen, choose
from walkboard.planning.choose.task import Task
from walkboard.planning.minutes import in_steps
from walkboard.planning.plan import CurvePoint

EVERY_MINUTES = 10.0
BEYOND = (
    1.5  # the curve extends to so many times the visit's minutes, unless everything is done earlier
)


def cost_curve(
    task: Task,
    minutes: float,
    *,
    every_minutes: float = EVERY_MINUTES,
    otherwise: Task | None = None,
) -> tuple[CurvePoint, ...]:
    """Least cost for each number of minutes, each solved to the optimum.

    Parameters
    ----------
    task : Task
    minutes : float
        Minutes of the visit.
    every_minutes : float
    otherwise : Task, optional
        The same with fewer requirements, for minutes in which not all of them fit.

    Returns
    -------
    tuple of CurvePoint
        From 0 (or from where the required work fits) to 1.5 × the visit's minutes, or until nothing
        is left to gain. Includes the visit's own minutes.
    """
    useful = np.maximum(task.gain, 0.0) if task.must is None else _useful(task)
    least = float((task.untouched - useful.sum(axis=1)).min())
    if task.parts is not None and task.parts.within:
        least = -np.inf  # every point is wanted
    end = BEYOND * minutes
    places = {round(n * every_minutes, 6) for n in range(int(end / every_minutes + 1e-9) + 1)}
    points: list[CurvePoint] = []
    start: int | None = None
    for at in sorted(places | {minutes}):
        chosen = _fitting((task, otherwise), in_steps_within(at), start)
        if chosen is None:  # the required work does not fit in so few
            continue
        start = chosen.reference
        # a plan for fewer minutes also fits more: the curve never rises
        points.append(CurvePoint(at, min(chosen.cost, points[-1].cost if points else np.inf)))
        if chosen.cost <= least + 1e-9 and at >= minutes:
            break
    return tuple(points)


def passing_through(
    curve: tuple[CurvePoint, ...], minutes: float, cost: float
) -> tuple[CurvePoint, ...]:
    """The curve brought into line with the plan that was made.

    The curve charges each visit the walk that the plan makes to it, so with other visits it can
    promise a little more than the plan does. Fewer minutes do not leave less than the plan, more
    minutes do not leave more, and at the plan's minutes both agree.

    Parameters
    ----------
    curve : tuple of CurvePoint
    minutes, cost : float
        Of the plan.
    """
    return tuple(
        CurvePoint(
            point.minutes,
            cost
            if point.minutes == minutes
            else (max if point.minutes < minutes else min)(point.cost, cost),
        )
        for point in curve
    )


def _fitting(tasks: tuple[Task | None, ...], capacity: int, start: int | None) -> Chosen | None:
    """The best choice of the first task whose requirements fit."""
    for task in tasks:
        if task is not None:
            try:
                return choose(task, capacity, start)
            except NotEnoughMinutesError:
                continue
    return None


def _useful(task: Task) -> FloatArray:
    assert task.must is not None
    useful: FloatArray = np.where(task.must, task.gain, np.maximum(task.gain, 0.0))
    return useful


def in_steps_within(minutes: float) -> int:
    """Whole steps of time that fit into some minutes."""
    return -in_steps(-minutes)
