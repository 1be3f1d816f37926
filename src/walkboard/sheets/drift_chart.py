"""A rank over past and future visits, as SVG: where its pipes were heard, and are expected."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from xml.sax.saxutils import escape

from walkboard.languages.translation import translate
from walkboard.sheets.svg import draw_line
from walkboard.sheets.wording import signed

WIDTH_MM, HEIGHT_MM = 178.0, 52.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 19.0, 172.0, 3.0, 38.0
_FONT = "DejaVu Sans Mono"
_TEXT_MM, _SMALL_MM = 3.4, 2.9
_LEAST_CENTS = 5.0
_MARGIN = 0.02  # of the time shown, empty at either end
_MOST_RULES = 8
_MOST_YEARS = 12


@dataclass(frozen=True, slots=True)
class Band:
    """A day's low, middle and high [cents], of pipes heard or forecast."""

    on: date
    low_cents: float
    middle_cents: float
    high_cents: float


@dataclass(frozen=True, slots=True)
class DriftCourse:
    """A rank over time, converted to one temperature.

    Attributes
    ----------
    title : str
    heard : tuple of Band
        Each visit at which it was heard, on arrival: range of nine pipes in ten, and the median.
    expected : tuple of tuple of Band
        A run from each visit to the next, and after the last: expected range of nine pipes in ten
        from what was known at its start.
    celsius : float
        Air that all values are converted to [°C].
    caption : str
        In words.
    """

    title: str
    heard: tuple[Band, ...]
    expected: tuple[tuple[Band, ...], ...]
    celsius: float = 20.0
    caption: str = ""


def draw_drift(course: DriftCourse) -> str:
    """SVG of a rank's course, 178 by 52 mm; black and grey, by shape."""
    every = [*course.heard, *(band for run in course.expected for band in run)]
    if not every:
        return _svg([_text(_LEFT, 8.0, translate("not heard yet"))])
    first, last = min(b.on for b in every), max(b.on for b in every)
    days = max(1, (last - first).days)
    top = max(_LEAST_CENTS, *(b.high_cents for b in every))
    bottom = min(-_LEAST_CENTS, *(b.low_cents for b in every))

    def x(on: date) -> float:
        share = _MARGIN + (1.0 - 2.0 * _MARGIN) * (on - first).days / days
        return _LEFT + (_RIGHT - _LEFT) * share

    def y(cents: float) -> float:
        return _BOTTOM - (_BOTTOM - _TOP) * (cents - bottom) / (top - bottom)

    parts = [_area(run, x, y) for run in course.expected if len(run) > 1]
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 1000) if (top - bottom) / s <= _MOST_RULES)
    rule = -int(-bottom // step) * step
    while rule <= top:
        shade, weight = ("#000", 0.3) if rule == 0 else ("#bbb", 0.12)
        parts.append(draw_line((_LEFT, y(rule)), (_RIGHT, y(rule)), weight, shade))
        parts.append(_text(_LEFT - 1.5, y(rule) + 1.2, signed(rule, 0), "end"))
        rule += step
    parts += _years(first, last, x)
    for run in course.expected:
        if len(run) > 1:
            middle = " ".join(f"{x(b.on):.2f},{y(b.middle_cents):.2f}" for b in run)
            parts.append(
                f'<polyline points="{middle}" fill="none" stroke="#000" stroke-width="0.3" '
                'stroke-dasharray="1.4 1"/>'
            )
    for band in course.heard:
        at = x(band.on)
        parts.append(draw_line((at, y(band.low_cents)), (at, y(band.high_cents)), 0.5))
        parts.append(f'<circle cx="{at:.2f}" cy="{y(band.middle_cents):.2f}" r="1.1"/>')
    parts.append(
        f'<text transform="translate(4 {(_TOP + _BOTTOM) / 2.0}) rotate(-90)" '
        f'text-anchor="middle" font-size="{_SMALL_MM}">'
        f"{escape(translate('flat · cents · sharp'))}</text>"
    )
    return _svg([*parts, *_legend()])


def _years(first: date, last: date, x: object) -> list[str]:
    """The years along the foot, with a tick at the start of each."""
    assert callable(x)
    parts = [draw_line((_LEFT, _BOTTOM), (_RIGHT, _BOTTOM), 0.25)]
    every = max(1, -(-(last.year - first.year) // _MOST_YEARS))
    for year in range(first.year + 1, last.year + 1, every):
        at = x(date(year, 1, 1))
        parts.append(draw_line((at, _BOTTOM), (at, _BOTTOM + 1.6), 0.25))
        parts.append(_text(at, _BOTTOM + 5.4, str(year), "middle"))
    return parts


def _legend() -> list[str]:
    y = HEIGHT_MM - 2.0
    return [
        draw_line((_LEFT, y - 3.2), (_LEFT, y + 1.2), 0.5),
        f'<circle cx="{_LEFT:.2f}" cy="{y - 1.0:.2f}" r="1.1"/>',
        _text(
            _LEFT + 3.0,
            y,
            translate("heard on arrival: nine pipes in ten, and the median"),
            size=_SMALL_MM,
        ),
        f'<rect x="118" y="{y - 2.6:.2f}" width="7" height="3.4" fill="#ddd"/>',
        _text(127.0, y, translate("nine in ten expected"), size=_SMALL_MM),
    ]


def _area(bands: Sequence[Band], x: object, y: object) -> str:
    assert callable(x)
    assert callable(y)
    up = [f"{x(b.on):.2f},{y(b.high_cents):.2f}" for b in bands]
    down = [f"{x(b.on):.2f},{y(b.low_cents):.2f}" for b in reversed(bands)]
    return f'<polygon points="{" ".join(up + down)}" fill="#ddd"/>'


def _svg(parts: Sequence[str]) -> str:
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH_MM}mm" height="{HEIGHT_MM}mm" '
        f'viewBox="0 0 {WIDTH_MM} {HEIGHT_MM}" font-family="{_FONT}" font-size="{_TEXT_MM}">'
    )
    return "\n".join([head, *parts, "</svg>"])


def _text(x: float, y: float, words: str, anchor: str = "start", size: float = _TEXT_MM) -> str:
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}" font-size="{size}">'
        f"{escape(words)}</text>"
    )
