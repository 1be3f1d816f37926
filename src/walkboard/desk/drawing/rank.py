"""Drawings of the pages as SVG: small fields of a rank's pipes, and the large chart of one rank.

Each pipe is a mark above or below the line that it should stand on; its shape tells its state, and
colour is never needed to read it. Numbers only go in, and escaped words.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from walkboard.desk.text.figures import signed
from walkboard.desk.text.translate import translate
from walkboard.scales.keys import Key
from walkboard.sheets.values import ChartPoint, Mark, RankChart

FIELD_WIDTH, FIELD_HEIGHT = 256.0, 40.0
_FIELD_CENTS = 10.0  # from the line to the edge of a field
_WIDTH, _HEIGHT = 1180.0, 424.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 64.0, 1170.0, 34.0, 316.0
_LEAST_CENTS, _MOST_CENTS = 6.0, 50.0
_STEPS = (1.0, 2.0, 5.0, 10.0, 20.0, 25.0)
_BLACK_KEYS = frozenset({1, 3, 6, 8, 10})


def field(chart: RankChart, lowest: int, highest: int) -> Markup:
    """The pipes of a rank in one small strip, to be taken in at a glance.

    Parameters
    ----------
    chart : RankChart
    lowest, highest : int
        Semitones of the keyboard's ends, so that strips of one division stand key under key.
    """
    column = FIELD_WIDTH / max(highest - lowest + 1, 12)
    target, middle = chart.lines[0].cents, FIELD_HEIGHT / 2.0
    scale = (middle - 3.0) / _FIELD_CENTS
    band = chart.stray_cents * scale
    parts = [_band(0.0, middle - band, FIELD_WIDTH, 2.0 * band)]
    steps = "".join(
        f"M{(s - lowest) * column:.1f} 0V{FIELD_HEIGHT:.0f}"
        for s in range(lowest, highest + 1)
        if s % 12 == 0
    )
    parts.append(f'<path class="ground" d="{steps}"/>')
    inside, strays, careful, unread = [], [], [], []
    for point in chart.points:
        x = (point.semitone - lowest + 0.5) * column
        if point.cents is None:
            unread.append(f"M{x - 1.8:.1f} {FIELD_HEIGHT - 5.5:.1f}l3.6 3.6m0 -3.6l-3.6 3.6")
            continue
        away = min(max(point.cents - target, -_FIELD_CENTS), _FIELD_CENTS)
        y = middle - away * scale
        if point.mark is Mark.IN:
            inside.append(f"M{x - 1.3:.1f} {y:.1f}h2.6")
        elif point.mark is Mark.CARE:
            careful.append(f"M{x:.1f} {y - 3:.1f}l2.4 3l-2.4 3l-2.4 -3z")
        else:
            tip = -3.4 if point.mark is Mark.SHARP else 3.4
            strays.append(f"M{x:.1f} {y + tip:.1f}l2.6 {-1.6 * tip:.1f}h-5.2z")
    for name, shapes, width in (
        ("ink", inside, 2.2), ("faint", unread, 1.2), ("hollow", careful, 1.0),
        ("call-solid", strays, 0.0),
    ):  # fmt: skip
        if shapes:
            parts.append(f'<path class="{name}" stroke-width="{width}" d="{"".join(shapes)}"/>')
    return _svg(FIELD_WIDTH, FIELD_HEIGHT, parts, "field")


@dataclass(frozen=True, slots=True)
class RankDrawing:
    """What the large chart of a rank is drawn from.

    Attributes
    ----------
    chart : RankChart
    earlier : sequence of mappings of semitone to cents
        Where the pipes stood at visits before, the newest first.
    address : callable
        Gives the address that a press on a key leads to.
    chosen : int or None
        Semitone of the key that is looked at.
    name : callable
        Names a key.
    axis : str
        Words of the upright axis.
    tuned : mapping of semitone to cents or None
        The pipes that were tuned, with where they stood before, from their line.
    """

    chart: RankChart
    earlier: Sequence[Mapping[int, float]]
    address: Callable[[int], str]
    chosen: int | None
    name: Callable[[Key], str]
    axis: str
    tuned: Mapping[int, float | None]


def rank_drawing(drawing: RankDrawing) -> Markup:
    """The large chart of a rank: for the mouse and the eye; the table beside it says the same."""
    chart = drawing.chart
    column = (_RIGHT - _LEFT) / max(chart.highest - chart.lowest + 1, 12)
    low, high = _cents_shown(chart)

    def x(semitone: int) -> float:
        return _LEFT + (semitone - chart.lowest + 0.5) * column

    def y(cents: float) -> float:
        return _BOTTOM - (min(max(cents, low), high) - low) / (high - low) * (_BOTTOM - _TOP)

    parts = _ground(drawing, column, (low, high), (x, y))
    ages = ("hollow", "faint", "ground")
    for age, cents in reversed(list(enumerate(drawing.earlier[: len(ages)]))):
        dots = "".join(
            f"M{x(semitone) - 2.2:.1f} {y(value):.1f}a2.2 2.2 0 1 0 4.4 0a2.2 2.2 0 1 0 -4.4 0"
            for semitone, value in sorted(cents.items())
            if low <= value <= high
        )
        parts.append(f'<path class="{ages[age]} earlier" stroke-width="1" d="{dots}"/>')
    target = chart.lines[0].cents
    for semitone, before in drawing.tuned.items():
        parts += _tuned(x(semitone), y(target), None if before is None else y(target + before))
    for point in chart.points:
        if point.cents is not None or point.semitone not in drawing.tuned:
            parts += _pipe(point, x(point.semitone), y, (low, high), target)
    for semitone in range(chart.lowest, chart.highest + 1):
        parts.append(
            f'<a href="{escape(drawing.address(semitone))}" tabindex="-1"><rect class="press" '
            f'x="{x(semitone) - column / 2:.1f}" y="{_TOP:.0f}" width="{column:.1f}" '
            f'height="{_HEIGHT - _TOP:.0f}"/></a>'
        )
    return _svg(_WIDTH, _HEIGHT, parts, "chart")


def bar(point: ChartPoint | None, chart: RankChart) -> Markup:
    """One pipe as a small bar for the phone: left of the middle is flat, right is sharp."""
    width, height, middle = 120.0, 18.0, 60.0
    scale = (middle - 6.0) / _FIELD_CENTS
    band = chart.stray_cents * scale
    parts = [
        _band(middle - band, 0.0, 2.0 * band, height),
        f'<path class="faint" d="M{middle} 0V{height:.0f}"/>',
    ]
    if point is not None and point.cents is not None:
        away = point.cents - chart.lines[0].cents
        end = middle + min(max(away, -_FIELD_CENTS), _FIELD_CENTS) * scale
        is_stray = point.mark in {Mark.FLAT, Mark.SHARP}
        name = "call-solid" if is_stray else "solid"
        left, right = min(middle, end), max(middle, end)
        parts.append(
            f'<rect class="{name}" x="{left:.1f}" y="6" width="{right - left:.1f}" height="6"/>'
        )
        if abs(away) > _FIELD_CENTS:  # goes on beyond the edge
            tip = 5.0 if away > 0.0 else -5.0
            parts.append(f'<path class="{name}" d="M{end:.1f} 3l{tip} 6l{-tip} 6z"/>')
    return _svg(width, height, parts, "bar")


def _cents_shown(chart: RankChart) -> tuple[float, float]:
    """Lowest and highest cents: nearly all pipes, and not pressed flat by one far away."""
    target = chart.lines[0].cents
    away = sorted(abs(p.cents - target) for p in chart.points if p.cents is not None)
    usual = away[math.floor(0.9 * (len(away) - 1))] if away else 0.0
    reach = min(max(2.5 * usual, _LEAST_CENTS, 1.6 * chart.stray_cents), _MOST_CENTS)
    inside = [line.cents for line in chart.lines if abs(line.cents - target) <= _MOST_CENTS]
    return min([target - reach, *(c - 1.0 for c in inside)]), max(
        [target + reach, *(c + 1.0 for c in inside)]
    )


def _ground(
    drawing: RankDrawing,
    column: float,
    shown: tuple[float, float],
    place: tuple[Callable[[int], float], Callable[[float], float]],
) -> list[str]:
    chart, (low, high), (x, y) = drawing.chart, shown, place
    target = chart.lines[0].cents
    top, foot = y(target + chart.stray_cents), y(target - chart.stray_cents)
    parts = [_band(_LEFT, top, _RIGHT - _LEFT, foot - top)]
    if drawing.chosen is not None:
        parts.append(
            f'<rect class="chosen" x="{x(drawing.chosen) - column / 2:.1f}" y="{_TOP}" '
            f'width="{column:.1f}" height="{_BOTTOM - _TOP + 30}"/>'
        )
    step = next((s for s in _STEPS if (high - low) / s <= 9), _STEPS[-1])
    # Zero is the line that the rank is tuned to, as in the table.
    for index in range(math.ceil((low - target) / step), math.floor((high - target) / step) + 1):
        at = y(target + index * step)
        parts.append(f'<path class="ground" d="M{_LEFT} {at:.1f}H{_RIGHT}"/>')
        parts.append(_text(_LEFT - 8, at + 4, signed(index * step, 0), "end"))
    whites: list[str] = []
    blacks: list[str] = []
    for semitone in range(chart.lowest, chart.highest + 1):
        (blacks if semitone % 12 in _BLACK_KEYS else whites).append(
            f"M{x(semitone):.1f} {_BOTTOM}v{6 if semitone % 12 in _BLACK_KEYS else 11}"
        )
        if semitone % 12 == 0 or semitone == chart.lowest:
            parts.append(_text(x(semitone), _BOTTOM + 26, drawing.name(Key(semitone)), "middle"))
    parts.append(f'<path class="faint" d="{"".join(whites)}"/>')
    parts.append(f'<path class="ink" stroke-width="2.5" d="{"".join(blacks)}"/>')
    right = _RIGHT
    for line in reversed(chart.lines):
        at, words = y(line.cents), f"{translate(line.words)} {signed(line.cents - target)}"
        dash = "" if line.is_target else ' stroke-dasharray="7 5"'
        weight = 2 if line.is_target else 1.3
        style = f'class="ink" stroke-width="{weight}"{dash}'
        parts.append(f'<path {style} d="M{_LEFT} {at:.1f}H{_RIGHT}"/>')
        parts.append(_text(right, 16, words, "end"))
        left = right - 7.6 * len(words) - 44
        parts.append(f'<path {style} d="M{left:.0f} 12h34"/>')
        right = left - 18
    middle = (_TOP + _BOTTOM) / 2
    parts.append(
        f'<text transform="translate(16 {middle:.0f}) rotate(-90)" text-anchor="middle" '
        f'class="words-quiet">{escape(drawing.axis)}</text>'
    )
    return parts


def _pipe(
    point: ChartPoint,
    x: float,
    y: Callable[[float], float],
    shown: tuple[float, float],
    target: float,
) -> list[str]:
    parts = []
    if point.cents is None:
        parts.append(
            f'<path class="ink" stroke-width="1.6" d="M{x - 4:.1f} {_BOTTOM - 12}l8 8m0 -8l-8 8"/>'
        )
    else:
        at = y(point.cents)
        reach = point.two_sigma_cents
        if abs(y(point.cents + reach) - y(point.cents - reach)) > 4 and not _is_off(point, shown):
            parts.append(
                f'<path class="ink" d="M{x:.1f} {y(point.cents + reach):.1f}'
                f'V{y(point.cents - reach):.1f}"/>'
            )
        parts.append(_mark(point.mark, x, at))
        if _is_off(point, shown):
            down = 18 if point.cents > shown[1] else -10
            parts.append(_text(x, at + down, signed(point.cents - target, 0), "middle"))
    if point.word:
        parts.append(
            f'<text transform="translate({x + 4:.1f} {_BOTTOM + 36}) rotate(-90)" '
            f'text-anchor="end">{escape(translate(point.word))}</text>'
        )
    return parts


def _tuned(x: float, line: float, before: float | None) -> list[str]:
    """A pipe that was tuned: from where it stood, to a ring with a tick on its line."""
    parts = []
    if before is not None and abs(before - line) > 9.0:
        side = 1.0 if before > line else -1.0
        parts.append(
            f'<path class="faint" stroke-width="1.4" stroke-dasharray="3 3" '
            f'd="M{x:.1f} {before:.1f}V{line + 8.0 * side:.1f}"/>'
            f'<path class="faint" stroke-width="1.4" d="M{x - 4:.1f} {before:.1f}h8"/>'
        )
    parts.append(
        f'<circle class="hollow" stroke-width="1.5" cx="{x:.1f}" cy="{line:.1f}" r="7"/>'
        f'<path class="ink" stroke-width="1.8" d="M{x - 3.4:.1f} {line:.1f}l2.6 2.8l4.4 -5.4"/>'
    )
    return parts


def _is_off(point: ChartPoint, shown: tuple[float, float]) -> bool:
    return point.cents is not None and not shown[0] <= point.cents <= shown[1]


def _mark(mark: Mark, x: float, y: float) -> str:
    if mark is Mark.IN:
        return f'<circle class="solid" cx="{x:.1f}" cy="{y:.1f}" r="3.4"/>'
    if mark is Mark.CARE:
        return f'<path class="hollow" stroke-width="1.5" d="M{x:.1f} {y - 6:.1f}l5 6l-5 6l-5 -6z"/>'
    tip = -6 if mark is Mark.SHARP else 6
    return f'<path class="call-solid" d="M{x:.1f} {y + tip:.1f}l6 {-1.7 * tip:.1f}h-12z"/>'


def _band(x: float, y: float, width: float, height: float) -> str:
    size = f'width="{width:.1f}" height="{height:.1f}"'
    return f'<rect class="band" x="{x:.1f}" y="{y:.1f}" {size}/>'


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'


def _svg(width: float, height: float, parts: Sequence[str], name: str) -> Markup:
    # The words and figures stand in the table beside it, so the drawing itself is passed over.
    return Markup(  # noqa: S704 - numbers, and words escaped above
        f'<svg class="drawing {name}" viewBox="0 0 {width:.0f} {height:.0f}" aria-hidden="true" '
        f'focusable="false">{"".join(parts)}</svg>'
    )
