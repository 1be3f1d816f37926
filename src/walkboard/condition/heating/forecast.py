"""The air at an event with its spread, from the errors of past forecasts; never a bare start time.

The air near the end of a heat-up is nearly flat, so the time at which it passes a given temperature
is only known to within hours (80 to 250 minutes in ten simulated churches), while the air at the
event is known to half a kelvin. A fit's own intervals cover 15 to 20 % where they claim 80; those
made from past errors are used instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from walkboard.condition.heating.fit import Course, fit_course
from walkboard.condition.heating.heat_ups import HeatUp

# Until a building has its own errors: those of other buildings, worth so many heat-ups.
_PRIOR_ERROR_CELSIUS, _PRIOR_COUNT = 0.3, 2.0  # fitted by bench heating
# How the course leans is not known at first: the square of an error is larger by this share, halved
# after the first trial, a third after the second. Fitted by bench heating.
_UNTRIED = 2.0
ENOUGH = 5  # heat-ups that agreed before a time is suggested (from the issue's own study)
AGREED_CELSIUS = 0.7  # an error within which a heat-up agreed [K]. Chosen: 2 cents of flue pitch
LIKELY = 0.8


@dataclass(frozen=True, slots=True)
class Score:
    """One past heat-up, forecast from those before it alone.

    Attributes
    ----------
    heat_up : HeatUp
    error_celsius : float
        Forecast minus what came, at its end [K].
    course_error_celsius : float
        The same for the curve alone, before correction by past errors [K].
    low_celsius, high_celsius : float
        The 80 % interval given for it [°C].
    """

    heat_up: HeatUp
    error_celsius: float
    course_error_celsius: float
    low_celsius: float
    high_celsius: float

    @property
    def held(self) -> bool:
        """Whether the interval contained the outcome."""
        return self.low_celsius <= float(self.heat_up.celsius[-1]) <= self.high_celsius


@dataclass(frozen=True, slots=True)
class AirForecast:
    """The air at an event.

    Attributes
    ----------
    celsius : float
        Expected [°C].
    low_celsius, high_celsius : float
        Eight times in ten it is between these [°C].
    end_celsius : float
        Where it would end if the heating stayed on [°C].
    spread_celsius, freedom : float
        Scale and degrees of freedom of Student's distribution about `celsius`.
    """

    celsius: float
    low_celsius: float
    high_celsius: float
    end_celsius: float
    spread_celsius: float
    freedom: float

    def chance_below(self, celsius: float) -> float:
        """Chance that the air is colder than so many degrees."""
        away = (celsius - self.celsius) / self.spread_celsius
        return float(stats.t.cdf(away, self.freedom))

    def can_reach(self, celsius: float) -> bool:
        """Whether heating, however early it starts, could bring the air there."""
        return celsius <= self.end_celsius + 2.0 * self.spread_celsius


class Heating:
    """What a building's past heat-ups say about the next one.

    Parameters
    ----------
    heat_ups : sequence of HeatUp
        In order of time; at least one.
    """

    def __init__(self, heat_ups: Sequence[HeatUp]) -> None:
        self.heat_ups = tuple(heat_ups)
        self.course: Course = fit_course(self.heat_ups)
        self.scores: tuple[Score, ...] = _scores(self.heat_ups)

    @property
    def has_agreed(self) -> bool:
        """Whether the last `ENOUGH` forecasts were near enough to suggest a time."""
        last = self.scores[-ENOUGH:]
        return len(last) >= ENOUGH and all(abs(s.error_celsius) <= AGREED_CELSIUS for s in last)

    def at(self, hours: float, from_celsius: float, outdoors_celsius: float | None) -> AirForecast:
        """The air after so many hours of heating.

        Parameters
        ----------
        hours : float
            From switching on to the event [h].
        from_celsius : float
            The air when it is switched on [°C].
        outdoors_celsius : float or None
            Expected outdoors over that time [°C]; needed if it was logged at past heat-ups.

        Raises
        ------
        ValueError
            If the air outdoors is needed and not given.
        """
        if self.course.is_above_outdoors and outdoors_celsius is None:
            raise ValueError("the air outdoors is needed")
        mean = float(self.course.air(hours, from_celsius, outdoors_celsius))
        mean -= _usual_error(self.scores) * float(self.course.share(hours))
        spread, freedom = _spread([s.error_celsius for s in self.scores])
        reach = float(stats.t.ppf(0.9, freedom)) * spread
        end = self.course.end(outdoors_celsius) - _usual_error(self.scores)
        return AirForecast(mean, mean - reach, mean + reach, end, spread, freedom)

    def switch_on_hours(
        self, wanted_celsius: float, from_celsius: float, outdoors_celsius: float | None
    ) -> float | None:
        """Hours before the event to switch on, so that it is likely to be warm enough.

        None unless the last five forecasts agreed, or if two days of heating do not do it.
        """
        if not self.has_agreed:
            return None
        for hours in np.arange(0.0, 48.25, 0.25):
            there = self.at(float(hours), from_celsius, outdoors_celsius)
            if there.chance_below(wanted_celsius) <= 1.0 - LIKELY:
                return float(hours)
        return None


def _scores(heat_ups: Sequence[HeatUp]) -> tuple[Score, ...]:
    """Each heat-up but the first, forecast from those before it."""
    scores: list[Score] = []
    for number in range(1, len(heat_ups)):
        one = heat_ups[number]
        before = heat_ups[:number]
        course = fit_course(before)
        outdoors = one.outdoors_celsius
        if course.is_above_outdoors and outdoors is None:
            continue
        air = float(course.air(float(one.hours[-1]), one.from_celsius, outdoors))
        came = float(one.celsius[-1])
        course_error = air - came
        air -= _usual_error(scores)
        spread, freedom = _spread([s.error_celsius for s in scores])
        reach = float(stats.t.ppf(0.9, freedom)) * spread
        scores.append(Score(one, air - came, course_error, air - reach, air + reach))
    return tuple(scores)


def _usual_error(scores: Sequence[Score]) -> float:
    """How much too warm the course has been so far [K], held near zero while it was rarely tried.

    Walls still warm from last time and the changing season bias the curve.
    """
    return sum(s.course_error_celsius for s in scores) / (len(scores) + _PRIOR_COUNT)


def _spread(errors: Sequence[float]) -> tuple[float, float]:
    """Scale and freedom of Student's distribution of the next error."""
    count = _PRIOR_COUNT + len(errors)
    growth = 1.0 + _UNTRIED / np.arange(1.0, len(errors) + 2.0)  # of each square, the next one last
    squares = _PRIOR_COUNT * _PRIOR_ERROR_CELSIUS**2
    squares += float((np.square(errors) / growth[:-1]).sum())
    return float(np.sqrt(growth[-1] * squares / count)), count
