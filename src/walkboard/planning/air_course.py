"""The course of the air during a visit, from thermometer readings.

A hall that is heated, or fills with people, warms by about a degree an hour; a flue follows by 3
cents a degree. So a pipe's target depends on when it is reached, and reeds are best done when the
air is nearest to the event's. The readings give a level and a slope; after the last reading the
slope fades, because a hall settles.

    T(t) = T₀ + v t                       up to now
    T(t) = T₀ + v τ (1 − e^(−t/τ))        ahead, τ = 90 minutes

Least squares with a prior of 0 ± 1 °C an hour on the slope (a ridge: Hoerl & Kennard 1970,
Technometrics 12:55); readings are accurate to 0.1 °C relative to each other. One reading gives no
slope. The prior, τ and 0.1 °C are chosen; a UK builder's page asks for heating under 2 °C an hour.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from walkboard.planning.arrays import FloatArray

READING_CELSIUS = 0.1
SLOPE_CELSIUS_PER_HOUR = 1.0
REST_MINUTES = 90.0


@dataclass(frozen=True, slots=True)
class AirCourse:
    """The air of one division during a visit.

    Attributes
    ----------
    now_celsius : float
    slope_celsius_per_hour, slope_sigma : float
        The present air, and its standard deviation.
    readings : int
        Number of readings it is based on.
    """

    now_celsius: float
    slope_celsius_per_hour: float = 0.0
    slope_sigma: float = SLOPE_CELSIUS_PER_HOUR
    readings: int = 1

    def __post_init__(self) -> None:
        for value in (self.now_celsius, self.slope_celsius_per_hour, self.slope_sigma):
            if not math.isfinite(value):
                raise ValueError(
                    f"the course of the air is made of finite numbers, not {self}: "
                    "leave out the thermometer's bad reading"
                )

    def at(self, minutes: float) -> float:
        """Air so many minutes from now [°C]; negative for the past."""
        slope = self.slope_celsius_per_hour / 60.0
        if minutes <= 0.0:
            return self.now_celsius + slope * minutes
        return self.now_celsius + slope * REST_MINUTES * -math.expm1(-minutes / REST_MINUTES)

    def at_times(self, minutes: FloatArray) -> FloatArray:
        """The same for many times at once; shape kept."""
        slope = self.slope_celsius_per_hour / 60.0
        ahead = REST_MINUTES * -np.expm1(-np.maximum(minutes, 0.0) / REST_MINUTES)
        return self.now_celsius + slope * np.where(minutes <= 0.0, minutes, ahead)

    def change_by(self, minutes: float) -> float:
        """How much warmer it will be after so many minutes [°C]."""
        return self.at(minutes) - self.now_celsius


def course_of(readings: Iterable[tuple[float, float]]) -> AirCourse:
    """The course from some readings.

    Parameters
    ----------
    readings : iterable of (minutes, celsius)
        Minutes from now, negative before it; at least one.

    Raises
    ------
    ValueError
        If there is no reading.
    """
    ordered = sorted(readings)
    if not ordered:
        raise ValueError("without a reading there is no course of the air")
    minutes = np.array([m for m, _ in ordered])
    celsius = np.array([c for _, c in ordered])
    hours = minutes / 60.0
    # the level is free; the slope has a prior
    middle = hours - hours.mean()
    precision = (middle @ middle) / READING_CELSIUS**2 + 1.0 / SLOPE_CELSIUS_PER_HOUR**2
    slope = float((middle @ (celsius - celsius.mean())) / READING_CELSIUS**2 / precision)
    now = float(celsius.mean() - slope * hours.mean())
    return AirCourse(now, slope, float(1.0 / math.sqrt(precision)), len(ordered))
