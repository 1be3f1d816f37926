"""What an organ's logged air shows: the next event, differences between divisions, humidity."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from walkboard.book.records import KeptEvent
from walkboard.book.venue.records import OUTDOORS
from walkboard.condition.heating.between import Apart, divisions_apart
from walkboard.condition.heating.forecast import AirForecast, Heating, Score
from walkboard.condition.heating.heat_ups import find_heat_ups
from walkboard.condition.humidity import HumidityBand, humidity_band
from walkboard.organ.model import Organ
from walkboard.physics.air import pitch_ratio
from walkboard.quantities import cents_of_ratio
from walkboard.work.conditions.clock import hours_of

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

Numbers = NDArray[np.float64]
Series = tuple[Numbers, Numbers]

HEATED_HOURS = (3.0, 6.0, 9.0, 12.0)  # that are forecast
TOO_COLD_CELSIUS = 1.0  # below the event's air: 3 cents between flues and reeds. Chosen.


@dataclass(frozen=True, slots=True)
class Heated:
    """The air at an event after some hours of heating.

    Attributes
    ----------
    hours : float
    air : AirForecast
    chance_too_cold : float
    cents : float
        How far the flues will be above their pitch in the wanted air [cents].
    """

    hours: float
    air: AirForecast
    chance_too_cold: float
    cents: float


@dataclass(frozen=True)
class DivisionAhead:
    """One division's forecast for the next event.

    Attributes
    ----------
    division : str
    heated : tuple of Heated
        Empty if no heat-up was logged or the air outdoors is unknown.
    scores : tuple of Score
        Scores of past heat-ups, each forecast from the earlier ones.
    heat_ups : int
    wanted_celsius : float or None
    can_reach : bool or None
    switch_on_hours : float or None
        Hours before the event; only after five heat-ups that agreed.
    """

    division: str
    heated: tuple[Heated, ...]
    scores: tuple[Score, ...]
    heat_ups: int
    wanted_celsius: float | None
    can_reach: bool | None = None
    switch_on_hours: float | None = None


@dataclass(frozen=True)
class AirAhead:
    """The whole outlook of the air.

    Attributes
    ----------
    since : datetime
        Zero of the hours.
    logs : mapping of place to (hours, celsius)
    event : KeptEvent or None
        The next one.
    divisions : tuple of DivisionAhead
    apart : tuple of Apart
        Between divisions, at the starts of past events.
    humidity : mapping of place to HumidityBand
    """

    since: datetime
    logs: Mapping[str, Series]
    event: KeptEvent | None
    divisions: tuple[DivisionAhead, ...]
    apart: tuple[Apart, ...]
    humidity: Mapping[str, HumidityBand]


def air_ahead(
    book: Book,
    organ_id: int,
    organ: Organ,
    *,
    now: datetime,
    outdoors_celsius: float | None = None,
) -> AirAhead | None:
    """The outlook from the logs; None if nothing was logged.

    Parameters
    ----------
    book : Book
    organ_id : int
    organ : Organ
    now : datetime
    outdoors_celsius : float or None
        Expected outdoors before the event; None: the last logged value.
    """
    kept = book.air_logs(organ_id)
    if not kept:
        return None
    since = min(log.starts_at for log in kept)
    logs = {
        place: _merged([(hours_of(log, since), log.celsius) for log in kept if log.place == place])
        for place in dict.fromkeys(log.place for log in kept)
    }
    events = [event for event in book.events(organ_id) if not event.cancelled]
    coming = [event for event in events if event.starts_at >= now]
    event = min(coming, key=lambda e: e.starts_at, default=None)
    past = [(e.starts_at - since).total_seconds() / 3600.0 for e in events if e.starts_at < now]
    places = [d.id for d in organ.divisions if d.id in logs]
    damp = {}
    for place in logs:
        whole = [log for log in kept if log.place == place and log.humidity]
        if whole:
            band = humidity_band(*_merged([(hours_of(g, since), g.humidity) for g in whole]))
            if band is not None:
                damp[place] = band
    divisions = tuple(_division(p, logs, event, outdoors_celsius) for p in places)
    apart = divisions_apart({p: logs[p] for p in places}, past, places[0]) if places else ()
    return AirAhead(since, logs, event, divisions, apart, damp)


def _merged(parts: list[tuple[Numbers, tuple[float, ...]]]) -> Series:
    """Merge several logs of one place; where they overlap, the one stored later counts."""
    values: dict[float, float] = {}
    for hours, celsius in parts:
        if values:
            values = {h: c for h, c in values.items() if not hours[0] <= h <= hours[-1]}
        values.update(zip(hours.tolist(), celsius, strict=True))
    order = sorted(values)
    return np.array(order), np.array([values[hour] for hour in order])


def _division(
    place: str, logs: Mapping[str, Series], event: KeptEvent | None, outdoors: float | None
) -> DivisionAhead:
    hours, celsius = logs[place]
    weather = logs.get(OUTDOORS)
    heat_ups = find_heat_ups(hours, celsius, outdoors=weather)
    wanted = None
    if event is not None:
        wanted = event.air_by_division.get(place, event.air_celsius)
    if not heat_ups:
        return DivisionAhead(place, (), (), 0, wanted)
    heating = Heating(heat_ups)
    if outdoors is None and weather is not None:
        outdoors = float(weather[1][-1])
    if wanted is None or (heating.course.is_above_outdoors and outdoors is None):
        return DivisionAhead(place, (), heating.scores, len(heat_ups), wanted)
    now = float(celsius[-1])
    heated = []
    for count in HEATED_HOURS:
        air = heating.at(count, now, outdoors)
        cents = cents_of_ratio(pitch_ratio(wanted, air.celsius))
        heated.append(Heated(count, air, air.chance_below(wanted - TOO_COLD_CELSIUS), cents))
    return DivisionAhead(
        place,
        tuple(heated),
        heating.scores,
        len(heat_ups),
        wanted,
        can_reach=heated[0].air.can_reach(wanted - TOO_COLD_CELSIUS),
        switch_on_hours=heating.switch_on_hours(wanted - TOO_COLD_CELSIUS, now, outdoors),
    )
