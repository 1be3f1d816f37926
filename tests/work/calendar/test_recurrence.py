"""Rules day by day, against an independent library (dateutil's rrule), with a bound on the work.

The standard's own examples are in test_files.py.
"""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta

import pytest
from dateutil.rrule import rrulestr
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from tests.work.calendar.test_files import HORIZON, START, calendar, one
from walkboard.errors import InputError
from walkboard.work.calendar.files import MOST_EVENTS, read_calendar
from walkboard.work.calendar.recurrence import Budget, read_rule
from walkboard.work.calendar.values import Horizon

FIRST = datetime(2031, 1, 7, 19, 30)  # noqa: DTZ001 - the clock on the wall
DAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")


def signed(most: int) -> st.SearchStrategy[int]:
    return st.integers(1, most) | st.integers(-most, -1)


def some(of: st.SearchStrategy[object]) -> st.SearchStrategy[str]:
    return st.lists(of, min_size=1, max_size=3, unique=True).map(lambda v: ",".join(map(str, v)))


rules = st.fixed_dictionaries(
    {"FREQ": st.sampled_from(["DAILY", "WEEKLY", "MONTHLY", "YEARLY"])},
    optional={
        "INTERVAL": st.integers(1, 5).map(str),
        "COUNT": st.integers(1, 40).map(str),
        "BYMONTH": some(st.integers(1, 12)),
        "BYMONTHDAY": some(signed(31)),
        "BYYEARDAY": some(signed(366)),
        "BYDAY": some(st.sampled_from(DAYS)),
        "WKST": st.sampled_from(DAYS),
        "BYHOUR": some(st.integers(0, 23)),
        "BYSETPOS": some(signed(5)),
    },
)


def expanded(text: str, begins: datetime, ends: datetime) -> list[datetime]:
    parts: dict[str, list[object]] = {}
    for part in text.split(";"):
        name, _, values = part.partition("=")
        parts[name] = list(values.split(","))
    return list(read_rule(parts, FIRST).instances(begins, ends, Budget()))


@settings(max_examples=120, deadline=None)
@given(parts=rules, after=st.integers(-100, 700), long=st.integers(1, 500))
@example(parts={"FREQ": "YEARLY", "BYDAY": "20MO"}, after=0, long=900)
@example(parts={"FREQ": "YEARLY", "BYWEEKNO": "20", "BYDAY": "MO"}, after=0, long=900)
@example(parts={"FREQ": "YEARLY", "BYWEEKNO": "1", "BYDAY": "TU"}, after=0, long=2000)
@example(parts={"FREQ": "MONTHLY", "BYDAY": "-2FR", "COUNT": "9"}, after=10, long=900)
@example(parts={"FREQ": "YEARLY", "BYMONTH": "11", "BYDAY": "1SU"}, after=500, long=900)
@example(
    parts={"FREQ": "WEEKLY", "INTERVAL": "2", "WKST": "SU", "BYDAY": "TU,SU"}, after=0, long=90
)
@example(parts={"FREQ": "MONTHLY", "BYDAY": "MO,TU,WE,TH,FR", "BYSETPOS": "-1"}, after=3, long=90)
def test_the_same_instances_as_another_program(
    parts: dict[str, str], after: int, long: int
) -> None:
    # What never comes, the other program looks for until the year 9999.
    assume(not {"BYMONTHDAY", "BYYEARDAY"} <= parts.keys())
    assume(not ({"BYYEARDAY", "BYMONTH"} <= parts.keys()))
    assume(not ("BYSETPOS" in parts and parts["FREQ"] == "DAILY"))
    if "BYMONTHDAY" in parts or "BYYEARDAY" in parts:
        assume("INTERVAL" not in parts)
        parts = {**parts}
        parts.pop("BYDAY", None)
    if "BYMONTHDAY" in parts and "BYMONTH" in parts:
        parts = {**parts, "BYMONTHDAY": "7,-3"}
    text = ";".join(f"{name}={value}" for name, value in parts.items())
    begins = FIRST + timedelta(days=after)
    ends = begins + timedelta(days=long)
    judge = rrulestr(f"{text};UNTIL={ends:%Y%m%dT%H%M%S}" if "COUNT" not in parts else text,
                     dtstart=FIRST)  # fmt: skip
    expected = []
    for at in judge:
        if at > ends or at.year > 2040:
            break
        if at >= begins:
            expected.append(at)
    assert expanded(text, begins, ends) == expected, text


@pytest.mark.parametrize(
    "rule",
    [
        "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=YEARLY;BYWEEKNO=30;BYMONTH=1",
        "FREQ=YEARLY;BYYEARDAY=366;BYMONTH=3",
        "FREQ=DAILY;INTERVAL=7;BYDAY=MO",
        "FREQ=MONTHLY;BYSETPOS=200",
        "FREQ=YEARLY;INTERVAL=9999;BYMONTH=1",
        "FREQ=YEARLY;BYDAY=53MO;BYMONTH=2",
    ],
)
def test_a_rule_that_never_comes_costs_no_more_than_its_horizon(rule: str) -> None:
    budget = Budget()
    parts = dict(part.split("=") for part in rule.split(";"))
    made = read_rule({name: value.split(",") for name, value in parts.items()}, FIRST)
    ends = FIRST + timedelta(days=430)
    assert list(made.instances(FIRST - timedelta(days=31), ends, budget)) in ([], [FIRST])
    assert Budget().days - budget.days < 1200


def test_a_file_of_many_rules_is_bounded_and_says_so() -> None:
    old = "DTSTART:19010101T090000Z"
    heavy = [
        (f"UID:{n}", "SUMMARY:Old", old, "RRULE:FREQ=DAILY;COUNT=900000;BYMONTH=2;BYMONTHDAY=30")
        for n in range(400)
    ]
    begun_s = time.process_time()
    with pytest.raises(InputError, match=r"Old \(line \d+\).*too long to work out"):
        read_calendar(calendar(*heavy), HORIZON)
    assert time.process_time() - begun_s < 60.0  # it ends; days are counted, not seconds


@pytest.mark.parametrize("year", ["0001", "1582", "9999"])
@pytest.mark.parametrize("zone", ["", "Z", ";TZID=America/New_York", ";TZID=Asia/Tokyo"])
def test_a_year_that_cannot_be_is_left_out_with_its_line(year: str, zone: str) -> None:
    zulu, zone = ("Z", "") if zone == "Z" else ("", zone)
    for day in ("0101T000000", "1231T235959"):
        read = read_calendar(
            calendar(
                ("UID:odd", "SUMMARY:Odd", f"DTSTART{zone}:{year}{day}{zulu}", "RRULE:FREQ=DAILY"),
                one(START),
                ("UID:m", "SUMMARY:Moved", START, f"RECURRENCE-ID{zone}:{year}{day}{zulu}"),
            ),
            HORIZON,
        )
        assert [event.title for event in read.events] == ["Recital"]
        assert read.left_out == (
            f"Odd (line 4): the year {int(year)} is out of range.",
            f"Moved (line 16): the year {int(year)} is out of range.",
        )


@pytest.mark.parametrize("name", ["RDATE", "EXDATE"])
def test_a_listed_date_that_cannot_be_is_passed_over(name: str) -> None:
    read = read_calendar(calendar(one(START, f"{name}:00010101T000000Z")), HORIZON)
    assert len(read.events) == 1


def test_the_horizon_bounds_a_rule_without_end() -> None:
    horizon = Horizon(datetime(2031, 1, 1, tzinfo=UTC), datetime(2032, 2, 5, tzinfo=UTC), UTC)
    read = read_calendar(calendar(one("DTSTART:19200101T090000Z", "RRULE:FREQ=DAILY")), horizon)
    assert len(read.events) == 400
    assert MOST_EVENTS > 400
