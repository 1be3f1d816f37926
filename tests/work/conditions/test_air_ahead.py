"""The logged air of a book: forecasts in kelvin and cents, divisions apart, chart and command."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from tests.commands import Run, run  # noqa: F401 - the fixture
from tests.condition.heating.churches import a_winter
from walkboard.book.keeping import Book
from walkboard.book.venue.records import OUTDOORS, AirLog
from walkboard.condition.humidity import humidity_band
from walkboard.organ.examples import village
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.sheets.front_page.news import Language
from walkboard.work import open_book
from walkboard.work.conditions.air_ahead import AirAhead, air_ahead
from walkboard.work.conditions.chart import humidity_chart
from walkboard.work.conditions.page import air_page
from walkboard.work.conditions.words import air_phrases, air_words

START = datetime(2031, 1, 3, tzinfo=UTC)


def log(place: str, hours: np.ndarray, celsius: np.ndarray) -> AirLog:
    return AirLog(
        place, f"{place}.csv", START, tuple((hours * 60.0).tolist()), tuple(celsius.tolist())
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("air") / "book"
    winter = a_winter(4, heat_ups=7)
    hours, great = winter.hours, winter.organ_celsius
    with open_book.new(folder) as book:
        kept = book.add_organ("Village", village())
        book.keep_air_log(kept.id, log("great", hours, great))
        book.keep_air_log(kept.id, log("swell", hours, great + 0.5))
        book.keep_air_log(kept.id, log(OUTDOORS, hours, winter.outdoors_celsius))
        for n, at in enumerate(winter.events_h):
            book.keep_event(kept.id, f"past-{n}", START + timedelta(hours=at), "Service")
        end = START + timedelta(hours=float(hours[-1]))
        coming = end + timedelta(hours=20)
        book.keep_event(kept.id, "next", coming, "Recital", air_celsius=float(great.max()) - 1.0)
    return folder


def seen(made: Path) -> tuple[Organ, AirAhead, Book]:
    book = open_book.opened(made)
    organ = read_organ(book.organ(1).description)
    last = max(log.starts_at + timedelta(minutes=log.minutes[-1]) for log in book.air_logs(1))
    found = air_ahead(book, 1, organ, now=last)
    assert found is not None
    return organ, found, book


def test_the_next_event_is_forecast_in_kelvin_and_cents_with_a_spread(made: Path) -> None:
    _, found, book = seen(made)
    book.close()
    assert found.event is not None
    assert found.event.title == "Recital"
    great = found.divisions[0]
    assert great.heat_ups == 7
    air = [heated.air.celsius for heated in great.heated]
    assert air == sorted(air)
    chance = [heated.chance_too_cold for heated in great.heated]
    assert chance == sorted(chance, reverse=True)
    # c ∝ √T (ISO 9613-1:1993): 3.0 cents a kelvin near 15 °C.
    wanted = great.wanted_celsius
    assert wanted is not None
    for heated in great.heated:
        kelvin = heated.air.celsius - wanted
        assert heated.cents == pytest.approx(3.0 * kelvin, abs=0.1 + 0.05 * abs(kelvin))


def test_the_swell_stands_above_the_great_at_the_start_of_events(made: Path) -> None:
    organ, found, book = seen(made)
    book.close()
    (apart,) = found.apart
    assert apart.celsius == pytest.approx(0.5)
    assert apart.events == 7
    words = " ".join(air_words(organ, found))
    assert "the Swell is 1.5 ± 0.0 cents above the Great (7 events)" in words


def test_the_page_holds_a_chart_and_is_whole(made: Path) -> None:
    organ, found, book = seen(made)
    page = air_page(organ, found, book.visits(1), book.events(1))
    book.close()
    assert page.count('class="event"') == 7
    assert page.count('class="line"') == 2 * 3
    assert "outdoors" in page
    assert "://" not in page
    assert "<script" not in page


@pytest.mark.parametrize(
    ("language", "words"),
    [
        (Language.GERMAN, ("Swell um 1,5 ± 0,0 Cent über Great", "in 8 von 10 Fällen", "die Luft")),
        (
            Language.FRENCH,
            ("Swell est à 1,5 ± 0,0 cents au-dessus de Great", "8 fois sur 10", "dehors"),
        ),
    ],
)
def test_the_page_is_written_in_german_and_french(
    made: Path, language: Language, words: tuple[str, ...]
) -> None:
    organ, found, book = seen(made)
    page = air_page(organ, found, book.visits(1), book.events(1), language)
    book.close()
    assert f'<html lang="{language.value}">' in page
    for one in words:
        assert one in page
    assert "heating" not in page
    # No text is missing, and each has the gaps of the English one.
    english = air_phrases(Language.ENGLISH).texts
    other = air_phrases(language).texts
    assert english.keys() == other.keys()
    for key, text in english.items():
        mine, theirs = (re.findall(r"\{\w+[^}]*\}", str(t)) for t in (text, other[key]))
        assert sorted(mine) == sorted(theirs), key


def test_humidity_is_drawn_beside_the_buildings_own_band() -> None:
    hours = np.arange(0.0, 24.0 * 60.0, 1.0)
    band = humidity_band(hours, 0.55 + 0.05 * np.sin(2.0 * np.pi * hours / 24.0))
    assert band is not None
    ahead = AirAhead(START, {}, None, (), (), {"great": band})
    organ = read_organ(village())
    drawn = humidity_chart(organ, "great", band, ahead)
    assert "from 50 to 60 % over 60 days" in drawn
    assert drawn.count('class="band"') == 1
    # The band follows the mean: as far above it and below it as the swings go.
    np.testing.assert_allclose(band.course.high - band.course.mean, 0.0488, atol=0.002)
    np.testing.assert_allclose(band.course.mean - band.course.low, 0.0488, atol=0.002)


def test_a_log_is_taken_in_by_command_and_its_questions_are_shown(
    tmp_path: Path,
    run: Run,  # noqa: F811 - the fixture
) -> None:
    file = tmp_path / "organ.csv"
    rows = "\n".join(f"2031-03-{d:02d} 10:00,15.{d % 10},60" for d in range(1, 31))
    file.write_text("time,temp °C,hum\n" + rows, encoding="utf-8")
    with open_book.new(tmp_path / "book") as book:
        book.add_organ("Village", village())
    done = run("air", "take", str(tmp_path / "book"), str(file), "--place", "great", "--yes")
    assert done.code == 0, done.err
    assert "Temperature from column 2 in °C: 15.0 to 15.9 °C." in done.out
    assert "? The last reading is" in done.out  # 2031 has not come yet
    done = run("air", "ahead", str(tmp_path / "book"))
    assert "no heat-up is in the log yet" in done.out
    odd = run("air", "take", str(tmp_path / "book"), str(file), "--place", "attic", "--yes")
    assert odd.code == 2


def test_humidity_is_held_against_the_buildings_own_past() -> None:
    hours = np.arange(0.0, 24.0 * 60.0, 1.0)
    damp = 0.55 + 0.05 * np.sin(2.0 * np.pi * hours / 24.0)
    band = humidity_band(hours, damp)
    assert band is not None
    assert band.average == pytest.approx(0.55, abs=0.002)
    # A sine is beyond ±sin(0.43·180°) = ±0.976 of its height for 14 % of the time.
    assert band.high - band.average == pytest.approx(0.05 * 0.976, abs=0.003)
    assert not band.is_outside
    dry = humidity_band(hours, np.where(hours > hours[-1] - 5.0, 0.35, damp))
    assert dry is not None
    assert dry.is_outside
    assert humidity_band(hours[:100], damp[:100]) is None
