"""The pipe at hand as it was heard: where it stood, whether it moved, where it will settle."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from walkboard.condition.settling.forecast import Forecast, Warmth, forecast, mean_of
from walkboard.listening.live.readings import LiveReading

SURE_CENTS = 0.15  # of a reading that can stand for where the pipe is
_LONG_ENOUGH_S = 0.4  # of a window: a shorter one may still be of the attack
_FORECAST_S = 0.5
_BETWEEN_S = 0.25  # two readings that are remembered
_MOST_HEARD = 400
_MOVED_CENTS = 0.4  # a pipe wanders by .15 at times; a second look must say the same
_MOVED_SIGMAS = 4.0


@dataclass(slots=True)
class AtPipe:
    """The pipe at hand as it was heard so far.

    Attributes
    ----------
    warmth : Warmth
        What is thought of its kind.
    before : LiveReading or None
        Where it stood before it was touched.
    quiet_since_s : float
        Since when it has not moved [s].
    handled_s : float or None
        When it last moved [s].
    is_moved : bool
        Whether it moved since the last advice.
    asked_cents, stood_cents : float or None
        What the last advice asked for, and where the pipe stood then.
    forecast : Forecast or None
        Where it will settle, once it has been handled.
    """

    warmth: Warmth
    before: LiveReading | None = None
    quiet_since_s: float = np.inf
    handled_s: float | None = None
    is_moved: bool = False
    asked_cents: float | None = None
    stood_cents: float | None = None
    forecast: Forecast | None = None
    _strange: int = 0  # looks in a row that stand elsewhere than due
    _forecast_s: float = -np.inf
    _heard: list[tuple[float, float, float]] = field(default_factory=list)

    def has_moved(self, reading: LiveReading) -> bool:
        """Whether it stands elsewhere than a pipe does that nobody touched."""
        assert reading.cents is not None
        assert reading.sigma_cents is not None
        if self.forecast is not None:
            due = self.forecast.settled_cents + self.forecast.above_cents
        elif self.before is not None and self.before.cents is not None and self.handled_s is None:
            due = self.before.cents
        else:
            return False
        if reading.window_s < _LONG_ENOUGH_S:
            return False
        limit = max(_MOVED_CENTS, _MOVED_SIGMAS * reading.sigma_cents)
        self._strange = self._strange + 1 if abs(reading.cents - due) > limit else 0
        return self._strange >= 2

    def move(self, reading: LiveReading) -> None:
        """It has moved: what was heard before is of another place."""
        self.quiet_since_s = np.inf
        self.handled_s = reading.at_s
        self.is_moved = True
        self._strange = 0
        self._heard.clear()
        self.forecast = None
        self._forecast_s = -np.inf

    def rest(self, reading: LiveReading) -> float:
        """It has not moved: how long it has been so [s]."""
        if not np.isfinite(self.quiet_since_s):
            self.quiet_since_s = reading.at_s
        return reading.at_s - self.quiet_since_s

    def remember(self, reading: LiveReading) -> None:
        """Take a reading in, and forecast anew now and then."""
        assert reading.cents is not None
        assert reading.sigma_cents is not None
        if self.before is None and is_sure(reading):
            self.before = reading
        since_s = 0.0 if self.handled_s is None else self.handled_s
        middle_s = reading.at_s - 0.5 * reading.window_s - since_s
        last_s = self._heard[-1][0] if self._heard else -np.inf
        if middle_s - last_s >= _BETWEEN_S and middle_s >= 0.0:
            self._heard.append((middle_s, reading.cents, reading.sigma_cents))
            del self._heard[:-_MOST_HEARD]
        if self.handled_s is None:
            return
        if reading.at_s - self._forecast_s >= _FORECAST_S and len(self._heard) > 2:
            times, cents, sigma = np.array(self._heard).T
            self.forecast = forecast(times, cents, sigma, self.warmth)
            self._forecast_s = reading.at_s

    def settled(self, reading: LiveReading) -> tuple[float, float]:
        """Where it will stand against its target, and how sure that is [cents]."""
        assert reading.cents is not None
        assert reading.sigma_cents is not None
        if self.handled_s is None and self._heard:
            times, cents, sigma = np.array(self._heard).T
            return mean_of(times, cents, sigma)
        if self.forecast is None:
            return reading.cents, reading.sigma_cents
        return self.forecast.settled_cents, self.forecast.sigma_cents


def is_sure(reading: LiveReading) -> bool:
    """Whether a reading can stand for where the pipe is."""
    sigma = reading.sigma_cents
    return sigma is not None and sigma < SURE_CENTS and reading.window_s >= _LONG_ENOUGH_S
