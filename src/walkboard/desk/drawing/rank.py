"""The chart of one rank as SVG, wide for a desk and narrow for a phone, and the bar of one pipe.

Each pipe is a mark above or below its target line; its shape shows its state, colour is never
needed. Only numbers and escaped texts are inserted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from walkboard.desk.text.figures import signed
from walkboard.languages.translation import translate
from walkboard.scales.keys import Key
from walkboard.sheets.values import ChartPoint, Mark, RankChart

_HALF_NAME = 10.0  # of a key's name, about: the last one must not run over the edge
_FIELD_CENTS = 10.0  # from the line to the edge of a bar
_LEAST_CENTS, _MOST_CENTS = 6.0, 50.0
_STEPS = (1.0, 2.0, 5.0, 10.0, 20.0, 25.0)
_BLACK_KEYS = frozenset({1, 3, 6, 8, 10})


@dataclass(frozen=True, slots=True)
class Frame:
    """Size of the chart and of the place for its pipes, in units of a pixel at its own size."""

    width: float = 940.0  # between a tablet's and a laptop's, so that both can read the letters
    height: float = 366.0  # with words below the keys
    left: float = 64.0
    right: float = 930.0
    top: float = 34.0
    bottom: float = 258.0
    mark: float = 1.0
    has_words: bool = True  # of single pipes, below the keys


WIDE = Frame()
NARROW = Frame(366.0, 266.0, 34.0, 362.0, 42.0, 236.0, 0.62, has_words=False)  # a phone's page


@dataclass(frozen=True, slots=True)
class RankDrawing:
    """Input of the large chart of a rank.

    Attributes
    ----------
    chart : RankChart
    earlier : sequence of mappings of semitone to cents
        The pipes at earlier visits, the newest first.
    address : callable
        Returns the address of a key.
    chosen : int or None
        Semitone of the selected key.
    name : callable
        Names a key.
    axis : str
        Words of the upright axis.
    tuned : mapping of semitone to cents or None
        The tuned pipes, with their deviation from the line before.
    """

    chart: RankChart
    earlier: Sequence[Mapping[int, float]]
    address: Callable[[int], str]
    chosen: int | None
    name: Callable[[Key], str]
    axis: str
    tuned: Mapping[int, float | None]


def rank_drawing(drawing: RankDrawing, frame: Frame = WIDE) -> Markup:
    """The large chart of a rank; the table beside it has the same data."""
    chart = drawing.chart
    column = (frame.right - frame.left) / max(chart.highest - chart.lowest + 1, 12)
    low, high = _cents_shown(chart)

    def x(semitone: int) -> float:
        return frame.left + (semitone - chart.lowest + 0.5) * column

    def y(cents: float) -> float:
        share = (min(max(cents, low), high) - low) / (high - low)
        return frame.bottom - share * (frame.bottom - frame.top)

    parts = _ground(drawing, frame, column, (low, high), (x, y))
    ages, dot = ("hollow", "faint", "ground"), 2.2 * frame.mark
    for age, cents in reversed(list(enumerate(drawing.earlier[: len(ages)]))):
        dots = "".join(
            f"M{x(semitone) - dot:.1f} {y(value):.1f}"
            f"a{dot} {dot} 0 1 0 {2 * dot} 0a{dot} {dot} 0 1 0 -{2 * dot} 0"
            for semitone, value in sorted(cents.items())
            if low <= value <= high
        )
        parts.append(f'<path class="{ages[age]} earlier" stroke-width="1" d="{dots}"/>')
    target = chart.lines[0].cents
    for semitone, before in drawing.tuned.items():
        parts += _tuned(x(semitone), y(target), None if before is None else y(target + before))
    for point in chart.points:
        if point.cents is not None or point.semitone not in drawing.tuned:
            parts += _pipe(point, frame, x(point.semitone), y, (low, high), target=target)
    for semitone in range(chart.lowest, chart.highest + 1):
        parts.append(
            f'<a href="{escape(drawing.address(semitone))}" tabindex="-1"><rect class="press" '
            f'x="{x(semitone) - column / 2:.1f}" y="{frame.top:.0f}" width="{column:.1f}" '
            f'height="{frame.height - frame.top:.0f}"/></a>'
        )
    has_words = frame.has_words and any(point.word for point in chart.points)
    return _svg(frame.width, frame.height if has_words else frame.bottom + 32.0, parts, "chart")


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
        if abs(away) > _FIELD_CENTS:  # continues beyond the edge
            tip = 5.0 if away > 0.0 else -5.0
            parts.append(f'<path class="{name}" d="M{end:.1f} 3l{tip} 6l{-tip} 6z"/>')
    return _svg(width, height, parts, "bar")


def _cents_shown(chart: RankChart) -> tuple[float, float]:
    """Lowest and highest cents: nearly all pipes, not flattened by one far away."""
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
    frame: Frame,
    column: float,
    shown: tuple[float, float],
    place: tuple[Callable[[int], float], Callable[[float], float]],
) -> list[str]:
    chart, (low, high), (x, y) = drawing.chart, shown, place
    target = chart.lines[0].cents
    top, foot = y(target + chart.stray_cents), y(target - chart.stray_cents)
    parts = [_band(frame.left, top, frame.right - frame.left, foot - top)]
    if drawing.chosen is not None:
        parts.append(
            f'<rect class="chosen" x="{x(drawing.chosen) - column / 2:.1f}" y="{frame.top}" '
            f'width="{column:.1f}" height="{frame.bottom - frame.top + 30}"/>'
        )
    step = next((s for s in _STEPS if (high - low) / s <= 9), _STEPS[-1])
    # Zero is the line the rank is tuned to, as in the table.
    for index in range(math.ceil((low - target) / step), math.floor((high - target) / step) + 1):
        at = y(target + index * step)
        parts.append(f'<path class="ground" d="M{frame.left} {at:.1f}H{frame.right}"/>')
        parts.append(_text(frame.left - 8, at + 4, signed(index * step, 0), "end"))
    whites: list[str] = []
    blacks: list[str] = []
    for semitone in range(chart.lowest, chart.highest + 1):
        (blacks if semitone % 12 in _BLACK_KEYS else whites).append(
            f"M{x(semitone):.1f} {frame.bottom}v{6 if semitone % 12 in _BLACK_KEYS else 11}"
        )
        if semitone % 12 == 0 or semitone == chart.lowest:
            name = drawing.name(Key(semitone))
            at = min(x(semitone), frame.width - _HALF_NAME)
            parts.append(_text(at, frame.bottom + 26, name, "middle"))
    parts.append(f'<path class="faint" d="{"".join(whites)}"/>')
    parts.append(f'<path class="ink" stroke-width="2.5" d="{"".join(blacks)}"/>')
    right, row = frame.right, 16.0
    for line in reversed(chart.lines):
        at, words = y(line.cents), f"{translate(line.words)} {signed(line.cents - target)}"
        dash = "" if line.is_target else ' stroke-dasharray="7 5"'
        weight = 2 if line.is_target else 1.3
        style = f'class="ink" stroke-width="{weight}"{dash}'
        parts.append(f'<path {style} d="M{frame.left} {at:.1f}H{frame.right}"/>')
        left = right - 7.6 * len(words) - 44
        if left < frame.left and right < frame.right:  # no room beside the other one
            left, right, row = left + frame.right - right, frame.right, row + 17.0
        parts.append(_text(right, row, words, "end"))
        parts.append(f'<path {style} d="M{left:.0f} {row - 4:.0f}h34"/>')
        right = left - 18
    if frame.has_words:
        middle = (frame.top + frame.bottom) / 2
        parts.append(
            f'<text transform="translate(16 {middle:.0f}) rotate(-90)" text-anchor="middle" '
            f'class="words-quiet">{escape(drawing.axis)}</text>'
        )
    return parts


def _pipe(
    point: ChartPoint,
    frame: Frame,
    x: float,
    y: Callable[[float], float],
    shown: tuple[float, float],
    *,
    target: float,
) -> list[str]:
    parts = []
    if point.cents is None:
        parts.append(
            f'<path class="ink" stroke-width="1.6" '
            f'd="M{x - 4:.1f} {frame.bottom - 12}l8 8m0 -8l-8 8"/>'
        )
    else:
        at = y(point.cents)
        reach = point.two_sigma_cents
        if abs(y(point.cents + reach) - y(point.cents - reach)) > 4 and not _is_off(point, shown):
            parts.append(
                f'<path class="ink" d="M{x:.1f} {y(point.cents + reach):.1f}'
                f'V{y(point.cents - reach):.1f}"/>'
            )
        parts.append(_mark(point.mark, x, at, frame.mark))
        if _is_off(point, shown):
            down = 18 if point.cents > shown[1] else -10
            parts.append(_text(x, at + down, signed(point.cents - target, 0), "middle"))
    if point.word and frame.has_words:
        parts.append(
            f'<text transform="translate({x + 4:.1f} {frame.bottom + 36}) rotate(-90)" '
            f'text-anchor="end">{escape(translate(point.word))}</text>'
        )
    return parts


def _tuned(x: float, line: float, before: float | None) -> list[str]:
    """A tuned pipe: from where it was, to a ring with a tick on its line."""
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


def _mark(mark: Mark, x: float, y: float, size: float) -> str:
    if mark is Mark.IN:
        return f'<circle class="solid" cx="{x:.1f}" cy="{y:.1f}" r="{3.4 * size:.1f}"/>'
    r, d = 5 * size, 6 * size
    if mark is Mark.CARE:
        shape = f"M{x:.1f} {y - d:.1f}l{r:.1f} {d:.1f}l-{r:.1f} {d:.1f}l-{r:.1f} -{d:.1f}z"
        return f'<path class="hollow" stroke-width="1.5" d="{shape}"/>'
    tip = -d if mark is Mark.SHARP else d
    shape = f"M{x:.1f} {y + tip:.1f}l{d:.1f} {-1.7 * tip:.1f}h-{2 * d:.1f}z"
    return f'<path class="call-solid" d="{shape}"/>'


def _band(x: float, y: float, width: float, height: float) -> str:
    size = f'width="{width:.1f}" height="{height:.1f}"'
    return f'<rect class="band" x="{x:.1f}" y="{y:.1f}" {size}/>'


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'


def _svg(width: float, height: float, parts: Sequence[str], name: str) -> Markup:
    # Texts and figures are in the table beside it, so screen readers skip the drawing.
    return Markup(  # noqa: S704 - numbers, and words escaped above
        f'<svg class="drawing {name}" viewBox="0 0 {width:.0f} {height:.0f}" aria-hidden="true" '
        f'focusable="false">{"".join(parts)}</svg>'
    )
