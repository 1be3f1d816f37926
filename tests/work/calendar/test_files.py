"""Calendars as files, against examples of RFC 5545 (named at each; quoted from memory).

The examples of 3.8.5.3 all begin on Tuesday 2 September 1997, 9:00 in New York, unless said.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from walkboard.book.records import KeptEvent
from walkboard.errors import InputError
from walkboard.work.calendar.files import MOST_BYTES, read_calendar, write_calendar
from walkboard.work.calendar.values import CalendarRead, Horizon, instance_uid, parted_uid

NEW_YORK = ZoneInfo("America/New_York")
HORIZON = Horizon(
    datetime(1996, 1, 1, tzinfo=UTC), datetime(1998, 12, 31, tzinfo=UTC), ZoneInfo("Europe/London")
)
START = "DTSTART;TZID=America/New_York:19970902T090000"


def calendar(*events: tuple[str, ...], head: tuple[str, ...] = ()) -> bytes:
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Tests//EN", *head]
    for event in events:
        lines += ["BEGIN:VEVENT", *event, "END:VEVENT"]
    return "\r\n".join([*lines, "END:VCALENDAR", ""]).encode()


def one(*lines: str) -> tuple[str, ...]:
    return ("UID:a@tarnhaven", "DTSTAMP:19970901T120000Z", "SUMMARY:Recital", *lines)


def days(read: CalendarRead) -> list[str]:
    local = [event.starts_at.astimezone(NEW_YORK) for event in read.events]
    assert all((at.hour, at.minute) == (9, 0) for at in local), "the clock on the wall stays"
    return [f"{at:%m-%d}" for at in local if at.year == 1997]


@pytest.mark.parametrize(
    ("rule", "first_days", "in_1997"),
    [
        # 3.8.5.3 "Daily for 10 occurrences"
        ("FREQ=DAILY;COUNT=10", [f"09-{d:02}" for d in range(2, 12)], 10),
        # 3.8.5.3 "Daily until December 24, 1997": September 2 to December 23
        ("FREQ=DAILY;UNTIL=19971224T000000Z", ["09-02", "09-03", "09-04"], 113),
        # 3.8.5.3 "Every 10 days, 5 occurrences"
        (
            "FREQ=DAILY;INTERVAL=10;COUNT=5",
            ["09-02", "09-12", "09-22", "10-02", "10-12"],
            5,
        ),
        # 3.8.5.3 "Every other week - forever"
        (
            "FREQ=WEEKLY;INTERVAL=2;WKST=SU",
            ["09-02", "09-16", "09-30", "10-14", "10-28", "11-11", "11-25", "12-09", "12-23"],
            9,
        ),
        # 3.8.5.3 "Weekly on Tuesday and Thursday for five weeks"
        (
            "FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH",
            ["09-02", "09-04", "09-09", "09-11", "09-16", "09-18", "09-23", "09-25", "09-30",
             "10-02"],
            10,
        ),
        # 3.8.5.3 "Monthly on the third-to-the-last day of the month, forever"
        ("FREQ=MONTHLY;BYMONTHDAY=-3", ["09-28", "10-29", "11-28", "12-29"], 4),
        # 3.8.5.3 "The third instance into the month of one of Tuesday, Wednesday, or Thursday,
        # for the next 3 months": September 4, October 7, November 6
        ("FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3", ["09-04", "10-07", "11-06"], 3),
    ],
)  # fmt: skip
def test_rules_of_the_standard(rule: str, first_days: list[str], in_1997: int) -> None:
    found = days(read_calendar(calendar(one(START, f"RRULE:{rule}")), HORIZON))
    assert found[: len(first_days)] == first_days
    assert len(found) == in_1997


def test_the_first_friday_crosses_the_end_of_summer_time() -> None:
    """3.8.5.3 "Monthly on the first Friday for 10 occurrences", from 5 September 1997."""
    start = "DTSTART;TZID=America/New_York:19970905T090000"
    read = read_calendar(calendar(one(start, "RRULE:FREQ=MONTHLY;COUNT=10;BYDAY=1FR")), HORIZON)
    assert days(read) == ["09-05", "10-03", "11-07", "12-05"]
    assert len(read.events) == 10
    # 9:00 EDT is 13:00 UTC; 9:00 EST is 14:00 UTC
    assert [event.starts_at.hour for event in read.events[:4]] == [13, 13, 14, 14]


def test_days_that_are_not_are_left_out() -> None:
    """3.8.5.3: "an example where an invalid date (i.e., February 30) is ignored"."""
    horizon = Horizon(datetime(2007, 1, 1, tzinfo=UTC), datetime(2007, 12, 31, tzinfo=UTC), UTC)
    start = "DTSTART;TZID=America/New_York:20070115T090000"
    read = read_calendar(
        calendar(one(start, "RRULE:FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5")), horizon
    )
    assert [f"{event.starts_at:%m-%d}" for event in read.events] == [
        "01-15", "01-30", "02-15", "03-15", "03-30",
    ]  # fmt: skip


def test_a_zone_that_the_file_describes() -> None:
    """3.6.5, the zone of New York from 2007, under a name that no list of zones has."""
    zone = (
        "BEGIN:VTIMEZONE", "TZID:Harbour time",
        "BEGIN:STANDARD", "DTSTART:20071104T020000", "RRULE:FREQ=YEARLY;BYMONTH=11;BYDAY=1SU",
        "TZOFFSETFROM:-0400", "TZOFFSETTO:-0500", "TZNAME:EST", "END:STANDARD",
        "BEGIN:DAYLIGHT", "DTSTART:20070311T020000", "RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=2SU",
        "TZOFFSETFROM:-0500", "TZOFFSETTO:-0400", "TZNAME:EDT", "END:DAYLIGHT",
        "END:VTIMEZONE",
    )  # fmt: skip
    summer = one("DTSTART;TZID=Harbour time:20080701T190000")
    winter = ("UID:b", "SUMMARY:Carols", "DTSTART;TZID=Harbour time:20081220T190000")
    read = read_calendar(calendar(summer, winter, head=zone), HORIZON)
    assert [event.starts_at for event in read.events] == [
        datetime(2008, 7, 1, 23, tzinfo=UTC),
        datetime(2008, 12, 21, 0, tzinfo=UTC),
    ]


def test_times_of_three_kinds_and_whole_days() -> None:
    """3.3.5: local time without a zone, UTC, and with a zone reference; 3.3.4: a date."""
    read = read_calendar(
        calendar(
            ("UID:local", "DTSTART:19980118T230000"),
            ("UID:utc", "DTSTART:19980119T070000Z"),
            ("UID:zone", "DTSTART;TZID=America/New_York:19980119T020000"),
            ("UID:day", "DTSTART;VALUE=DATE:19970714"),
        ),
        HORIZON,
    )
    at = {event.uid: event.starts_at for event in read.events}
    assert at["local"] == datetime(1998, 1, 18, 23, tzinfo=UTC)  # London in winter
    assert at["utc"] == at["zone"] == datetime(1998, 1, 19, 7, tzinfo=UTC)
    assert at["day"] == datetime(1997, 7, 13, 23, tzinfo=UTC)  # midnight of London's summer


def test_exceptions_additions_and_moved_instances() -> None:
    """3.8.5.1 EXDATE, 3.8.5.2 RDATE, 3.8.4.4 RECURRENCE-ID."""
    read = read_calendar(
        calendar(
            one(START, "RRULE:FREQ=DAILY;COUNT=4",
                "EXDATE;TZID=America/New_York:19970903T090000",
                "RDATE;TZID=America/New_York:19970920T090000"),
            ("UID:a@tarnhaven", "SUMMARY:Recital\\, later", "SEQUENCE:2",
             "RECURRENCE-ID;TZID=America/New_York:19970904T090000",
             "DTSTART;TZID=America/New_York:19970904T150000"),
            ("UID:a@tarnhaven", "SUMMARY:Recital", "STATUS:CANCELLED",
             "RECURRENCE-ID;TZID=America/New_York:19970905T090000",
             "DTSTART;TZID=America/New_York:19970905T090000"),
        ),
        HORIZON,
    )  # fmt: skip
    assert [(f"{e.starts_at:%m-%d %H}", e.title, e.cancelled) for e in read.events] == [
        ("09-02 13", "Recital", False),
        ("09-04 19", "Recital, later", False),
        ("09-05 13", "Recital", True),
        ("09-20 13", "Recital", False),
    ]
    assert read.events[1].uid == "a@tarnhaven#19970904T130000Z"  # of the instance that it was
    assert read.recurring == {"a@tarnhaven"}


def test_folded_lines_and_escaped_letters() -> None:
    """3.1: a long line is folded; 3.3.11: comma, semicolon and backslash are escaped."""
    data = calendar(("UID:a", "DTSTART:19970714T170000Z", "SUMMARY:Toccata\\, fu", " gue\\; and n"))
    (event,) = read_calendar(data, HORIZON).events
    assert event.title == "Toccata, fugue; and n"


def test_of_two_versions_in_one_file_the_higher_sequence_counts() -> None:
    """3.8.7.4 SEQUENCE."""
    newer = one("DTSTART:19970714T180000Z", "SEQUENCE:1")
    (event,) = read_calendar(calendar(newer, one("DTSTART:19970714T170000Z")), HORIZON).events
    assert event.starts_at.hour == 18


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "not a calendar"),
        (b"BEGIN:VCARD\r\nEND:VCARD\r\n", "not a calendar"),
        (b"\xff\xfe\x00\x01", "not a calendar"),
        (b"<html><script>", "not a calendar"),
        (b"x" * (MOST_BYTES + 1), "too large"),
        (calendar(one(START, "RRULE:FREQ=SECONDLY")), "recurs within the day"),
        (calendar(one(START, "RRULE:FREQ=SOMETIMES")), "cannot be read"),
        (calendar(one(START, "RRULE:INTERVAL=2")), "cannot be read"),
        (calendar(one(START, "RRULE:FREQ=DAILY;INTERVAL=0")), r"\(line 4\).*INTERVAL=0 cannot be"),
        (calendar(one(START, "RRULE:FREQ=YEARLY;BYEASTER=0")), "BYEASTER is not known"),
        (calendar(one("DTSTART:19600101T090000Z", "RRULE:FREQ=DAILY;BYHOUR=1,2,3,4,5")),
         "recurs too often|more than"),
    ],
)  # fmt: skip
def test_what_is_no_calendar_is_refused_whole(data: bytes, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read_calendar(data, HORIZON, where="venue.ics")


def test_a_rule_that_never_comes_ends_at_once() -> None:
    rule = "RRULE:FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30"
    assert read_calendar(calendar(one(START, rule)), HORIZON).events == ()


def test_what_cannot_be_taken_is_reported_and_the_rest_is_taken() -> None:
    read = read_calendar(
        calendar(
            ("SUMMARY:Nameless", "DTSTART:19970714T170000Z"),
            ("UID:b", "SUMMARY:Timeless"),
            ("UID:c", "SUMMARY:Odd", "DTSTART:banana"),
            ("UID:d", "SUMMARY:Good", "DTSTART:19970714T170000Z"),
        ),
        HORIZON,
    )
    assert [event.title for event in read.events] == ["Good"]
    assert [words.partition(":")[0] for words in read.left_out] == [
        "Nameless (line 4)", "Timeless (line 8)", "Odd (line 12)",
    ]  # fmt: skip


texts = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp", "Zs")),
    min_size=1,
    max_size=40,
)


@settings(max_examples=60, deadline=None)
@given(
    uid=texts,
    title=texts,
    at=st.integers(0, 31_000_000).map(
        lambda s: datetime(1997, 1, 1, tzinfo=UTC) + timedelta(seconds=s)
    ),
    instance=st.none() | st.just(datetime(1997, 5, 1, 18, tzinfo=timezone(timedelta(hours=2)))),
    stops=st.lists(st.sampled_from(["great.open8", "swell.mixture", "pedal.reed16"]), unique=True),
    air=st.none() | st.floats(-5.0, 40.0),
    cancelled=st.booleans(),
)
def test_what_goes_out_comes_in_again(*, uid, title, at, instance, stops, air, cancelled) -> None:
    uid = instance_uid(uid, instance)
    event = KeptEvent(
        1, 1, uid, at, title, tuple(stops), air, kept_at=at, cancelled=cancelled
    )  # fmt: skip
    data = write_calendar("Harbour Hall", [event])
    assert all(len(line) <= 75 for line in data.split(b"\r\n"))  # 3.1: octets of a line
    (read,) = read_calendar(data, HORIZON).events
    assert (read.uid, read.starts_at, read.title, read.cancelled) == (uid, at, title, cancelled)
    assert (read.stops or ()) == tuple(stops)
    assert read.air_celsius == air
    assert write_calendar("Harbour Hall", [event]) == data


def test_uids_of_instances_are_taken_apart_again() -> None:
    at = datetime(2031, 3, 9, 10, 0, tzinfo=UTC)
    assert instance_uid("a@b", None) == "a@b"
    assert parted_uid(instance_uid("a@b", at)) == ("a@b", at)
    assert parted_uid("a#b") == ("a#b", None)
    assert parted_uid("a#20319999T000000Z") == ("a#20319999T000000Z", None)
