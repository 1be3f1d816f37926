"""Lines of the charts, as SVG."""

from __future__ import annotations

from typing import TypeAlias

Place: TypeAlias = tuple[float, float]


def draw_line(
    start: Place, end: Place, weight: float, shade: str = "#000", dashed: str = ""
) -> str:
    """A line; its weight in the chart's own unit, dashes as ``stroke-dasharray``."""
    dash = f' stroke-dasharray="{dashed}"' if dashed else ""
    return (
        f'<line x1="{start[0]:.2f}" y1="{start[1]:.2f}" x2="{end[0]:.2f}" y2="{end[1]:.2f}" '
        f'stroke="{shade}" stroke-width="{weight}"{dash}/>'
    )
