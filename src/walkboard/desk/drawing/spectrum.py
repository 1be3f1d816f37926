"""The spectrum of a hold as SVG, with the places of the pipe's own partials marked."""

from __future__ import annotations

import numpy as np
from markupsafe import Markup

from walkboard.work.hold_audio import Spectrum

_WIDTH, _HEIGHT = 640.0, 220.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 44.0, 632.0, 10.0, 182.0
_FLOOR_DB = -80.0
_MOST_PARTIALS = 12
_COLUMNS = 420


def spectrum_drawing(spectrum: Spectrum, hz: float) -> Markup:
    """Level against frequency, up to the pipe's twelfth partial.

    Parameters
    ----------
    spectrum : Spectrum
    hz : float
        The pipe's fundamental [Hz]; its partials are numbered along the foot.
    """
    highest = min((_MOST_PARTIALS + 0.6) * hz, float(spectrum.hz[-1]))
    parts = []
    for level in range(0, int(_FLOOR_DB) - 1, -20):
        at = _y(level)
        parts.append(f'<path class="ground" d="M{_LEFT} {at:.1f}H{_RIGHT}"/>')
        text = f"{level}".replace("-", "−")
        parts.append(f'<text x="{_LEFT - 6}" y="{at + 4:.1f}" text-anchor="end">{text}</text>')
    for number in range(1, _MOST_PARTIALS + 1):
        if number * hz > highest:
            break
        x = _LEFT + number * hz / highest * (_RIGHT - _LEFT)
        parts.append(f'<path class="faint" d="M{x:.1f} {_BOTTOM}v7"/>')
        parts.append(f'<text x="{x:.1f}" y="{_BOTTOM + 22}" text-anchor="middle">{number}</text>')
    parts.append(f'<path class="ink" stroke-width="1.3" d="{_curve(spectrum, highest)}"/>')
    return Markup(  # noqa: S704 - numbers only
        f'<svg class="drawing" viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" aria-hidden="true" '
        f'focusable="false">{"".join(parts)}</svg>'
    )


def _curve(spectrum: Spectrum, highest_hz: float) -> str:
    """The loudest in each column, so that no partial falls between two."""
    inside = spectrum.hz <= highest_hz
    column = np.minimum((spectrum.hz[inside] / highest_hz * _COLUMNS).astype(int), _COLUMNS - 1)
    loudest = np.full(_COLUMNS, _FLOOR_DB)
    np.maximum.at(loudest, column, spectrum.level_db[inside])
    width = (_RIGHT - _LEFT) / _COLUMNS
    points = (f"{_LEFT + i * width:.1f} {_y(float(db)):.1f}" for i, db in enumerate(loudest))
    return "M" + "L".join(points)


def _y(level_db: float) -> float:
    return _TOP + max(level_db, _FLOOR_DB) / _FLOOR_DB * (_BOTTOM - _TOP)
