"""Dates, times and numbers as the pages show them."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from walkboard.desk.text import figures
from walkboard.languages.spoken import LANGUAGES, speak
from walkboard.languages.translation import translate


@pytest.fixture(params=["Pacific/Auckland", "Pacific/Pago_Pago", "UTC"])
def zone(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    monkeypatch.setenv("TZ", request.param)
    time.tzset()
    yield request.param
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("zone")
@pytest.mark.parametrize("year", [1, 9999])
def test_the_ends_of_the_calendar_break_no_page(year: int) -> None:
    # An older book may hold an event that a calendar put into the year 9999.
    at = datetime(year, 12, 31, 23, 59, tzinfo=UTC) if year > 1 else datetime(1, 1, 1, tzinfo=UTC)
    assert str(year) in figures.day(at)
    assert figures.clock(at)
    assert figures.month(at).endswith(f"/{year}")


@pytest.mark.parametrize(
    ("value", "shown"), [(4.83, "+4.8"), (-7.2, "\N{MINUS SIGN}7.2"), (-0.04, "0.0"), (None, "–")]
)
def test_cents_have_a_sign_and_no_minus_zero(value: float | None, shown: str) -> None:
    assert figures.signed(value) == shown


@pytest.fixture(params=LANGUAGES)
def language(request: pytest.FixtureRequest) -> Iterator[str]:
    speak(request.param)
    yield request.param
    speak("en")


def test_each_language_has_its_decimal_mark(language: str) -> None:
    mark = {"en": ".", "de": ",", "fr": ","}[language]
    assert figures.signed(4.83) == f"+4{mark}8"
    assert figures.hertz(261.626) == f"261{mark}63"
    assert figures.celsius(17.25) == f"17{mark}2\N{NO-BREAK SPACE}°C"
    assert figures.minutes(2.5) == f"2{mark}5\N{NO-BREAK SPACE}min"
    assert figures.in_a_field(18.5) == f"18{mark}5"
    assert figures.in_a_field(18.0) == "18"


def test_sentences_from_below_get_it_and_names_of_files_do_not(language: str) -> None:
    mark = {"en": ".", "de": ",", "fr": ","}[language]
    assert f"2{mark}9 mm" in translate("slide up, about 2.9 mm")
    for kept in ("walk1.2.flac", "v1.2", "9.12.2026"):
        assert translate(f"{kept} is here") == f"{kept} is here"
