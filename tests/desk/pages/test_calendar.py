"""The calendar: in and out as iCalendar, by hand, and along half a year."""

from __future__ import annotations

import itertools
import re
from datetime import UTC, date, datetime, timedelta

import httpx2
import pytest
from starlette.testclient import TestClient

from tests.desk.asking import client_of
from tests.desk.conftest import Open, Server
from tests.desk.looking import PHONE, look_at
from walkboard.book.records import KeptEvent
from walkboard.desk.drawing.calendar_strip import AHEAD_DAYS, LEFT, WIDTH, StripEvent, strip_of
from walkboard.desk.server.application import make_application
from walkboard.desk.text.catalogue import say
from walkboard.work.calendar.files import MOST_BYTES
from walkboard.work.snapshot import opened_to_see

SUNDAYS = datetime.now(UTC).replace(hour=9, minute=30, second=0, microsecond=0) + timedelta(days=3)
NASTY = "<script>alert(1)</script>"


def calendar(title: str = "Sunday service", rule: str = "RRULE:FREQ=WEEKLY;COUNT=6") -> bytes:
    lines = (
        "BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Tests//EN", "BEGIN:VEVENT",
        "UID:sunday@tarnhaven", f"SUMMARY:{title}", f"DTSTART:{SUNDAYS:%Y%m%dT%H%M%SZ}", rule,
        "END:VEVENT", "END:VCALENDAR", "",
    )  # fmt: skip
    return "\r\n".join(lines).encode()


def events(server: Server) -> tuple[KeptEvent, ...]:
    with opened_to_see(server.book) as book:
        return book.events(1)


def take(page, data: bytes, name: str = "venue.ics") -> None:
    page.set_input_files(
        "#calendar-file", {"name": name, "mimeType": "text/calendar", "buffer": data}
    )
    page.click("#take-it")
    page.wait_for_selector("main .notice")


def test_a_calendar_comes_in_and_again_and_goes_out(own_server: Server, open_page: Open) -> None:
    page = open_page(f"{own_server.address}/organ/1/calendar")
    take(page, calendar())
    assert "6 new events" in page.inner_text("main .notice")
    assert len(page.query_selector_all("table.events tbody tr")) == 7  # the book had one
    take(page, calendar())
    assert "0 new events" in page.inner_text("main .notice")
    assert "the same as before: 6" in page.inner_text("main .notice")
    look_at(page, "calendar")
    with page.expect_download() as waiting:
        page.click("a[download]")
    data = waiting.value.path().read_bytes()
    assert data.count(b"UID:sunday@tarnhaven") == data.count(b"RECURRENCE-ID:") == 6


def test_a_file_that_is_no_calendar_is_reported_on_the_page(
    own_server: Server, open_page: Open
) -> None:
    page = open_page(f"{own_server.address}/organ/1/calendar")
    before = events(own_server)
    take(page, b"this is a letter", "letter.ics")
    assert "not a calendar in iCalendar form" in page.inner_text("main [role=alert]")
    assert events(own_server) == before


def test_an_event_is_written_in_by_keyboard_changed_and_called_off(
    own_server: Server, open_page: Open
) -> None:
    page = open_page(f"{own_server.address}/organ/1/calendar/event", size=PHONE)
    page.focus("input[name=title]")
    page.keyboard.type("Carols by candle light")
    page.fill("input[name=day]", f"{SUNDAYS + timedelta(days=4):%Y-%m-%d}")
    page.fill("input[name=time]", "18:30")
    page.fill("input[name=air]", "15.5")
    page.focus("input[name=stops] >> nth=1")
    page.keyboard.press("Space")
    page.focus("form#event button")
    page.keyboard.press("Enter")
    page.wait_for_url("**/calendar")
    (kept,) = [e for e in events(own_server) if e.title == "Carols by candle light"]
    assert kept.air_celsius == 15.5
    assert len(kept.stops) == 1
    page.click("main a:has-text('Carols by candle light')")
    assert page.input_value("input[name=time]") == "18:30"
    page.fill("input[name=air]", "")
    page.fill("input[name=title]", NASTY)
    page.click("form#event button")
    page.wait_for_url("**/calendar")
    (changed,) = [e for e in events(own_server) if e.uid == kept.uid]
    assert (changed.title, changed.air_celsius) == (NASTY, None)
    page.click("main a:has-text('alert(1)')")
    assert "Carols by candle light" in page.inner_text("main")  # what was said before
    look_at(page, "calendar-event")
    page.click(f"text={say('calendar.call_off')}")
    page.wait_for_url("**/calendar")
    assert [e.cancelled for e in events(own_server) if e.uid == kept.uid] == [True]
    page.click("main a:has-text('alert(1)')")
    page.click(f"text={say('calendar.call_on')}")
    page.wait_for_url("**/calendar")
    assert [e.cancelled for e in events(own_server) if e.uid == kept.uid] == [False]


def test_readiness_is_worked_out_when_asked_and_says_when_to_come(
    own_server: Server, open_page: Open
) -> None:
    page = open_page(f"{own_server.address}/organ/1/calendar")
    with opened_to_see(own_server.book) as book:
        for event in book.events(1):
            book.cancel_event(1, event.uid)
        book.keep_event(1, "one", SUNDAYS + timedelta(days=20), "Recital", air_celsius=18.0)
    page.reload()
    page.click(f"button:has-text('{say('calendar.work_out')}')")
    page.wait_for_selector("text=Worked out on", timeout=120_000)
    row = page.inner_text("table.events tbody tr")
    assert "◇ ready" in row or ("◆ not ready" in row and ("from" in row or "by" in row))
    # One sign for one state: filled is not ready, in the strip as in the table.
    filled = page.locator(".strip-place svg path.call-solid").count()
    assert filled == page.locator("table.events strong:has-text('◆')").count()
    assert page.locator(".strip-place svg path.hollow").count() == 1 - filled
    look_at(page, "calendar-readiness")
    with opened_to_see(own_server.book) as book:
        book.keep_event(1, "two", SUNDAYS + timedelta(days=21), "Another recital")
    page.wait_for_selector(f"text={say('calendar.worked_old')}")


def test_events_of_others_come_onto_the_page(own_server: Server, open_page: Open) -> None:
    page = open_page(f"{own_server.address}/organ/1/calendar")
    with opened_to_see(own_server.book) as book:
        book.keep_event(1, "visit-of-the-choir", SUNDAYS, "Choir of the harbour school")
    page.wait_for_selector("main a:has-text('Choir of the harbour school')", timeout=5000)


@pytest.fixture(scope="module")
def at_home(own_server: Server):
    made = make_application(own_server.book)
    yield client_of(made)
    made.state.desk.book.close()


def test_oversize_cross_site_and_nonsense_are_refused(
    own_server: Server, at_home: TestClient
) -> None:
    path, before = "/organ/1/calendar", events(own_server)
    files = {"file": ("big.ics", b"x" * (MOST_BYTES + 200_000), "text/calendar")}
    assert at_home.post(path, files=files).status_code == 413
    files = {"file": ("venue.ics", calendar("Other"), "text/calendar")}
    foreign = {"Origin": "http://evil.example"}
    assert at_home.post(path, files=files, headers=foreign).status_code == 403
    assert at_home.post(path, data={"file": "no file"}).status_code == 400
    form = {"title": "Recital", "day": "2031-02-30", "time": "18:30"}
    assert at_home.post(f"{path}/event", data=form).status_code == 400
    form = {"title": "Recital", "day": "2031-02-20", "time": "18:30", "stops": "no.stop"}
    assert at_home.post(f"{path}/event", data=form).status_code == 404
    assert at_home.post(f"{path}/cancel", data={"uid": "nothing"}).status_code == 409
    assert at_home.get(f"{path}/event?uid=nothing").status_code == 409
    assert events(own_server) == before


def test_a_name_of_a_file_with_tricks_is_only_words(at_home: TestClient) -> None:
    files = {"file": (f"../../{NASTY}.ics", b"nothing", "text/calendar")}
    answer = at_home.post("/organ/1/calendar", files=files, headers={"Accept": "text/html"})
    assert answer.status_code == 400
    assert NASTY not in answer.text


def test_an_empty_calendar_says_what_it_is_for(empty_server: Server, open_page: Open) -> None:
    page = open_page(f"{empty_server.address}/organ/1/calendar")
    assert say("calendar.empty_title") in page.inner_text("main")
    look_at(page, "calendar-empty")


def test_an_event_near_the_end_has_its_name_before_it() -> None:
    today = date(2031, 3, 4)
    given = [StripEvent(today + timedelta(days=AHEAD_DAYS - 1), "Harbour festival", "one")]
    (mark,) = strip_of(today, given, (), (), "x" * 12).events
    assert (mark.label, mark.is_before) == ("Harbour festival", True)


def test_stops_are_listed_with_division_and_feet(server: Server) -> None:
    form = httpx2.get(f"{server.address}/organ/1/calendar/event").text
    assert "Open Diapason 8′</label>" in form
    assert "Open Diapason</label>" not in form
    assert "Open Diapason 8′</option>" in httpx2.get(f"{server.address}/organ/1/faults/new").text


def test_a_month_that_has_no_room_for_its_name_keeps_its_stroke() -> None:
    names = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
    for ahead in range(31):
        strip = strip_of(date(2031, 3, 4) + timedelta(days=ahead), (), (), (), names)
        assert all(mark.x + 4 + 7.2 * len(mark.words) <= WIDTH for mark in strip.months)
        assert all(mark.words for mark in strip.months[:-1])


def test_a_weekly_service_is_named_once_on_the_strip() -> None:
    today = date(2031, 3, 4)
    given = [StripEvent(today + timedelta(days=7 * n), "Service", "s") for n in range(9)]
    strip = strip_of(today, given, (), (), "x" * 12)
    assert [mark.label for mark in strip.events] == ["Service"] + [""] * 8


def test_the_strip_is_in_scale_and_its_labels_keep_apart() -> None:
    today = date(2031, 3, 4)
    given = [StripEvent(today + timedelta(days=7 * n), f"Service {n}", f"{n}") for n in range(40)]
    spans = [(today, today + timedelta(days=400), "come")]
    strip = strip_of(today, given, [(today - timedelta(days=400), "long ago")], spans, "x" * 12)
    assert strip.visits == ()
    places = [mark.x for mark in strip.events]
    assert len(places) == AHEAD_DAYS // 7 + 1  # what lies beyond is in the table only
    week = places[1] - places[0]
    assert all(b - a == pytest.approx(week, abs=0.2) for a, b in itertools.pairwise(places))
    assert strip.today_x - week * 3 == pytest.approx(LEFT, abs=0.5)  # three weeks back
    labelled = [mark for mark in strip.events if mark.label]
    assert len(labelled) > 10
    for later in labelled:
        for mark in labelled:
            # neither its letters nor its leader run through a label that stands before it
            if mark.x < later.x and mark.row >= later.row:
                assert mark.x + 7.2 * len(mark.label) < later.x
    assert all(span.x + span.width <= WIDTH for span in strip.spans)
    assert re.fullmatch(r"\d+(\.\d)?", str(strip.today_x))
