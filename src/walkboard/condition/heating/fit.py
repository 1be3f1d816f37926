"""The course that the heat-ups of one building share.

``T(h) = T0 + (T_end − T0)·(1 − w·e^(−h/τ_fast) − (1 − w)·e^(−h/τ_slow))``

The air warms in the first hour or two and the walls over the day; `T_end` is where it would end, a
fixed number of kelvin above the air outdoors. If that was not logged, `T_end` itself is fixed. Weak
priors supply what one or two heat-ups cannot show.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from walkboard.condition.heating.heat_ups import HeatUp

Numbers = NDArray[np.float64]

# Prior means and deviations of ln τ_fast [h], ln τ_slow [h], logit w, and T_end above outdoors [K]
# or T_end itself [°C]. Chosen wide: a chapel with fan heaters to a church with under-floor heating.
_LOG_FAST, _LOG_SLOW, _LOGIT = (np.log(1.2), 0.7), (np.log(10.0), 0.7), (0.0, 1.2)
_ABOVE_OUTDOORS, _END = (15.0, 8.0), (20.0, 8.0)
_MISFIT_CELSIUS = 0.4  # how far heat-ups of one building differ from one course [K]. Chosen.
_POINTS = 12  # of each heat-up: more add nothing, because their misfits are correlated


@dataclass(frozen=True, slots=True)
class Course:
    """The course of a building's heat-ups.

    Attributes
    ----------
    end_celsius : float
        Where the air would end; above the air outdoors if `is_above_outdoors` [K or °C].
    fast_h, slow_h : float
        Time constants [h].
    fast_share : float
    is_above_outdoors : bool
    """

    end_celsius: float
    fast_h: float
    slow_h: float
    fast_share: float
    is_above_outdoors: bool

    def end(self, outdoors_celsius: float | None) -> float:
        """Where the air would end if the heating stayed on [°C]."""
        if not self.is_above_outdoors:
            return self.end_celsius
        assert outdoors_celsius is not None, "a course above the air outdoors needs that air"
        return self.end_celsius + outdoors_celsius

    def share(self, hours: Numbers | float) -> Numbers:
        """How much of the way to its end the air has gone after so many hours, 0 to 1."""
        h = np.maximum(np.asarray(hours, dtype=float), 0.0)
        left: Numbers = self.fast_share * np.exp(-h / self.fast_h) + (
            1.0 - self.fast_share
        ) * np.exp(-h / self.slow_h)
        return 1.0 - left

    def air(
        self, hours: Numbers | float, from_celsius: float, outdoors_celsius: float | None
    ) -> Numbers:
        """The air after so many hours of heating [°C]."""
        whole = self.end(outdoors_celsius) - from_celsius
        reached: Numbers = from_celsius + whole * self.share(hours)
        return reached


def fit_course(heat_ups: Sequence[HeatUp]) -> Course:
    """The course that several heat-ups share.

    Parameters
    ----------
    heat_ups : sequence of HeatUp
        At least one. The air outdoors is used only if all of them know it.

    Raises
    ------
    ValueError
        If there are none.
    """
    if not heat_ups:
        raise ValueError("there is no heat-up to fit")
    above = all(one.outdoors_celsius is not None for one in heat_ups)
    prior = np.array([_LOG_FAST, _LOG_SLOW, _LOGIT, _ABOVE_OUTDOORS if above else _END])
    picked = [
        np.unique(np.linspace(0, len(one.hours) - 1, min(_POINTS, len(one.hours))).astype(int))
        for one in heat_ups
    ]

    def misfit(x: Numbers) -> Numbers:
        course = _course(x, above=above)
        parts = [(x - prior[:, 0]) / prior[:, 1]]
        for one, index in zip(heat_ups, picked, strict=True):
            air = course.air(one.hours[index], one.from_celsius, one.outdoors_celsius)
            scale = _MISFIT_CELSIUS * np.sqrt(len(index) / 3.0)  # about three independent data
            parts.append((air - one.celsius[index]) / scale)
        return np.concatenate(parts)

    return _course(least_squares(misfit, prior[:, 0], method="lm").x, above=above)


def _course(x: Numbers, *, above: bool) -> Course:
    fast, slow = np.exp(np.clip(x[:2], -3.0, 6.0))
    share = 1.0 / (1.0 + np.exp(-np.clip(x[2], -30.0, 30.0)))
    return Course(float(x[3]), float(fast), float(slow), float(share), above)
