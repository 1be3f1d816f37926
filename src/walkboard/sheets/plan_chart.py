"""Draws the curve of a plan as SVG: the badness left against the minutes, in black and grey.

Read from left to right it falls: each further ten minutes take the worst of what is left. Where it
runs flat, more minutes buy little.
"""

from __future__ import annotations

import math
from xml.sax.saxutils import escape

from walkboard.languages.translation import translate
from walkboard.sheets.svg import draw_line
from walkboard.sheets.values import PlanCurve

WIDTH_MM, HEIGHT_MM = 178.0, 62.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 19.0, 172.0, 6.0, 48.0  # of the plot [mm]
_FONT = "DejaVu Sans Mono"
_TEXT_MM = 3.4
_ADVANCE = 0.602  # em, of every letter of the font
"""Across and down from the upper left corner [mm]."""
_MOST_RULES = 8
# White around letters that lie on the rules.
_HALO = ' stroke="#fff" stroke-width="1.2" stroke-linejoin="round" paint-order="stroke"'
_MINUTES = (10.0, 20.0, 30.0, 60.0, 120.0)  # between the marks of time


def draw_plan_curve(curve: PlanCurve) -> str:
    """SVG of a curve, 178 by 62 mm.

    Parameters
    ----------
    curve : PlanCurve
        With at least one point.
    """
    last = max(point.minutes for point in curve.points)
    top = max(point.cost for point in curve.points)
    across = next((s for s in _MINUTES if last <= _MOST_RULES * s), _step(max(last, 1.0)))
    up = _step(max(top, 1.0))
    right = max(math.ceil(last / across - 1e-9) * across, across)
    high = max(math.ceil(top / up - 1e-9) * up, up)

    def x(minutes: float) -> float:
        return _LEFT + minutes / right * (_RIGHT - _LEFT)

    def y(cost: float) -> float:
        return _BOTTOM - cost / high * (_BOTTOM - _TOP)

    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH_MM}mm" height="{HEIGHT_MM}mm" '
        f'viewBox="0 0 {WIDTH_MM} {HEIGHT_MM}" font-family="{_FONT}" font-size="{_TEXT_MM}">'
    )
    parts = [head]
    for index in range(round(high / up) + 1):
        level = y(index * up)
        parts.append(draw_line((_LEFT, level), (_RIGHT, level), 0.12, "#ccc"))
        parts.append(_text(_LEFT - 1.5, level + 1.2, _number(index * up), "end"))
    for index in range(round(right / across) + 1):
        place = x(index * across)
        parts.append(draw_line((place, _BOTTOM), (place, _BOTTOM + 1.6), 0.25))
        parts.append(_text(place, _BOTTOM + 5.6, _number(index * across), "middle"))
    parts.append(draw_line((_LEFT, _BOTTOM), (_RIGHT, _BOTTOM), 0.25))
    middle = 0.5 * (_TOP + _BOTTOM)
    parts.append(
        f'<text transform="translate(4 {middle}) rotate(-90)" text-anchor="middle">'
        f"{escape(translate('badness left'))}</text>"
    )
    parts.append(_text(0.5 * (_LEFT + _RIGHT), _BOTTOM + 11.0, translate("minutes"), "middle"))
    points = [(x(p.minutes), y(p.cost)) for p in sorted(curve.points, key=lambda p: p.minutes)]
    if len(points) > 1:
        path = " ".join(f"{px:.2f},{py:.2f}" for px, py in points)
        parts.append(f'<polyline points="{path}" fill="none" stroke="#000" stroke-width="0.5"/>')
    parts += [f'<circle cx="{px:.2f}" cy="{py:.2f}" r="0.7"/>' for px, py in points]
    parts += _visit(curve, x(curve.minutes), y(curve.cost))
    parts.append("</svg>")
    return "\n".join(parts)


def _visit(curve: PlanCurve, x: float, y: float) -> list[str]:
    """Marks the visit on the curve: a ring, a line down, and its words."""
    # The curve falls: its words are clear of it above to the right, or below to the left.
    if x + 2.0 + _ADVANCE * _TEXT_MM * len(curve.words) <= WIDTH_MM - 2.0:
        words = _text(x + 2.0, max(y - 2.2, _TOP + 2.0), curve.words, "start", _HALO)
    else:
        words = _text(x - 2.4, min(y + 5.0, _BOTTOM - 1.2), curve.words, "end", _HALO)
    return [
        draw_line((x, y), (x, _BOTTOM), 0.3, dashed="1.6 1.2"),
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="1.5" fill="#fff" stroke="#000" stroke-width="0.5"/>',
        words,
    ]


def _step(reach: float) -> float:
    """Distance of the rules: a round one, and no more than eight of them."""
    power = 10.0 ** math.floor(math.log10(reach / _MOST_RULES))
    return next(
        step * power for step in (1.0, 2.0, 2.5, 5.0, 10.0) if reach <= _MOST_RULES * step * power
    )


def _number(value: float) -> str:
    return f"{value:g}"


def _text(x: float, y: float, words: str, anchor: str, more: str = "") -> str:
    return f'<text x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}"{more}>{escape(words)}</text>'
