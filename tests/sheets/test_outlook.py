"""The outlook: the calendar and the courses of ranks true to scale, the same in words."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from tests.sheets.visits import hall_organ, text, unspaced
from walkboard.planning.listen.readiness import Occasion, Outcome, Readiness, StopReadiness
from walkboard.planning.value.use import EventUse
from walkboard.scales.key_names import Names
from walkboard.sheets.drift_chart import Band, DriftCourse, draw_drift
from walkboard.sheets.outlook import calendar_chart, outlook_sheet, stand_of
from walkboard.sheets.readiness_chart import WIDTH_MM, Stand, draw_readiness
from walkboard.sheets.typesetting import render_pdf
from walkboard.sheets.wording import naming_keys

SVG = "{http://www.w3.org/2000/svg}"
TODAY = date(2031, 3, 1)


def event(
    days: int,
    chance: float,
    visited: float,
    *,
    until: int | None = None,
    start: int | None = None,
    title: str = "Evensong",
) -> Readiness:
    def later(n: int) -> date:
        return TODAY + timedelta(days=n)

    stops = ("great.trumpet8", "great.octave4")
    return Readiness(
        Occasion(later(days), title, stops, {}, EventUse()),
        Outcome(80.0, tuple(StopReadiness(s, 0.9, chance) for s in stops)),
        Outcome(60.0, tuple(StopReadiness(s, 0.9, visited) for s in stops)),
        None if until is None else later(until),
        None if start is None else later(start),
        later(days - 1),
    )


EVENTS = (
    event(31, 0.9, 0.95, until=31, start=0),
    event(61, 0.5, 0.9, until=20, start=40, title="Choral society"),
    event(92, 0.1, 0.3, title="Festival, with brass"),
)


def test_events_stand_at_their_days_on_the_calendar() -> None:
    """Read back from the names of the months alone: 1 April, 1 May and 1 June 2031."""
    root = ET.fromstring(draw_readiness(calendar_chart(TODAY, EVENTS)))
    months = {
        t.text: float(t.get("x", "nan"))
        for t in root.iter(f"{SVG}text")
        if t.get("text-anchor") == "middle"
    }
    discs = [float(c.get("cx", "nan")) for c in root.iter(f"{SVG}circle")]
    assert list(months) == ["Apr", "May", "Jun"]
    assert_allclose(discs[:2], [months["Apr"], months["May"]], atol=0.02)
    a_day = (months["Jun"] - months["Apr"]) / 61.0
    windows = list(root.iter(f"{SVG}rect"))[:2]
    assert_allclose(float(windows[1].get("width", "nan")), 20.0 * a_day, atol=0.02)
    assert_allclose(
        float(windows[1].get("x", "nan")), months["Apr"] + 9.0 * a_day, atol=0.02
    )  # 10 April


def test_the_mark_says_how_the_stops_stand() -> None:
    assert [stand_of(one) for one in EVENTS] == [
        Stand.READY,
        Stand.AFTER_VISIT,
        Stand.NOT_READY,
    ]
    root = ET.fromstring(draw_readiness(calendar_chart(TODAY, EVENTS)))
    fills = [c.get("fill") for c in root.iter(f"{SVG}circle")]
    assert fills == ["#000", "#fff", "#000", "#fff"]  # two events, then the legend
    assert len(list(root.iter(f"{SVG}path"))) == 2  # one event, then the legend


@given(st.lists(st.integers(1, 3000), min_size=1, max_size=12), st.data())
def test_any_calendar_stays_on_its_sheet(days: list[int], data: st.DataObject) -> None:
    events = [
        event(n, 0.5, 0.9, until=data.draw(st.integers(0, n)), start=data.draw(st.integers(0, n)))
        for n in sorted(days)
    ]
    root = ET.fromstring(draw_readiness(calendar_chart(TODAY, events)))
    for box in root.iter(f"{SVG}rect"):
        left, width = float(box.get("x", "nan")), float(box.get("width", "nan"))
        assert width > 0.0
        assert left >= 0.0
        assert left + width <= WIDTH_MM
    months = [t for t in root.iter(f"{SVG}text") if t.get("text-anchor") == "middle"]
    assert len(months) <= 14


COURSE = DriftCourse(
    "Great · Trumpet 8′",
    (Band(date(2029, 7, 2), -6.0, -1.0, 2.0), Band(date(2030, 7, 2), -2.0, 3.0, 9.0)),
    (
        (Band(date(2029, 7, 2), -3.0, 0.0, 3.0), Band(date(2030, 7, 2), -5.0, 0.0, 5.0)),
        (Band(date(2030, 7, 2), 0.0, 2.0, 4.0), Band(date(2031, 7, 2), -4.0, 2.0, 8.0)),
    ),
)


def test_a_course_stands_at_its_days_and_cents() -> None:
    """Read back from the printed cents and years alone."""
    root = ET.fromstring(draw_drift(COURSE))
    cents = {
        float((t.text or "").replace("−", "-")): float(t.get("y", "nan")) - 1.2
        for t in root.iter(f"{SVG}text")
        if t.get("text-anchor") == "end" and re.fullmatch(r"[+−]?\d+", t.text or "")
    }
    years = {
        int(t.text or ""): float(t.get("x", "nan"))
        for t in root.iter(f"{SVG}text")
        if re.fullmatch(r"20\d\d", t.text or "")
    }
    low, high = min(cents), max(cents)
    a_cent = (cents[high] - cents[low]) / (high - low)
    a_day = (years[2031] - years[2030]) / 365.0
    dots = list(root.iter(f"{SVG}circle"))[:2]
    for dot, band in zip(dots, COURSE.heard, strict=True):
        days = (band.on - date(2030, 1, 1)).days
        assert_allclose(float(dot.get("cx", "nan")), years[2030] + days * a_day, atol=0.03)
        due = cents[0.0] + band.middle_cents * a_cent
        assert_allclose(float(dot.get("cy", "nan")), due, atol=0.03)
    assert len(list(root.iter(f"{SVG}polygon"))) == 2  # one run of grey a visit


def test_a_rank_never_heard_says_so() -> None:
    assert "not heard yet" in draw_drift(DriftCourse("Great · Trumpet 8′", (), ()))


def test_the_sheet_says_when_to_come_and_what_still_fails() -> None:
    organ = hall_organ()
    sheet = outlook_sheet(organ, TODAY, EVENTS, [COURSE], visits=7, visit_minutes=120.0)
    pdf = render_pdf(sheet)
    assert render_pdf(sheet) == pdf
    reported = unspaced(text(pdf))
    for words in (
        "Of 3 coming events: 1 ready as it is, 1 ready after a visit and 1 not ready even then.",
        "This is based on 7 visits",
        "10 April 2031 to 30 April 2031",
        "by 31 May 2031, and a longer visit",
        "Great Trumpet 8",
        "with a chance of at least 80 %",
    ):
        assert unspaced(words) in reported


@pytest.mark.parametrize("title", ['#panic("x") <b>&amp;</b>', "x" * 200, "مهرجان $x$"])
def test_any_title_of_an_event_is_printed_as_it_stands(title: str) -> None:
    sheet = outlook_sheet(
        hall_organ(), TODAY, [event(20, 0.9, 0.9, title=title)], [], visits=0, visit_minutes=60.0
    )
    assert render_pdf(sheet).startswith(b"%PDF")


def test_without_events_it_says_so() -> None:
    sheet = outlook_sheet(hall_organ(), TODAY, [], [], visits=0, visit_minutes=60.0)
    assert unspaced("No event is on the calendar.") in unspaced(text(render_pdf(sheet)))


def test_the_key_of_the_pitch_is_named_as_the_country_writes_it() -> None:
    """A4 is a′ in German. Common practice, no source."""
    with naming_keys(Names.GERMAN):
        sheet = outlook_sheet(hall_organ(), TODAY, [], [], visits=0, visit_minutes=60.0)
    assert sheet.strip.startswith("a′ = ")
    assert "A4" not in text(render_pdf(sheet))
