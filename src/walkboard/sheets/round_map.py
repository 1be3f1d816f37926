"""The round as a map and as weeks, as SVG: towns as points, nothing fetched from anywhere.

Black and grey, by shape: a town's point grows with the organs there; each tuner has a mark.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

_FONT = "DejaVu Sans Mono"
_WIDTH_MM, _MARGIN_MM = 178.0, 14.0
_MOST_HEIGHT_MM = 230.0
_TEXT_MM, _SMALL_MM = 3.6, 3.2
_KM_A_DEGREE = 111.195  # of latitude, on the mean sphere: derived
MARKS = ("circle", "square", "triangle", "diamond")


@dataclass(frozen=True, slots=True)
class TownMark:
    """A town on the map.

    Attributes
    ----------
    name : str
    latitude, longitude : float
        [degrees]
    organs : int
        That the firm keeps there.
    visits : tuple of (int, int)
        Week from 1 and tuner from 0 of each visit, in order.
    is_home : bool
        Whether a tuner lives there.
    """

    name: str
    latitude: float
    longitude: float
    organs: int
    visits: tuple[tuple[int, int], ...]
    is_home: bool = False


def draw_map(towns: Sequence[TownMark], tuners: Sequence[str]) -> str:
    """SVG of the map with a legend of the tuners' marks.

    Parameters
    ----------
    towns : sequence of TownMark
        At least one.
    tuners : sequence of str
    """
    place, height = _projection(towns)
    legend = 6.0 + 5.0 * len(tuners)
    parts = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH_MM}mm" '
            f'height="{height + legend:.2f}mm" viewBox="0 0 {_WIDTH_MM} {height + legend:.2f}" '
            f'font-family="{_FONT}" font-size="{_SMALL_MM}" role="img">'
        ),
        "<title>The towns of the round</title>",
    ]
    for town in towns:
        x, y = place(town)
        parts.append(_town(town, x, y))
    for n, name in enumerate(tuners):
        y = height + 5.0 * (n + 1)
        parts.append(_mark(n, _MARGIN_MM, y - 1.1, 1.3))
        parts.append(_text(_MARGIN_MM + 4.0, y, name, _TEXT_MM))
    parts.append("</svg>")
    return "\n".join(parts)


def _projection(
    towns: Sequence[TownMark],
) -> tuple[Callable[[TownMark], tuple[float, float]], float]:
    """Equirectangular about the middle latitude, north upward, as large as the sheet allows."""
    middle = math.radians(sum(t.latitude for t in towns) / len(towns))
    xs = [t.longitude * math.cos(middle) * _KM_A_DEGREE for t in towns]
    ys = [-t.latitude * _KM_A_DEGREE for t in towns]
    wide, high = max(xs) - min(xs), max(ys) - min(ys)
    room = _WIDTH_MM - 2.0 * _MARGIN_MM
    scale = min(
        room / wide if wide > 0.0 else math.inf,
        (_MOST_HEIGHT_MM - 2.0 * _MARGIN_MM) / high if high > 0.0 else math.inf,
    )
    scale = 1.0 if math.isinf(scale) else scale
    height = high * scale + 2.0 * _MARGIN_MM

    def place(town: TownMark) -> tuple[float, float]:
        x = town.longitude * math.cos(middle) * _KM_A_DEGREE
        y = -town.latitude * _KM_A_DEGREE
        return _MARGIN_MM + (x - min(xs)) * scale, _MARGIN_MM + (y - min(ys)) * scale

    return place, height


def _town(town: TownMark, x: float, y: float) -> str:
    radius = 0.7 + 0.5 * math.sqrt(town.organs)
    fill = "#000" if town.visits else "#fff"
    ring = 'stroke="#000" stroke-width="0.25"/>'
    parts = [f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:.2f}" fill="{fill}" {ring}']
    if town.is_home:
        parts.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius + 0.9:.2f}" fill="none" {ring}')
    beside = x + radius + (1.8 if town.is_home else 0.8)
    parts.append(_text(beside, y - 0.4, town.name, _SMALL_MM))
    across = beside + 0.9
    for week, tuner in town.visits[:6]:
        parts.append(_mark(tuner, across, y + 2.2, 1.1))
        parts.append(_text(across + 1.6, y + 3.3, str(week), _SMALL_MM))
        across += 3.2 + 2.0 * len(str(week))
    return "\n".join(parts)


def _mark(tuner: int, x: float, y: float, r: float) -> str:
    """A tuner's mark; from the fifth on, the marks come hollow."""
    fill = "#000" if tuner < len(MARKS) else "#fff"
    style = f'fill="{fill}" stroke="#000" stroke-width="0.2"'
    match MARKS[tuner % len(MARKS)]:
        case "circle":
            return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{r:.2f}" {style}/>'
        case "square":
            return (
                f'<rect x="{x - r:.2f}" y="{y - r:.2f}" width="{2 * r:.2f}" height="{2 * r:.2f}" '
                f"{style}/>"
            )
        case "triangle":
            points: tuple[tuple[float, float], ...] = ((x, y - r), (x + r, y + r), (x - r, y + r))
        case _:
            points = ((x, y - r), (x + r, y), (x, y + r), (x - r, y))
    return f'<polygon points="{" ".join(f"{a:.2f},{b:.2f}" for a, b in points)}" {style}/>'


def _text(x: float, y: float, words: str, size: float) -> str:
    return f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}">{escape(words)}</text>'
