"""The logged air in sentences, in three languages; commands and pages print the same."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files

import numpy as np

from walkboard.book.venue.records import OUTDOORS
from walkboard.organ.model import Organ
from walkboard.sheets.front_page.news import Language
from walkboard.sheets.front_page.phrases import Phrases
from walkboard.sheets.wording import BOUND
from walkboard.work.conditions.air_ahead import AirAhead, DivisionAhead, Heated


@cache
def air_phrases(language: Language) -> Phrases:
    """The words of a language."""
    file = files("walkboard.work.conditions").joinpath("languages", f"{language.value}.toml")
    return Phrases(language, tomllib.loads(file.read_text(encoding="utf-8")))


def air_words(
    organ: Organ, ahead: AirAhead, language: Language = Language.ENGLISH
) -> tuple[str, ...]:
    """Sentences about the next event, differences between divisions, and humidity."""
    phrases = air_phrases(language)
    words: list[str] = []
    if ahead.event is None:
        words.append(phrases.say("no_event"))
    for division in ahead.divisions:
        name = organ.division(division.division).name
        words += _division(name, division, phrases)
        words += [heated_words(name, division, heated, phrases) for heated in division.heated]
        words += _switching(name, division, phrases)
    for apart in ahead.apart:
        spread = "" if apart.spread_cents is None else f" ± {_tenth(apart.spread_cents, phrases)}"
        words.append(
            phrases.say(
                "apart",
                n=apart.events,
                division=organ.division(apart.division).name,
                against=organ.division(apart.against).name,
                cents=_tenth(abs(apart.cents), phrases) + spread,
                way=phrases.say("above" if apart.cents >= 0.0 else "below"),
            )
        )
    for place, band in ahead.humidity.items():
        words.append(
            phrases.say(
                "humidity",
                place=place_name(organ, place, phrases),
                last=f"{100 * band.last:.0f}",
                where=phrases.say("outside" if band.is_outside else "within"),
                low=f"{100 * band.low:.0f}",
                high=f"{100 * band.high:.0f}",
                days=f"{band.days:.0f}",
            )
        )
    if any(division.heat_ups for division in ahead.divisions):
        words.append(phrases.say("without_data"))
    return tuple(words)


def place_name(organ: Organ, place: str, phrases: Phrases) -> str:
    """A division's name, or the word for outdoors."""
    if place == OUTDOORS:
        return phrases.say("outdoors")
    return next((d.name for d in organ.divisions if d.id == place), place)


def heated_words(name: str, ahead: DivisionAhead, heated: Heated, phrases: Phrases) -> str:
    """The air after some hours of heating, with its interval and the chance of being too cold."""
    assert ahead.wanted_celsius is not None
    return phrases.say(
        "after",
        division=name,
        hours=phrases.number(heated.hours),
        celsius=_celsius(heated.air.celsius, phrases),
        low=_celsius(heated.air.low_celsius, phrases),
        high=_celsius(heated.air.high_celsius, phrases),
        cents=_tenth(abs(heated.cents), phrases),
        way=phrases.say("sharp" if heated.cents >= 0.0 else "flat"),
        wanted=_celsius(ahead.wanted_celsius, phrases),
        percent=f"{100 * heated.chance_too_cold:.0f}",
    )


def _division(name: str, ahead: DivisionAhead, phrases: Phrases) -> list[str]:
    if not ahead.heat_ups:
        return [phrases.say("no_heat_up", division=name)]
    words = []
    if ahead.scores:
        errors = np.abs([score.error_celsius for score in ahead.scores])
        words.append(
            phrases.say(
                "scored",
                division=name,
                n=ahead.heat_ups,
                kelvin=_tenth(float(np.median(errors)), phrases),
                held=sum(score.held for score in ahead.scores),
                scores=len(ahead.scores),
            )
        )
    else:
        words.append(phrases.say("first", division=name))
    if not ahead.heated:
        words.append(phrases.say("say_more"))
    return words


def _switching(name: str, ahead: DivisionAhead, phrases: Phrases) -> list[str]:
    if not ahead.heated or ahead.wanted_celsius is None:
        return []
    if ahead.can_reach is False:
        wanted = _celsius(ahead.wanted_celsius, phrases)
        return [phrases.say("cannot", division=name, wanted=wanted)]
    if ahead.switch_on_hours is None:
        return [phrases.say("not_yet", division=name)]
    hours = phrases.number(ahead.switch_on_hours)
    return [phrases.say("switch_on", division=name, hours=hours)]


def _celsius(value: float, phrases: Phrases) -> str:
    return f"{_tenth(value, phrases)}{BOUND}°C"


def _tenth(value: float, phrases: Phrases) -> str:
    text = f"{value:.1f}".replace("-", "−")
    return text.replace(".", phrases.say("decimal"))
