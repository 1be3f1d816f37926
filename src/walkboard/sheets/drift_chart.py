"""A rank over its visits and on, as SVG: where its pipes were heard and are expected."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from xml.sax.saxutils import escape

_WIDTH, _HEIGHT = 178.0, 74.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 16.0, 172.0, 10.0, 62.0
_FONT = "DejaVu Sans Mono"
_LEAST_CENTS = 5.0


@dataclass(frozen=True, slots=True)
class Band:
    """A day's low, middle and high [cents]: of pipes heard, or of a forecast."""

    on: date
    low_cents: float
    middle_cents: float
    high_cents: float


@dataclass(frozen=True, slots=True)
class DriftCourse:
    """A rank over time.

    Attributes
    ----------
    title : str
    heard : tuple of Band
        Each visit at which it was heard: nine pipes in ten, and the middle.
    expected : tuple of Band
        From the last visit on: the 90 % interval of its middle pipe.
    """

    title: str
    heard: tuple[Band, ...]
    expected: tuple[Band, ...]


def draw_drift(course: DriftCourse) -> str:
    """SVG of a rank's course, 178 mm wide; black and grey, told apart by shape."""
    every = [*course.heard, *course.expected]
    if not every:
        return _svg([_text(_LEFT, 6.0, f"{course.title}: not heard yet", "start")])
    first, last = min(b.on for b in every), max(b.on for b in every)
    days = max(1, (last - first).days)
    top = max(_LEAST_CENTS, *(b.high_cents for b in every))
    bottom = min(-_LEAST_CENTS, *(b.low_cents for b in every))

    def x(on: date) -> float:
        return _LEFT + (_RIGHT - _LEFT) * (on - first).days / days

    def y(cents: float) -> float:
        return _BOTTOM - (_BOTTOM - _TOP) * (cents - bottom) / (top - bottom)

    parts = [_text(_LEFT, 6.0, course.title, "start")]
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 1000) if (top - bottom) / s <= 8)
    rule = int(bottom // step) * step
    while rule <= top:
        if rule >= bottom:
            shade = "#000" if rule == 0 else "#bbb"
            parts.append(_line(_LEFT, y(rule), _RIGHT, y(rule), 0.2, shade))
            parts.append(_text(_LEFT - 1.5, y(rule) + 1.1, f"{rule:+d}" if rule else "0", "end"))
        rule += step
    parts += [
        _text(x(date(year, 1, 1)), _BOTTOM + 5.0, str(year), "middle")
        for year in range(first.year + 1, last.year + 1)
    ]
    if course.expected:
        parts.append(_area(course.expected, x, y))
        middle = " ".join(f"{x(b.on):.2f},{y(b.middle_cents):.2f}" for b in course.expected)
        parts.append(
            f'<polyline points="{middle}" fill="none" stroke="#000" stroke-width="0.4" '
            'stroke-dasharray="1.6 1"/>'
        )
    for band in course.heard:
        at = x(band.on)
        parts.append(_line(at, y(band.low_cents), at, y(band.high_cents), 0.5, "#000"))
        parts.append(f'<circle cx="{at:.2f}" cy="{y(band.middle_cents):.2f}" r="1.1"/>')
    legend = "bars: nine pipes in ten as heard, on arrival   band: 90 % of the forecast   [cents]"
    parts.append(_text(_LEFT, _HEIGHT - 2.0, legend, "start"))
    return _svg(parts)


def _area(bands: Sequence[Band], x: object, y: object) -> str:
    assert callable(x)
    assert callable(y)
    up = [f"{x(b.on):.2f},{y(b.high_cents):.2f}" for b in bands]
    down = [f"{x(b.on):.2f},{y(b.low_cents):.2f}" for b in reversed(bands)]
    return f'<polygon points="{" ".join(up + down)}" fill="#ddd"/>'


def _svg(parts: Sequence[str]) -> str:
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH}mm" height="{_HEIGHT}mm" '
        f'viewBox="0 0 {_WIDTH} {_HEIGHT}" font-family="{_FONT}" font-size="2.9">'
    )
    return "\n".join([head, *parts, "</svg>"])


def _line(x1: float, y1: float, x2: float, y2: float, weight: float, shade: str) -> str:  # noqa: PLR0917
    return (
        f'<line x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}" stroke="{shade}" '
        f'stroke-width="{weight}"/>'
    )


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}">{escape(words)}</text>'
