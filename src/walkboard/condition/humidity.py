"""Humidity against a building's own past, following guidance for hygroscopic objects.

EN 15757:2010, from memory: wood has adapted to its building, so the air is compared with its own
moving average of 30 days, and anything beyond the 7th and 93rd percentile of the swings about it is
a risk. The standard asks for a year of readings; with fewer the band is a first estimate. The
organ's adviser has the last word.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

AVERAGE_DAYS, FEWEST_DAYS, WANTED_DAYS = 30.0, 30.0, 365.0
_LOW_PERCENT, _HIGH_PERCENT = 7.0, 93.0


@dataclass(frozen=True, eq=False)
class HumidityCourse:
    """A log by the hour beside its moving average and the band about it.

    Attributes
    ----------
    hours, humidity, mean, low, high : ndarray, shape (n,)
        Humidities relative, 0 to 1.
    """

    hours: Numbers
    humidity: Numbers
    mean: Numbers
    low: Numbers
    high: Numbers


@dataclass(frozen=True, eq=False)
class HumidityBand:
    """The building's own band, and the last reading.

    Attributes
    ----------
    average, low, high, last : float
        Relative humidity, 0 to 1: the last 30 days' mean, the band about it, the last reading.
    days : float
        Days of readings it is based on.
    course : HumidityCourse
    """

    average: float
    low: float
    high: float
    last: float
    days: float
    course: HumidityCourse

    @property
    def is_outside(self) -> bool:
        """Whether the last reading is outside the band."""
        return not self.low <= self.last <= self.high


def humidity_band(hours: Numbers, humidity: Numbers) -> HumidityBand | None:
    """The band of a log; None if it is shorter than 30 days.

    Parameters
    ----------
    hours, humidity : ndarray, shape (n,)
        A log; relative humidity 0 to 1.
    """
    if len(hours) < 2 or hours[-1] - hours[0] < 24.0 * FEWEST_DAYS:
        return None
    grid = np.arange(hours[0], hours[-1], 1.0)
    values = np.interp(grid, hours, humidity)
    width = int(24 * AVERAGE_DAYS)
    total = np.concatenate([[0.0], np.cumsum(values)])
    at = np.arange(len(values))
    first, last = np.maximum(at - width // 2, 0), np.minimum(at + width // 2, len(values))
    mean = (total[last] - total[first]) / (last - first)
    low, high = np.percentile(values - mean, [_LOW_PERCENT, _HIGH_PERCENT])
    average = float(values[-width:].mean())
    days = float(hours[-1] - hours[0]) / 24.0
    return HumidityBand(
        average,
        average + float(low),
        average + float(high),
        float(humidity[-1]),
        days,
        HumidityCourse(grid, values, mean, mean + low, mean + high),
    )
