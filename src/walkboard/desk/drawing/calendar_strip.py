"""The strip along the calendar: events, visits, and when to come, on one time line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

WIDTH, LEFT, RIGHT = 940, 10, 10
_LETTER = 7.2  # of the small type, about; only to keep labels apart
_ROWS = 3  # of labels
BACK_DAYS, AHEAD_DAYS = 21, 182


@dataclass(frozen=True, slots=True)
class StripMark:
    """One event or visit on the strip.

    Attributes
    ----------
    x : float
    words : str
        Text for screen readers, and title of the mark.
    label : str
        Empty if there is no room for it.
    row : int
        Row of the label.
    calls : bool
        Whether it needs attention.
    is_before : bool
        Whether the label ends at the mark, where the strip ends beyond it.
    """

    x: float
    words: str
    label: str = ""
    row: int = 0
    calls: bool = False
    is_before: bool = False


@dataclass(frozen=True, slots=True)
class StripSpan:
    """A time to come, from edge to edge."""

    x: float
    width: float
    words: str


@dataclass(frozen=True, slots=True)
class Strip:
    """What the template draws; see `strip_of`."""

    width: int
    today_x: float
    months: tuple[StripMark, ...]
    events: tuple[StripMark, ...]
    visits: tuple[StripMark, ...]
    spans: tuple[StripSpan, ...]
    rows: int


@dataclass(frozen=True, slots=True)
class StripEvent:
    """An event as input to the strip."""

    day: date
    label: str
    words: str
    calls: bool = False


def strip_of(
    today: date,
    events: Iterable[StripEvent],
    visits: Iterable[tuple[date, str]],
    spans: Iterable[tuple[date, date, str]],
    month_words: Sequence[str],
) -> Strip:
    """Places on the strip, three weeks back and half a year ahead.

    Parameters
    ----------
    today : date
    events : iterable of StripEvent
        By their day.
    visits : iterable of (day, words)
    spans : iterable of (first day, last day, words)
        When a visit is best.
    month_words : sequence of str
        Twelve short names.
    """
    begins, ends = today - timedelta(days=BACK_DAYS), today + timedelta(days=AHEAD_DAYS)
    scale = (WIDTH - LEFT - RIGHT) / (ends - begins).days

    def x(day: date) -> float:
        return round(LEFT + scale * (day - begins).days, 1)

    months = []
    first = begins.replace(day=1)
    while first <= ends:
        if first >= begins:
            at, words = x(first), month_words[first.month - 1]
            has_room = at + 4.0 + _LETTER * len(words) <= WIDTH
            months.append(StripMark(at, words if has_room else ""))
        first = (first + timedelta(days=32)).replace(day=1)
    free_from = [float("-inf")] * _ROWS  # of each row of labels, the uppermost first
    placed = []
    last = ""
    for event in events:
        if not begins <= event.day <= ends:
            continue
        at = x(event.day)
        length = _LETTER * len(event.label)
        is_before = at + length > WIDTH
        starts = at - length - 8.0 if is_before else at
        # A label's leader crosses the rows below it, which must be free there too.
        free = [
            free_from[row] <= starts and all(place <= at for place in free_from[row:])
            for row in range(_ROWS)
        ]
        # A weekly service is named once; the table names each.
        is_labelled = event.label != last and any(free)
        row = free.index(True) if is_labelled else 0
        if is_labelled:
            free_from[row] = at + (0.0 if is_before else length) + 14.0
            last = event.label
        label = event.label if is_labelled else ""
        placed.append(StripMark(at, event.words, label, row, event.calls, is_before))
    return Strip(
        WIDTH,
        x(today),
        tuple(months),
        tuple(placed),
        tuple(StripMark(x(day), words) for day, words in visits if begins <= day <= ends),
        tuple(
            StripSpan(x(max(a, begins)), round(x(min(b, ends)) - x(max(a, begins)) + scale, 1), w)
            for a, b, w in spans
            if b >= begins and a <= ends
        ),
        1 + max((mark.row for mark in placed if mark.label), default=0),
    )
