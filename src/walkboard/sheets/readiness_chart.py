"""Readiness along the calendar, as SVG: each event's badness without and with a visit."""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape

from walkboard.planning.readiness import Readiness

_WIDTH, _ROW, _LEFT, _RIGHT = 178.0, 11.0, 74.0, 150.0
_FONT = "DejaVu Sans Mono"


def draw_readiness(found: Sequence[Readiness]) -> str:
    """SVG of the coming events, one row each, 178 mm wide."""
    height = 14.0 + _ROW * max(1, len(found))
    most = max([one.as_it_is.badness for one in found], default=1.0) or 1.0
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH}mm" height="{height}mm" '
        f'viewBox="0 0 {_WIDTH} {height}" font-family="{_FONT}" font-size="2.9">'
    )
    parts = [head]
    for row, one in enumerate(found):
        y = 4.0 + _ROW * row
        ready = "ready" if one.as_it_is.is_ready else "not ready"
        visited = "ready" if one.visited.is_ready else "not ready"
        title = escape(one.occasion.title[:36])
        parts += [
            f'<text x="2" y="{y + 2.6:.2f}">{one.occasion.at.isoformat()}</text>',
            f'<text x="2" y="{y + 6.6:.2f}">{title}</text>',
            _bar(y, one.as_it_is.badness / most, "#000"),
            _bar(y + 4.0, one.visited.badness / most, "#999"),
            f'<text x="{_RIGHT + 2:.2f}" y="{y + 2.6:.2f}">{ready}</text>',
            f'<text x="{_RIGHT + 2:.2f}" y="{y + 6.6:.2f}">{visited}</text>',
        ]
    words = "black: as it is, grey: after a visit before it; length: badness expected"
    parts.append(f'<text x="2" y="{height - 3:.2f}">{words}</text>')
    return "\n".join([*parts, "</svg>"])


def _bar(y: float, share: float, shade: str) -> str:
    width = max(0.2, (_RIGHT - _LEFT) * share)
    return f'<rect x="{_LEFT}" y="{y:.2f}" width="{width:.2f}" height="3" fill="{shade}"/>'
