"""Small drawings of each pipe of a rank over the visits, all to one scale."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime

from markupsafe import Markup

_WIDTH, _HEIGHT = 96.0, 44.0
_MIDDLE = _HEIGHT / 2
_MOST_CENTS = 10.0  # from the line to the edge
_EDGE = 4.0  # beside the first and the last visit


def drift_drawing(
    visits: Sequence[datetime],
    cents: Sequence[float | None],
    tuned: Collection[int],
    stray_cents: float,
) -> Markup:
    """One pipe: how far it was from its rank's line at each visit.

    Parameters
    ----------
    visits : sequence of datetime
        When each visit was opened, the oldest first; the drawing is in scale.
    cents : sequence of float or None
        From the line of that visit [cents]; None where it was not read.
    tuned : collection of int
        Places of the visits at which it was tuned: the curve restarts there.
    stray_cents : float
        Half the height of the band in which a pipe counts as in tune.
    """
    first, span = visits[0], max((visits[-1] - visits[0]).total_seconds(), 1.0)
    scale = (_MIDDLE - 2.0) / _MOST_CENTS

    def x(place: int) -> float:
        if len(visits) == 1:
            return _WIDTH - _EDGE
        share = (visits[place] - first).total_seconds() / span
        return _EDGE + share * (_WIDTH - 2.0 * _EDGE)

    def y(value: float) -> float:
        return _MIDDLE - scale * min(max(value, -_MOST_CENTS), _MOST_CENTS)

    line, isolated, is_drawing = [], [], False
    for place, value in enumerate(cents):
        if value is not None:
            line.append(f"{'L' if is_drawing else 'M'}{x(place):.1f} {y(value):.1f}")
            isolated.append(f"M{x(place) - 1.3:.1f} {y(value):.1f}h2.6")
            is_drawing = True
        if place in tuned:
            is_drawing = False
    ticks = "".join(f"M{x(place):.1f} {_HEIGHT - 5:.0f}v5" for place in sorted(tuned))
    band = stray_cents * scale
    size = f'width="{_WIDTH:.0f}" height="{2 * band:.1f}"'
    parts = [
        f'<rect class="band" x="0" y="{_MIDDLE - band:.1f}" {size}/>',
        f'<path class="ground" d="M0 {_MIDDLE}H{_WIDTH:.0f}"/>',
        f'<path class="drift-line" d="{"".join(line)}"/>',
        f'<path class="drift-dot" d="{"".join(isolated)}"/>',
    ]
    if ticks:
        parts.append(f'<path class="drift-tuned" d="{ticks}"/>')
    last = next((n for n in reversed(range(len(cents))) if cents[n] is not None), None)
    if last is not None:
        value = cents[last]
        assert value is not None
        shape = "call-solid" if abs(value) > stray_cents else "solid"
        parts.append(f'<circle class="{shape}" cx="{x(last):.1f}" cy="{y(value):.1f}" r="3"/>')
    return Markup(  # noqa: S704 - numbers only
        f'<svg class="drawing drift" viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" aria-hidden="true" '
        f'focusable="false">{"".join(parts)}</svg>'
    )
