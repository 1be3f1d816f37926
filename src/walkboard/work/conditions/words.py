"""What the logged air says, in sentences; the command line and the page print the same."""

from __future__ import annotations

import numpy as np

from walkboard.organ.model import Organ
from walkboard.sheets.wording import celsius, counted
from walkboard.work.conditions.air_ahead import AirAhead, DivisionAhead

_WITHOUT_DATA = (
    "The forecasts rest on this building's own heat-ups alone; no open measurements of a church "
    "were found to check them with, only simulated churches and one house."
)


def air_words(organ: Organ, ahead: AirAhead) -> tuple[str, ...]:
    """Sentences about the next event, what stands between divisions, and humidity."""
    words: list[str] = []
    if ahead.event is None:
        words.append("No event is in the calendar, so nothing is forecast.")
    for division in ahead.divisions:
        words += _division(organ.division(division.division).name, division)
    for apart in ahead.apart:
        above = "above" if apart.cents >= 0.0 else "below"
        spread = "" if apart.spread_cents is None else f" ± {apart.spread_cents:.1f}"
        words.append(
            f"When an event begins, the {organ.division(apart.division).name} stands"
            f" {abs(apart.cents):.1f}{spread} cents {above} the"
            f" {organ.division(apart.against).name} ({counted(apart.events, 'event')})."
        )
    for place, band in ahead.humidity.items():
        name = next((d.name for d in organ.divisions if d.id == place), place)
        where = "outside" if band.is_outside else "within"
        words.append(
            f"Humidity ({name}): {100 * band.last:.0f} %, {where} this building's own band of"
            f" {100 * band.low:.0f} to {100 * band.high:.0f} % (EN 15757, from memory; it wants a"
            f" year, here are {band.days:.0f} days). Ask the organ's adviser before you change it."
        )
    if any(division.heat_ups for division in ahead.divisions):
        words.append(_WITHOUT_DATA)
    return tuple(words)


def _division(name: str, ahead: DivisionAhead) -> list[str]:
    if not ahead.heat_ups:
        return [f"{name}: no heat-up is in the log yet, so nothing is forecast."]
    words = []
    if ahead.scores:
        errors = np.abs([score.error_celsius for score in ahead.scores])
        held = sum(score.held for score in ahead.scores)
        words.append(
            f"{name}: {counted(ahead.heat_ups, 'heat-up')} logged. Forecast from those before them,"
            f" they were off by {np.median(errors):.1f} K in the middle; {held} of"
            f" {len(ahead.scores)} came within the 80 % interval."
        )
    else:
        words.append(f"{name}: one heat-up logged, so the spread is other buildings'.")
    if not ahead.heated:
        words.append(
            "Say how warm the event should be, and how cold it will be outdoors, for a forecast."
        )
        return words
    wanted = ahead.wanted_celsius
    assert wanted is not None
    for heated in ahead.heated:
        way = "sharp" if heated.cents >= 0.0 else "flat"
        words.append(
            f"{name} after {heated.hours:g} h of heating: {celsius(heated.air.celsius)}"
            f" ({celsius(heated.air.low_celsius)} to {celsius(heated.air.high_celsius)}, 8 times in"
            f" 10), flues {abs(heated.cents):.1f} cents {way} of where {celsius(wanted)} puts them;"
            f" too cold with a chance of {100 * heated.chance_too_cold:.0f} %."
        )
    if ahead.can_reach is False:
        words.append(
            f"{name}: {celsius(wanted)} cannot be reached, however early it is switched on."
        )
    elif ahead.switch_on_hours is not None:
        words.append(f"{name}: switch on about {ahead.switch_on_hours:g} h before the event.")
    else:
        words.append(f"{name}: no time to switch on is suggested until five heat-ups have agreed.")
    return words
