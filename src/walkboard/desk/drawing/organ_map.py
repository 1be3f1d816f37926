"""The map of an organ: a strip for each rank, key above key; and the whole organ, visit by visit.

A pipe is a bar from its target line, up if sharp and down if flat. A stray is long and thick:
length, thickness and side show it, colour only helps.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from walkboard.scales.keys import Key
from walkboard.sheets.values import Mark, RankChart

_WIDTH, _HEIGHT = 1000, 40  # of a strip's own units; it is stretched to its place
_MIDDLE = _HEIGHT / 2
_MOST_CENTS = 12.0  # from the line to the edge of a strip
_SEMITONES = 12
_ROW = 3  # of the small map


def strip(
    chart: RankChart | None, lowest: int, highest: int, tuned: Collection[int] = ()
) -> Markup:
    """The pipes of one rank.

    Parameters
    ----------
    chart : RankChart or None
        None if the rank was never heard.
    lowest, highest : int
        Semitones of the map's ends, the same for every rank.
    tuned : collection of int
        Semitones of the pipes that were tuned and not heard since.
    """
    column = _WIDTH / (highest - lowest + 1)

    def x(semitone: int) -> str:
        return f"{(semitone - lowest + 0.5) * column:.1f}"

    octaves = "".join(
        f"M{(s - lowest) * column:.1f} 0V{_HEIGHT}"
        for s in range(lowest, highest + 1)
        if s % _SEMITONES == 0
    )
    parts = [_path("ground", octaves)]
    if chart is None:
        parts.append(_path("map-unheard", f"M0 {_MIDDLE}H{_WIDTH}"))
        return _strip(parts)
    target, scale = chart.lines[0].cents, (_MIDDLE - 1) / _MOST_CENTS
    left = (chart.lowest - lowest) * column
    band, size = chart.stray_cents * scale, (chart.highest - chart.lowest + 1) * column
    parts.append(
        f'<rect class="band" x="{left:.1f}" y="{_MIDDLE - band:.1f}" width="{size:.1f}" '
        f'height="{2 * band:.1f}"/>'
    )
    shapes: dict[str, list[str]] = {"map-in": [], "map-care": [], "map-none": [], "map-stray": []}
    for point in chart.points:
        if point.cents is None:
            if point.semitone not in tuned:
                shapes["map-none"].append(f"M{x(point.semitone)} {_HEIGHT - 8}v6")
            continue
        away = min(max(point.cents - target, -_MOST_CENTS), _MOST_CENTS)
        kind = {Mark.IN: "map-in", Mark.CARE: "map-care"}.get(point.mark, "map-stray")
        # A pipe on its line still shows that it was measured.
        tall = max(abs(away) * scale, 1.2) * (1 if away >= 0 else -1)
        shapes[kind].append(f"M{x(point.semitone)} {_MIDDLE}v{-tall:.1f}")
    parts += [_path(name, "".join(found)) for name, found in shapes.items() if found]
    rings = "".join(f"M{x(s)} {_MIDDLE - 5}v10" for s in sorted(tuned))
    if rings:
        parts.append(_path("map-tuned", rings))
    return _strip(parts)


def axis(lowest: int, highest: int, name: Callable[[Key], str]) -> Markup:
    """Key names above the strips."""
    keys = highest - lowest + 1
    words = "".join(
        f'<text x="{100 * (s - lowest + 0.5) / keys:.2f}%" y="12" text-anchor="middle">'
        f"{escape(name(Key(s)))}</text>"
        for s in range(lowest, highest + 1)
        if s % _SEMITONES == 0 and s - lowest < keys - 1
    )
    return Markup(f'<svg class="drawing map-axis" aria-hidden="true">{words}</svg>')  # noqa: S704


@dataclass(frozen=True, slots=True)
class SmallRow:
    """One rank in the small map of a visit: keys measured, and strays."""

    read: Collection[int]
    strays: Mapping[int, float]


def small_map(rows: Sequence[SmallRow | None], lowest: int, highest: int) -> Markup:
    """The whole organ at one visit, a line of squares for each rank; None leaves a rank empty."""
    width, height = 2 * (highest - lowest + 1), _ROW * len(rows)
    read, sharp = [], []
    for n, row in enumerate(rows):
        if row is None:
            continue
        y = _ROW * n + _ROW / 2
        read += [f"M{2 * (s - lowest)} {y}h1.5" for s in sorted(row.read) if s not in row.strays]
        sharp += [f"M{2 * (s - lowest) - 0.5} {y}h3" for s in sorted(row.strays)]
    return Markup(  # noqa: S704 - numbers only
        f'<svg class="drawing small-map" viewBox="-1 0 {width + 2} {height}" '
        f'preserveAspectRatio="none" aria-hidden="true">'
        f'<rect class="band" x="-1" y="0" width="{width + 2}" height="{height}"/>'
        f"{_path('small-read', ''.join(read))}{_path('small-stray', ''.join(sharp))}</svg>"
    )


def _path(name: str, shape: str) -> str:
    return f'<path class="{name}" d="{shape}"/>'


def _strip(parts: Sequence[str]) -> Markup:
    return Markup(  # noqa: S704 - numbers only
        f'<svg class="drawing map-strip" viewBox="0 0 {_WIDTH} {_HEIGHT}" '
        f'preserveAspectRatio="none" aria-hidden="true" focusable="false">{"".join(parts)}</svg>'
    )
