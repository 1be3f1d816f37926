"""A small firm's round from its file and its book, read back as files."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree as ET

import icalendar
import pytest

from tests.survey.organs import SMALL
from walkboard.book.opening import create_book, open_book
from walkboard.book.records import KeptOrgan
from walkboard.errors import InputError
from walkboard.planning.rounds.benefit import Curve, EventNeed
from walkboard.work.open_book import now
from walkboard.work.rounds.calendars import tuner_calendar, write_calendars
from walkboard.work.rounds.firm_file import read_firm
from walkboard.work.rounds.forecasts import OrganForecast, forecast_organ
from walkboard.work.rounds.make_round import MadeRound, first_monday, make_round
from walkboard.work.rounds.round_map import map_of
from walkboard.work.rounds.to_json import read_round, round_json

MONDAY = date(2031, 1, 6)
FIRM = """
format = 1

[[tuner]]
name = "Ada"
home = "Easton"
hours_a_week = 12
off = [{first = 2031-01-13, last = 2031-01-19}]

[[tuner]]
name = "Ben"
home = "Weston"
hours_a_week = 12

[[town]]
name = "Easton"
latitude = 52.0
longitude = 0.0

[[town]]
name = "Weston"
latitude = 52.0
longitude = -1.0

[[driving]]
between = ["Easton", "Weston"]
minutes = 90

[[key_holder]]
name = "the verger"
hours_a_week = 4

[[organ]]
name = "Chapel"
town = "Easton"
hours = 3
key_holder = "the verger"

[[organ]]
name = "Hall"
town = "Easton"
hours = 3
key_holder = "the verger"
not_before = 2031-01-20

[[organ]]
name = "Abbey"
town = "Weston"
hours = 5
tuners = ["Ada"]
closed = [{first = 2031-01-06, last = 2031-01-10, why = "festival"}]
weight = 2
"""


@pytest.fixture
def firm_file(tmp_path: Path) -> Path:
    path = tmp_path / "firm.toml"
    path.write_text(FIRM, encoding="utf-8")
    return path


def forecasts(*weeks_of_events: tuple[float, ...]) -> tuple[OrganForecast, ...]:
    curve = Curve((0.0, 4.0, 12.0), (0.95, 0.8, 0.4))
    return tuple(
        OrganForecast(
            organ=_kept(name),
            curve=curve,
            events=tuple(EventNeed(week, 0.2) for week in weeks),
            titles=tuple(f"{name} {n}" for n, _ in enumerate(weeks, start=1)),
            hours=3.0,
            has_calendar=name != "Abbey",
        )
        for name, weeks in zip(("Chapel", "Hall", "Abbey"), weeks_of_events, strict=True)
    )


def _kept(name: str) -> KeptOrgan:
    return KeptOrgan(1, name, SMALL, datetime(2031, 1, 1, tzinfo=UTC))


@pytest.fixture
def made(firm_file: Path) -> MadeRound:
    known = forecasts((3.9,), (3.9,), (3.9,))
    return make_round(read_firm(firm_file), known, MONDAY, 4)


def test_everybodys_days_are_kept(made: MadeRound) -> None:
    by_organ = {visit.organ: visit for visit in made.visits}
    assert set(by_organ) == {"Chapel", "Hall", "Abbey"}
    assert by_organ["Hall"].monday >= date(2031, 1, 20)  # not before
    assert by_organ["Abbey"].tuner == "Ada"  # nobody else may
    assert by_organ["Abbey"].monday not in {date(2031, 1, 6), date(2031, 1, 13)}
    # The verger has four hours a week, each of his organs takes three.
    assert by_organ["Chapel"].monday != by_organ["Hall"].monday
    for hours in made.hours_left.values():
        assert min(hours) >= 0.0
    assert made.hours_left["Ada"][1] == 0.0  # away


def test_an_organ_without_a_calendar_is_named(made: MadeRound) -> None:
    assert made.without_calendar == ("Abbey",)
    assert made.not_visited == ()


def test_the_typed_drive_counts(made: MadeRound) -> None:
    """Ada drives 90 minutes each way to Weston; nobody drives in their own town."""
    by_organ = {visit.organ: visit for visit in made.visits}
    drives = {(v.tuner, v.town, v.monday) for v in made.visits}
    away = sum({"Ada": "Easton", "Ben": "Weston"}[t] != town for t, town, _ in drives)
    assert made.driving_hours == pytest.approx(3.0 * away)
    assert by_organ["Chapel"].tuner == by_organ["Hall"].tuner == "Ada"


def test_a_visit_names_the_events_that_it_serves(firm_file: Path) -> None:
    known = forecasts((0.9, 2.9, 2.95), (), ())
    made = make_round(read_firm(firm_file), known, MONDAY, 4)
    (visit,) = made.visits
    assert visit.monday == MONDAY
    assert visit.serves == ("Chapel 1", "Chapel 2", "Chapel 3")
    assert made.not_visited == ("Hall", "Abbey")


def test_the_round_comes_back_from_its_file_and_stays(
    firm_file: Path, made: MadeRound, tmp_path: Path
) -> None:
    path = tmp_path / "round.json"
    path.write_text(json.dumps(round_json(made)), encoding="utf-8")
    before = read_round(path)
    again = make_round(
        read_firm(firm_file), forecasts((3.9,), (3.9,), (3.9,)), MONDAY, 4, before=before
    )
    assert again.moved == 0
    assert [(v.organ, v.monday, v.tuner) for v in again.visits] == [
        (v.organ, v.monday, v.tuner) for v in made.visits
    ]


def test_a_moved_visit_says_where_it_was(firm_file: Path, made: MadeRound) -> None:
    text = firm_file.read_text(encoding="utf-8")
    (chapel,) = (v for v in made.visits if v.organ == "Chapel")
    last = chapel.monday + timedelta(days=6)
    closed = f'closed = [{{first = {chapel.monday}, last = {last}}}]\nname = "Chapel"'
    firm_file.write_text(text.replace('name = "Chapel"', closed), encoding="utf-8")
    known = forecasts((3.9,), (3.9,), (3.9,))
    after = make_round(read_firm(firm_file), known, MONDAY, 4, before=made.visits)
    (moved,) = (v for v in after.visits if v.organ == "Chapel")
    assert moved.moved_from == f"{chapel.monday.isoformat()}, {chapel.tuner}"
    assert moved.monday != chapel.monday


def test_each_tuner_gets_a_calendar(made: MadeRound, tmp_path: Path) -> None:
    written = write_calendars(made, tmp_path / "out", datetime(2031, 1, 1, tzinfo=UTC))
    assert [path.name for path in written] == ["Ada.ics", "Ben.ics"]
    calendar = icalendar.Calendar.from_ical(written[0].read_bytes())
    events = list(calendar.walk("VEVENT"))
    mine = {(v.monday, v.town) for v in made.visits if v.tuner == "Ada"}
    assert {(e.decoded("DTSTART"), str(e["LOCATION"])) for e in events} == mine
    assert all(e.decoded("DTEND") - e.decoded("DTSTART") == timedelta(days=5) for e in events)
    again = tuner_calendar("Ada", made.visits, datetime(2031, 2, 1, tzinfo=UTC))
    uids = [str(e["UID"]) for e in icalendar.Calendar.from_ical(again).walk("VEVENT")]
    assert uids == [str(e["UID"]) for e in events]


def test_the_map_shows_every_town_with_its_weeks(firm_file: Path, made: MadeRound) -> None:
    drawn = ET.fromstring(map_of(read_firm(firm_file), made))
    words = [text.text for text in drawn.iter("{http://www.w3.org/2000/svg}text")]
    assert {"Easton", "Weston", "Ada", "Ben"} <= set(words)
    for visit in made.visits:
        assert str((visit.monday - MONDAY).days // 7 + 1) in words


def test_weeks_begin_on_mondays() -> None:
    assert first_monday(date(2031, 1, 12), date(2030, 1, 1)) == MONDAY
    assert first_monday(None, date(2031, 1, 1)) == MONDAY
    assert first_monday(MONDAY, MONDAY) == MONDAY


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('home = "Weston"', 'home = "Westn"', "Did you mean 'Weston'"),
        ('tuners = ["Ada"]', 'tuners = ["Ida"]', "no tuner 'Ida'"),
        ('key_holder = "the verger"\nnot', 'key_holder = "Bob"\nnot', "[[key_holder]]"),
        ("hours_a_week = 12", "hours_a_week = -3", "tuner number 1 hours_a_week"),
        ("format = 1", "format = 1\ntunr = 3", "tunr"),
        ("last = 2031-01-10", "last = 2030-01-10", "ends before it begins"),
        ('name = "Hall"', 'name = "Chapel"', "listed twice"),
        ("latitude = 52.0", "latitude = 152.0", "latitude"),
        ("[[tuner]]", "[[tuner]", "not TOML"),
    ],
)
def test_a_slip_in_the_file_is_named(firm_file: Path, old: str, new: str, words: str) -> None:
    text = firm_file.read_text(encoding="utf-8")
    assert old in text
    firm_file.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as raised:
        read_firm(firm_file)
    assert words in str(raised.value)


def test_a_file_that_is_no_round_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "round.json"
    path.write_text('{"format": 1}', encoding="utf-8")
    with pytest.raises(InputError, match="not a round"):
        read_round(path)


def test_an_organs_forecast_is_from_its_book_and_is_kept(tmp_path: Path) -> None:
    start = first_monday(None, now().date())
    at = datetime.combine(start, datetime.min.time(), UTC) + timedelta(days=26)
    with create_book(tmp_path / "book", clock=now) as book:
        kept = book.add_organ("Chapel", SMALL)
        found = forecast_organ(book, kept, start, 8)
        assert not found.has_calendar
        assert [event.week for event in found.events] == pytest.approx([6.5 / 7, 34.5 / 7])
        book.keep_event(kept.id, uid="one", starts_at=at, title="Recital")
    with open_book(tmp_path / "book", clock=now) as book:
        found = forecast_organ(book, kept, start, 8)
        assert found.titles == ("Recital",)
        assert [event.week for event in found.events] == pytest.approx([26.5 / 7])
        # Readiness falls with the weeks, and nobody's coming is worse than a fresh visit.
        readiness = found.curve.readiness
        assert all(a >= b - 1e-9 for a, b in pairwise(readiness))
        assert found.events[0].unvisited < readiness[0]
        assert forecast_organ(book, kept, start, 8) == found
        kept_files = list((tmp_path / "book" / "worked-out").glob("round-*.json"))
        assert len(kept_files) == 2
        for path in kept_files:
            path.write_text("{", encoding="utf-8")
        assert forecast_organ(book, kept, start, 8) == found
