"""Draws the chart of a rank as SVG: cents against key, in black and grey, by shape.

Each pipe is a stem from the line it is tuned to, so its length shows how far to move it.
"""

from __future__ import annotations

import math
from xml.sax.saxutils import escape

from walkboard.languages.translation import translate
from walkboard.scales.keys import Key
from walkboard.sheets.svg import Place, draw_line
from walkboard.sheets.values import ChartLine, ChartPoint, Mark, RankChart
from walkboard.sheets.wording import key_words, signed

WIDTH_MM = 178.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 19.0, 176.0, 5.0, 47.0  # of the plot [mm]
_KEYS_MM = 7.0  # below the plot, for the key names; flag texts hang from there
_ADVANCE = 0.602  # em, of every letter of the font
_FONT = "DejaVu Sans Mono"
_TEXT_MM, _SMALL_MM = 3.4, 2.6  # 9.6 and 7.4 point; a column of 61 keys is 2.6 mm wide
"""Across and down from the upper left corner [mm]."""
_LEAST_CENTS, _MOST_CENTS = 5.0, 50.0  # range on each side of the target, least and largest
_ALWAYS_CENTS = 10.0  # from the target; a pipe nearer than this is never drawn at the edge
_MOST_RULES = 10  # across the plot
_STEPS = (1.0, 2.0, 5.0, 10.0, 20.0, 25.0)
_BLACK_KEYS = frozenset({1, 3, 6, 8, 10})


def draw_chart(chart: RankChart) -> str:
    """SVG of a chart, 178 mm wide; as high as its longest flag needs.

    Parameters
    ----------
    chart : RankChart
    """
    scale = _Scale(chart)
    longest = max((len(point.word) for point in chart.points), default=0)
    parts = [_head(_BOTTOM + _KEYS_MM + _ADVANCE * _SMALL_MM * longest + 0.5)]
    parts += _ground(chart, scale)
    parts += _levels(chart, scale)
    for point in chart.points:
        parts += _pipe(point, chart, scale)
    parts.append("</svg>")
    return "\n".join(parts)


def _head(height_mm: float) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH_MM}mm" height="{height_mm:.2f}mm" '
        f'viewBox="0 0 {WIDTH_MM} {height_mm:.2f}" font-family="{_FONT}" font-size="{_TEXT_MM}">'
    )


class _Scale:
    """Places of keys and cents on the sheet [mm]."""

    def __init__(self, chart: RankChart) -> None:
        self.lowest = chart.lowest
        self.column = (_RIGHT - _LEFT) / max(chart.highest - chart.lowest + 1, 12)
        low, high = _cents_shown(chart)
        self.step = next((s for s in _STEPS if (high - low) / s <= _MOST_RULES), _STEPS[-1])
        self.low = math.floor(low / self.step + 1e-9) * self.step
        self.high = math.ceil(high / self.step - 1e-9) * self.step

    def x(self, semitone: float) -> float:
        return _LEFT + (semitone - self.lowest + 0.5) * self.column

    def y(self, cents: float) -> float:
        """Clamped to the plot: anything beyond is drawn at its edge."""
        kept = min(max(cents, self.low), self.high)
        return _BOTTOM - (kept - self.low) / (self.high - self.low) * (_BOTTOM - _TOP)

    def is_off(self, cents: float) -> bool:
        return not self.low <= cents <= self.high


def _cents_shown(chart: RankChart) -> tuple[float, float]:
    """Lowest and highest cents of the plot.

    The lines and every pipe, except those far outside the rank: one pipe 40 cents off must not
    flatten all others.
    """
    target = next((line.cents for line in chart.lines if line.is_target), 0.0)
    cents = [c for p in chart.points for c in (p.cents, p.left_cents) if c is not None]
    away = sorted(abs(c - target) for c in cents)
    usual = away[math.floor(0.9 * (len(away) - 1))] if away else 0.0
    reach = min(max(3.0 * usual, _ALWAYS_CENTS), _MOST_CENTS)
    shown = [c for c in cents if abs(c - target) <= reach]
    shown += [line.cents for line in chart.lines if abs(line.cents - target) <= _MOST_CENTS]
    shown += [target - _LEAST_CENTS, target + _LEAST_CENTS]
    shown += [target - 1.3 * chart.stray_cents, target + 1.3 * chart.stray_cents]
    return min(shown), max(shown)


def _ground(chart: RankChart, scale: _Scale) -> list[str]:
    """Frame, keys along the foot, cents along the side."""
    parts = []
    for semitone in range(chart.lowest, chart.highest + 1):
        x = scale.x(semitone)
        black = semitone % 12 in _BLACK_KEYS
        length = 1.2 if black else 2.2
        parts.append(draw_line((x, _BOTTOM), (x, _BOTTOM + length), 0.5 if black else 0.25))
        if semitone % 12 == 0:
            parts.append(draw_line((x, _TOP), (x, _BOTTOM), 0.15, "#bbb"))
            parts.append(_text((x, _BOTTOM + 5.8), key_words(Key(semitone)), "middle"))
    if (chart.highest - chart.lowest) < 12 or not any(
        s % 12 == 0 for s in range(chart.lowest, chart.highest + 1)
    ):
        first = chart.points[0].key if chart.points else ""
        parts.append(_text((scale.x(chart.lowest), _BOTTOM + 5.8), first, "middle"))
    lowest, highest = round(scale.low / scale.step), round(scale.high / scale.step)
    for index in range(lowest, highest + 1):
        y = scale.y(index * scale.step)
        parts.append(draw_line((_LEFT, y), (_RIGHT, y), 0.12, "#ccc"))
        if index % 2 == 0 or highest - lowest < 6:
            parts.append(_text((_LEFT - 1.5, y + 1.2), signed(index * scale.step, 0), "end"))
    parts.append(draw_line((_LEFT, _BOTTOM), (_RIGHT, _BOTTOM), 0.25))
    middle = (_TOP + _BOTTOM) / 2.0
    parts.append(
        f'<text transform="translate(4 {middle}) rotate(-90)" text-anchor="middle">'
        f"{escape(translate('flat · cents · sharp'))}</text>"
    )
    return parts


def _levels(chart: RankChart, scale: _Scale) -> list[str]:
    """The in-tune band, and the lines with their labels at the right."""
    parts = []
    target = next((line for line in chart.lines if line.is_target), None)
    if target is not None:
        top, bottom = (
            scale.y(target.cents + chart.stray_cents),
            scale.y(target.cents - chart.stray_cents),
        )
        parts.append(
            f'<rect x="{_LEFT}" y="{top:.2f}" width="{_RIGHT - _LEFT}" '
            f'height="{bottom - top:.2f}" fill="#e9e9e9"/>'
        )
    for line in chart.lines:
        y = scale.y(line.cents)
        weight, dashed = _style(line)
        parts.append(draw_line((_LEFT, y), (_RIGHT, y), weight, dashed=dashed))
    return parts + _level_words(chart.lines)


def _level_words(lines: tuple[ChartLine, ...]) -> list[str]:
    """Labels in a row above the plot, each with a sample of its line."""
    parts = []
    x = _RIGHT
    for line in reversed(lines):
        words = translate(f"{line.words} {signed(line.cents)}")
        width = _ADVANCE * _TEXT_MM * 0.85 * len(words)
        y = _TOP - 1.4
        parts.append(_text((x, y), words, "end", _TEXT_MM * 0.85))
        start = x - width - 8.0
        weight, dashed = _style(line)
        parts.append(draw_line((start, y - 0.9), (start + 7.0, y - 0.9), weight, dashed=dashed))
        x = start - 4.0
    return parts


def _style(line: ChartLine) -> tuple[float, str]:
    """Weight [mm] and dashes of a level's line."""
    return (0.5, "") if line.is_target else (0.3, "2.2 1.2")


def _pipe(point: ChartPoint, chart: RankChart, scale: _Scale) -> list[str]:
    x = scale.x(point.semitone)
    parts = []
    if point.cents is not None:
        base = next((line.cents for line in chart.lines if line.is_target), 0.0)
        y = scale.y(point.cents)
        parts.append(draw_line((x, scale.y(base)), (x, y), 0.35, "#777"))
        if point.left_cents is not None:
            parts.append(_ring(x, scale.y(point.left_cents)))
        if scale.is_off(point.cents):
            parts += _beyond(x, point.cents, scale)
        else:
            parts += _spread(x, point, scale)
            parts.append(_mark(x, y, point.mark))
    elif point.left_cents is not None:
        parts.append(_ring(x, scale.y(point.left_cents)))
    if point.cents is None:
        parts.append(_cross(x, _BOTTOM - 1.6))
    if point.word:
        place = f'transform="translate({x + 0.9:.2f} {_BOTTOM + _KEYS_MM}) rotate(-90)"'
        parts.append(
            f'<text {place} text-anchor="end" font-size="{_SMALL_MM}">{escape(point.word)}</text>'
        )
    return parts


def _spread(x: float, point: ChartPoint, scale: _Scale) -> list[str]:
    """The error bar of two σ, with caps."""
    assert point.cents is not None
    top = scale.y(point.cents + point.two_sigma_cents)
    bottom = scale.y(point.cents - point.two_sigma_cents)
    if bottom - top < 0.4:  # shorter than its own stroke: the mark covers it
        return []
    return [
        draw_line((x, top), (x, bottom), 0.3),
        draw_line((x - 0.8, top), (x + 0.8, top), 0.3),
        draw_line((x - 0.8, bottom), (x + 0.8, bottom), 0.3),
    ]


def _beyond(x: float, cents: float, scale: _Scale) -> list[str]:
    """Two triangles at the edge with the value."""
    up = cents > scale.high
    y = scale.y(cents)
    inward = 1.0 if up else -1.0
    is_last = x > _RIGHT - 8.0  # no room to its right
    place = (x - 1.6 if is_last else x + 1.6, y + inward * 2.0 + 1.0)
    words = _text(place, signed(cents, 0), "end" if is_last else "start", _SMALL_MM)
    return [
        _triangle(x, y + inward * 1.0, up=up),
        _triangle(x, y + inward * 3.0, up=up),
        words,
    ]


def _mark(x: float, y: float, mark: Mark) -> str:
    if mark is Mark.IN:
        return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="0.85"/>'
    if mark is Mark.CARE:
        corners = ((0.0, -1.4), (1.1, 0.0), (0.0, 1.4), (-1.1, 0.0))
        points = " ".join(f"{x + right:.2f},{y + down:.2f}" for right, down in corners)
        return f'<polygon points="{points}" fill="#fff" stroke="#000" stroke-width="0.35"/>'
    return _triangle(x, y, up=mark is Mark.SHARP)


def _triangle(x: float, y: float, *, up: bool) -> str:
    tip, foot = (y - 1.2, y + 0.9) if up else (y + 1.2, y - 0.9)
    points = f"{x:.2f},{tip:.2f} {x + 1.25:.2f},{foot:.2f} {x - 1.25:.2f},{foot:.2f}"
    return f'<polygon points="{points}"/>'


def _ring(x: float, y: float) -> str:
    return (
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="1.0" fill="#fff" stroke="#000" stroke-width="0.35"/>'
    )


def _cross(x: float, y: float) -> str:
    return (
        f'<path d="M{x - 0.9:.2f} {y - 0.9:.2f}l1.8 1.8m0 -1.8l-1.8 1.8" stroke="#000" '
        'stroke-width="0.45" fill="none"/>'
    )


def _text(place: Place, words: str, anchor: str, size: float = _TEXT_MM) -> str:
    return (
        f'<text x="{place[0]:.2f}" y="{place[1]:.2f}" text-anchor="{anchor}" '
        f'font-size="{size:.2f}">{escape(words)}</text>'
    )
