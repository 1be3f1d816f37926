"""Readiness along the calendar, as SVG: a row an event, from today to its day.

Black and grey, by shape. The thick line reaches as far as the stops stay ready if nobody
comes; the box holds the days on which a visit still helps until the event; the mark at the end says
how they stand on the day.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from enum import Enum
from xml.sax.saxutils import escape

from walkboard.languages.translation import translate
from walkboard.sheets.svg import draw_line

WIDTH_MM = 178.0
_LEFT, _RIGHT = 66.0, 142.0  # of the calendar [mm]
_TOP, _ROW, _FOOT = 9.0, 11.0, 17.0
_FONT = "DejaVu Sans Mono"
_TEXT_MM, _SMALL_MM = 3.4, 2.9
_MOST_LETTERS = 30  # of a title; 62 mm
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_MOST_MONTHS = 13  # with a name each; a year's are 6 mm wide


class Stand(Enum):
    """Whether an event's stops are ready on its day."""

    READY = "ready as it is"
    AFTER_VISIT = "ready after a visit"
    NOT_READY = "not ready even then"


@dataclass(frozen=True, slots=True)
class CalendarRow:
    """One event.

    Attributes
    ----------
    at : date
    day, title : str
        In words.
    stand : Stand
    ready_until : date or None
        Until when its stops stay ready if nobody comes; None: they are not ready today.
    visit_from : date or None
        From when on a visit holds until the event; None: none does.
    visit_by : date
    stops, visited : str
        How many stops are ready, without and with a visit.
    """

    at: date
    day: str
    title: str
    stand: Stand
    ready_until: date | None
    visit_from: date | None
    visit_by: date
    stops: str
    visited: str


@dataclass(frozen=True, slots=True)
class CalendarChart:
    """The coming events.

    Attributes
    ----------
    today : date
    rows : tuple of CalendarRow
        By date.
    heading, caption : str
        The same in words.
    """

    today: date
    rows: tuple[CalendarRow, ...]
    heading: str
    caption: str


def draw_readiness(chart: CalendarChart) -> str:
    """SVG of the coming events, 178 mm wide."""
    bottom = _TOP + _ROW * max(1, len(chart.rows))
    height = bottom + _FOOT
    last = max([row.at for row in chart.rows], default=chart.today)
    days = max(1, (last - chart.today).days)

    def x(on: date) -> float:
        share = min(max((on - chart.today).days / days, 0.0), 1.0)
        return _LEFT + (_RIGHT - _LEFT) * share

    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH_MM}mm" height="{height:.1f}mm" '
        f'viewBox="0 0 {WIDTH_MM} {height:.1f}" font-family="{_FONT}" font-size="{_TEXT_MM}">'
    )
    parts = [
        head,
        _text(_RIGHT + 6.0, 4.0, translate("stops"), _SMALL_MM),
        _text(_RIGHT + 6.0, 7.4, translate("ready"), _SMALL_MM),
        _text(_RIGHT + 20.0, 4.0, translate("after"), _SMALL_MM),
        _text(_RIGHT + 20.0, 7.4, translate("a visit"), _SMALL_MM),
    ]
    for first, words in _months(chart.today, last):
        parts.append(draw_line((x(first), _TOP - 1.0), (x(first), bottom), 0.12, "#bbb"))
        parts.append(_text(x(first), _TOP - 2.2, words, _SMALL_MM, "middle"))
    parts.append(draw_line((_LEFT, _TOP - 1.0), (_LEFT, bottom), 0.3))
    for number, row in enumerate(chart.rows):
        parts += _row(row, _TOP + _ROW * number, x)
    return "\n".join([*parts, *_legend(bottom + 6.0), "</svg>"])


def _row(row: CalendarRow, top: float, x: object) -> list[str]:
    assert callable(x)
    y = top + 0.5 * _ROW
    title = row.title if len(row.title) <= _MOST_LETTERS else f"{row.title[: _MOST_LETTERS - 1]}…"
    parts = [
        draw_line((2.0, top), (WIDTH_MM - 2.0, top), 0.12, "#ccc"),
        _text(2.0, top + 4.4, row.day),
        _text(2.0, top + 8.8, title),
        draw_line((_LEFT, y), (x(row.at), y), 0.2, "#777"),
    ]
    if row.ready_until is not None:
        parts.append(draw_line((_LEFT, y), (x(row.ready_until), y), 1.2))
    if row.visit_from is not None:
        parts.append(_window(x(row.visit_from), x(row.visit_by), y))
    return [
        *parts,
        _mark(x(row.at), y, row.stand),
        _text(_RIGHT + 6.0, y + 1.2, row.stops),
        _text(_RIGHT + 20.0, y + 1.2, row.visited),
    ]


def _legend(y: float) -> list[str]:
    line = [
        draw_line((2.0, y), (10.0, y), 1.2),
        _text(12.0, y + 1.1, translate("stays ready if nobody comes"), _SMALL_MM),
        _window(72.0, 80.0, y),
        _text(82.0, y + 1.1, translate("days when a visit still lasts until the event"), _SMALL_MM),
    ]
    place = 4.0
    for stand in Stand:
        line.append(_mark(place, y + 6.0, stand))
        line.append(_text(place + 3.5, y + 7.1, translate(stand.value), _SMALL_MM))
        place += 56.0
    return line


def _months(first: date, last: date) -> list[tuple[date, str]]:
    """The beginnings of months between two days; of a long time, only some of them."""
    every = [
        date(year, month, 1)
        for year in range(first.year, last.year + 1)
        for month in range(1, 13)
        if first < date(year, month, 1) <= last
    ]
    step = next((s for s in (1, 2, 3, 6, 12) if len(every) / s <= _MOST_MONTHS), 12)
    return [
        (day, str(day.year) if day.month == 1 else translate(_MONTHS[day.month - 1]))
        for day in every
        if (day.month - 1) % step == 0
    ]


def _window(start: float, end: float, y: float) -> str:
    left = min(start, end - 1.6)  # one day is still seen
    return (
        f'<rect x="{left:.2f}" y="{y - 1.4:.2f}" width="{end - left:.2f}" height="2.8" '
        'fill="#ddd" stroke="#000" stroke-width="0.25"/>'
    )


def _mark(x: float, y: float, stand: Stand) -> str:
    if stand is Stand.NOT_READY:
        arm = 1.6 / math.sqrt(2.0)
        return (
            f'<path d="M{x - arm:.2f} {y - arm:.2f}l{2 * arm:.2f} {2 * arm:.2f}'
            f'm0 {-2 * arm:.2f}l{-2 * arm:.2f} {2 * arm:.2f}" stroke="#000" stroke-width="0.6" '
            'fill="none"/>'
        )
    fill = "#000" if stand is Stand.READY else "#fff"
    return (
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="1.5" fill="{fill}" stroke="#000" '
        'stroke-width="0.5"/>'
    )


def _text(x: float, y: float, words: str, size: float = _TEXT_MM, anchor: str = "start") -> str:
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}" text-anchor="{anchor}">'
        f"{escape(words)}</text>"
    )
