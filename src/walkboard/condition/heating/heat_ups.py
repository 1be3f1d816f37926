"""Finds the heat-ups in logged air: stretches where a room warms faster than a day warms it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class HeatUpLimits:
    """When a rise counts as heating.

    Attributes
    ----------
    rate_celsius_per_hour : float
        Least rate, over `window_h`. Chosen: sun and people warm a church by about 0.2 K an hour.
    window_h : float
        Over which the rate is taken [h]. Chosen.
    rise_celsius : float
        Least rise from beginning to end [K]. Chosen.
    pause_h : float
        A shorter pause in the rise does not end it: burners cycle [h]. Chosen.
    """

    rate_celsius_per_hour: float = 0.4
    window_h: float = 1.0
    rise_celsius: float = 2.0
    pause_h: float = 1.5


LIMITS = HeatUpLimits()
_GRID_H = 0.25
_FLAT_CELSIUS = 0.1  # a logger's step [K]


@dataclass(frozen=True, eq=False)
class HeatUp:
    """One heat-up.

    Attributes
    ----------
    start_h : float
        When it began, on the log's own clock [h].
    hours : ndarray, shape (n,)
        Since then, rising from 0 [h].
    celsius : ndarray, shape (n,)
        Air at the organ [°C].
    outdoors_celsius : float or None
        Mean outdoors over that time [°C]; None if it was not logged.
    """

    start_h: float
    hours: Numbers
    celsius: Numbers
    outdoors_celsius: float | None = None

    @property
    def from_celsius(self) -> float:
        """The air at its beginning [°C]."""
        return float(self.celsius[0])


def find_heat_ups(
    hours: Numbers,
    celsius: Numbers,
    *,
    outdoors: tuple[Numbers, Numbers] | None = None,
    limits: HeatUpLimits = LIMITS,
) -> tuple[HeatUp, ...]:
    """The heat-ups in a log, in order of time.

    Parameters
    ----------
    hours, celsius : ndarray, shape (n,)
        A log; hours rise, on any clock.
    outdoors : tuple of two ndarrays or None
        Hours, on the same clock, and air outdoors.
    limits : HeatUpLimits
    """
    if len(hours) < 3 or hours[-1] - hours[0] < 2.0 * limits.window_h:
        return ()
    grid = np.arange(hours[0], hours[-1], _GRID_H)
    air = _smoothed(np.interp(grid, hours, celsius))
    ahead = np.minimum(np.arange(len(grid)) + round(limits.window_h / _GRID_H), len(grid) - 1)
    rate = (air[ahead] - air) / np.maximum((ahead - np.arange(len(grid))) * _GRID_H, _GRID_H)
    found = []
    for begun, last in _runs(rate >= limits.rate_celsius_per_hour, round(limits.pause_h / _GRID_H)):
        first = _takes_off(air, begun, round(limits.window_h / _GRID_H))
        end = min(last + round(limits.window_h / _GRID_H), len(grid) - 1)
        top = first + int(np.argmax(air[first : end + 1]))
        if air[top] - air[first] < limits.rise_celsius or _gap(hours, grid[first], grid[top]):
            continue
        start, stop = float(grid[first]), float(grid[top])
        found.append(
            HeatUp(
                start_h=start,
                hours=grid[first : top + 1] - start,
                celsius=air[first : top + 1],
                outdoors_celsius=_mean_between(outdoors, start, stop),
            )
        )
    return tuple(found)


def _smoothed(values: Numbers) -> Numbers:
    """Running mean of three: loggers step by a tenth or half of a degree."""
    if len(values) < 3:
        return values
    padded = np.concatenate([values[:1], values, values[-1:]])
    mean: Numbers = (padded[:-2] + padded[1:-1] + padded[2:]) / 3.0
    return mean


def _takes_off(air: Numbers, first: int, window: int) -> int:
    """Start of the rise: the rate looks ahead, so a run starts up to one window too early."""
    near = air[first : first + window + 1]
    return first + int(np.flatnonzero(near <= near.min() + _FLAT_CELSIUS)[-1])


def _runs(on: NDArray[np.bool_], pause: int) -> list[tuple[int, int]]:
    """First and last index of each run of True, runs with a short pause between them joined."""
    runs: list[tuple[int, int]] = []
    for index in np.flatnonzero(on):
        if runs and index - runs[-1][1] <= pause + 1:
            runs[-1] = runs[-1][0], int(index)
        else:
            runs.append((int(index), int(index)))
    return runs


def _gap(hours: Numbers, start: float, stop: float) -> bool:
    """Whether the log has a hole of two hours or more between two times."""
    inside = hours[(hours >= start) & (hours <= stop)]
    steps = np.diff(np.concatenate([[start], inside, [stop]]))
    return bool(steps.max() >= 2.0)


def _mean_between(
    outdoors: tuple[Numbers, Numbers] | None, start: float, stop: float
) -> float | None:
    if outdoors is None:
        return None
    hours, celsius = outdoors
    if len(hours) == 0 or hours[-1] < start or hours[0] > stop:
        return None
    return float(np.interp(np.linspace(start, stop, 9), hours, celsius).mean())
