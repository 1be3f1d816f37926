"""The invented air of an invented building through the year."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from walkboard.organ.model import Organ

# A hall heated for its events: warm in summer, kept from freezing in winter, dry when heated.
MEAN_CELSIUS, SUMMER_CELSIUS = 18.0, 3.5
MEAN_HUMIDITY, SUMMER_HUMIDITY = 0.55, 0.08
_WARMEST_DAY = 205  # late July


@dataclass(frozen=True, slots=True)
class Weather:
    """The true air at a visit.

    Attributes
    ----------
    at : date
    celsius : mapping of division id to float
        [°C].
    humidity : float
        Relative, 0 to 1.
    """

    at: date
    celsius: Mapping[str, float]
    humidity: float


def weather_on(organ: Organ, at: date, rng: np.random.Generator) -> Weather:
    """Air on a day: the season, the day's own deviation, and each division's place."""
    turn = np.cos(2.0 * np.pi * (at.timetuple().tm_yday - _WARMEST_DAY) / 365.25)
    room = MEAN_CELSIUS + SUMMER_CELSIUS * float(turn) + 1.2 * float(rng.standard_normal())
    humidity = MEAN_HUMIDITY + SUMMER_HUMIDITY * float(turn) + 0.05 * float(rng.standard_normal())
    place = {d.id: (0.8 if d.enclosed else 0.0) for d in organ.divisions}
    celsius = {
        d: round(room + up + 0.3 * float(rng.standard_normal()), 3) for d, up in place.items()
    }
    return Weather(at, celsius, float(np.clip(humidity, 0.2, 0.9)))


def quarterly(
    organ: Organ, rng: np.random.Generator, visits: int, start: date = date(2031, 1, 20)
) -> tuple[Weather, ...]:
    """Air at visits about every three months."""
    days = [round(n * 365.25 / 4.0 + 14.0 * (rng.random() - 0.5)) for n in range(visits)]
    return tuple(weather_on(organ, start + timedelta(days=d), rng) for d in days)
