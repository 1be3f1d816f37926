"""When a recurring event takes place (RFC 5545, 3.3.10), with a bound on the work.

A rule is tried day by day and never beyond the horizon, so one that never matches also ends. Times
are local in the event's own zone; nothing here knows about zones.
"""

from __future__ import annotations

import calendar
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from itertools import groupby, product

MOST_DAYS = 800_000  # tried day by day per file: a few seconds of work. Chosen.
_WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
_PARTS = {
    "FREQ", "COUNT", "INTERVAL", "BYHOUR", "BYMINUTE", "BYSECOND", "BYDAY", "BYMONTHDAY",
    "BYYEARDAY", "BYWEEKNO", "BYMONTH", "BYSETPOS", "WKST", "UNTIL",
}  # fmt: skip


class Frequency(StrEnum):
    """How often an event recurs; nothing an organ is tuned for recurs within a day."""

    DAILY = "DAILY"
    WEEKLY = "WEEKLY"
    MONTHLY = "MONTHLY"
    YEARLY = "YEARLY"


@dataclass
class Budget:
    """Days that may still be tried, for all rules of a file."""

    days: int = MOST_DAYS

    def spend(self) -> None:
        """Use one; ValueError if none is left."""
        self.days -= 1
        if self.days < 0:
            raise ValueError("its rules would take too long to work out")


@dataclass(frozen=True, slots=True)
class Rule:
    """A recurrence rule.

    Attributes
    ----------
    first : datetime
        The event's own start, in local time.
    frequency : Frequency
    interval : int
        Every n-th period, from 1.
    count : int or None
        Total number of instances.
    months, month_days, year_days, week_numbers, positions : frozenset of int
        Empty if the rule does not say.
    weekdays : frozenset of (int, int)
        The position in the month or year (0: every one), and the weekday from Monday 0.
    times : tuple of time
        Times in the day, in order.
    week_start : int
        First weekday of a week.
    """

    first: datetime
    frequency: Frequency
    interval: int
    count: int | None
    months: frozenset[int]
    month_days: frozenset[int]
    year_days: frozenset[int]
    week_numbers: frozenset[int]
    positions: frozenset[int]
    weekdays: frozenset[tuple[int, int]]
    times: tuple[time, ...]
    week_start: int

    def instances(self, begins: datetime, ends: datetime, budget: Budget) -> Iterator[datetime]:
        """Every instance within a span, in order.

        Parameters
        ----------
        begins, ends : datetime
            In local time; both included.
        budget : Budget

        Raises
        ------
        ValueError
            If the budget is used up.
        """
        found = 0
        for _, days in groupby(self._days(begins, ends, budget), self._period):
            at = [datetime.combine(day, clock) for day in days for clock in self.times]
            for moment in self._chosen(at):
                if moment < self.first:
                    continue
                found += 1
                if moment > ends or (self.count is not None and found > self.count):
                    return
                if moment >= begins:
                    yield moment

    def _chosen(self, at: Sequence[datetime]) -> list[datetime]:
        """The instances of a period selected by BYSETPOS, from 1, or from −1 at its end."""
        if not self.positions:
            return list(at)
        places = {p - 1 if p > 0 else len(at) + p for p in self.positions}
        return [moment for place, moment in enumerate(at) if place in places]

    def _days(self, begins: datetime, ends: datetime, budget: Budget) -> Iterator[date]:
        """Days that match, in whole periods, from the first one that matters."""
        day = self.first.date()
        if self.count is None and begins.date() > day:
            day = begins.date()  # earlier ones need not be counted
        day = self._period_begins(day)
        # The last period is tried to its end, for positions counted from there.
        last = self._period_begins(ends.date()) + _LONGEST_PERIOD[self.frequency]
        while day <= last:
            budget.spend()
            if self._is_in_turn(day) and self._matches(day):
                yield day
            if day == date.max:
                return
            day += _DAY

    def _period(self, day: date) -> int:
        """Number of a day's period."""
        match self.frequency:
            case Frequency.YEARLY:
                return day.year
            case Frequency.MONTHLY:
                return 12 * day.year + day.month
            case Frequency.WEEKLY:
                return (day.toordinal() - 1 - self.week_start) // 7
            case Frequency.DAILY:
                return day.toordinal()

    def _period_begins(self, day: date) -> date:
        match self.frequency:
            case Frequency.YEARLY:
                return day.replace(month=1, day=1)
            case Frequency.MONTHLY:
                return day.replace(day=1)
            case Frequency.WEEKLY:
                back = (day.weekday() - self.week_start) % 7
                return date.fromordinal(max(1, day.toordinal() - back))
            case Frequency.DAILY:
                return day

    def _is_in_turn(self, day: date) -> bool:
        return (self._period(day) - self._period(self.first.date())) % self.interval == 0

    def _matches(self, day: date) -> bool:
        if self.months and day.month not in self.months:
            return False
        in_month = calendar.monthrange(day.year, day.month)[1]
        if self.month_days and not self.month_days & {day.day, day.day - in_month - 1}:
            return False
        of_year = day.timetuple().tm_yday
        in_year = 366 if calendar.isleap(day.year) else 365
        if self.year_days and not self.year_days & {of_year, of_year - in_year - 1}:
            return False
        if self.week_numbers and not self.week_numbers & set(_week_numbers(day, self.week_start)):
            return False
        if not self.weekdays:
            return True
        places = {0}
        if self.frequency is Frequency.MONTHLY or (
            self.frequency is Frequency.YEARLY and self.months
        ):
            places |= {(day.day - 1) // 7 + 1, -((in_month - day.day) // 7 + 1)}
        elif self.frequency is Frequency.YEARLY:
            places |= {(of_year - 1) // 7 + 1, -((in_year - of_year) // 7 + 1)}
        return any((place, day.weekday()) in self.weekdays for place in places)


_DAY = timedelta(days=1)
_LONGEST_PERIOD = {
    Frequency.DAILY: timedelta(days=0),
    Frequency.WEEKLY: timedelta(days=6),
    Frequency.MONTHLY: timedelta(days=30),
    Frequency.YEARLY: timedelta(days=365),
}


def read_rule(parts: Mapping[str, Sequence[object]], first: datetime) -> Rule:
    """A rule from its parts; the caller handles UNTIL, knowing its zone.

    Parameters
    ----------
    parts : mapping of str to sequence
        Name of each part, in capitals, and its values.
    first : datetime
        The event's start, in local time.

    Raises
    ------
    ValueError
        If a part is invalid; in words.
    """
    odd = sorted(set(parts) - _PARTS)
    if odd:
        raise ValueError(f"{odd[0]} is not known")
    word = str(_only(parts, "FREQ", "")).upper()
    if word not in set(Frequency):
        raise ValueError(f"FREQ={word} cannot be read")
    frequency = Frequency(word)
    interval = _number(_only(parts, "INTERVAL", 1), "INTERVAL", 1, 10_000)
    count = None
    if "COUNT" in parts:
        count = _number(_only(parts, "COUNT", 1), "COUNT", 1, 10**9)
    months = _numbers(parts, "BYMONTH", 1, 12, backward=False)
    month_days = _numbers(parts, "BYMONTHDAY", 1, 31)
    year_days = _numbers(parts, "BYYEARDAY", 1, 366)
    week_numbers = _numbers(parts, "BYWEEKNO", 1, 53)
    weekdays = frozenset(_weekday(value, frequency) for value in parts.get("BYDAY", ()))
    # What the rule leaves open is taken from the event's own start.
    if not (month_days or year_days or week_numbers or weekdays):
        if frequency is Frequency.WEEKLY:
            weekdays = frozenset({(0, first.weekday())})
        elif frequency is not Frequency.DAILY:
            month_days = frozenset({first.day})
            if frequency is Frequency.YEARLY and not months:
                months = frozenset({first.month})
    clocks = [
        sorted(_numbers(parts, name, 0, most, backward=False)) or [own]
        for name, most, own in (
            ("BYHOUR", 23, first.hour),
            ("BYMINUTE", 59, first.minute),
            ("BYSECOND", 59, first.second),
        )
    ]
    start = str(_only(parts, "WKST", "MO")).upper()
    if start not in _WEEKDAYS:
        raise ValueError(f"WKST={start} cannot be read")
    return Rule(
        first,
        frequency,
        interval,
        count,
        months,
        month_days,
        year_days,
        week_numbers,
        _numbers(parts, "BYSETPOS", 1, 366),
        weekdays,
        tuple(time(hour, minute, second) for hour, minute, second in product(*clocks)),
        _WEEKDAYS.index(start),
    )


def _week_numbers(day: date, week_start: int) -> tuple[int, int]:
    """Number of a day's week in its year, from 1 and from −1 at the end (ISO 8601, any start)."""
    begins = day.toordinal() - (day.weekday() - week_start) % 7
    middle = date.fromordinal(min(max(begins + 3, 1), date.max.toordinal()))
    number = (middle.timetuple().tm_yday - 1) // 7 + 1
    left = ((366 if calendar.isleap(middle.year) else 365) - middle.timetuple().tm_yday) // 7
    return number, -(left + 1)


def _weekday(value: object, frequency: Frequency) -> tuple[int, int]:
    text = str(value).strip().upper()
    place, name = text[:-2], text[-2:]
    if name not in _WEEKDAYS:
        raise ValueError(f"BYDAY={text} cannot be read")
    number = _number(place, "BYDAY", -53, 53) if place else 0
    if place and number == 0:
        raise ValueError(f"BYDAY={text} cannot be read")
    if frequency in {Frequency.DAILY, Frequency.WEEKLY}:
        number = 0  # a position in the month means nothing there
    return number, _WEEKDAYS.index(name)


def _numbers(
    parts: Mapping[str, Sequence[object]], name: str, low: int, high: int, *, backward: bool = True
) -> frozenset[int]:
    found = set()
    for value in parts.get(name, ()):
        number = _number(value, name, -high if backward else low, high)
        if number == 0 and low == 1:
            raise ValueError(f"{name}=0 cannot be")
        found.add(number)
    return frozenset(found)


def _number(value: object, name: str, low: int, high: int) -> int:
    try:
        number = int(str(value))
    except ValueError:
        raise ValueError(f"{name}={value} is not a whole number") from None
    if not low <= number <= high:
        raise ValueError(f"{name}={number} cannot be")
    return number


def _only(parts: Mapping[str, Sequence[object]], name: str, usual: object) -> object:
    values = parts.get(name, ())
    return values[0] if values else usual
