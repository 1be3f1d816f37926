"""Units, signs and the constants of music: one vocabulary for the whole program.

Signs: a deviation in cents is positive when the pipe is **sharp** of what it is compared with; a
tempering is positive when the interval is **wide**; a beat rate carries the sign of the width.
Units stand in names: ``_hz``, ``_cents``, ``_celsius``, ``_mm``, ``_m``, ``_s``, ``_pa``, ``_db``,
``_minutes``. Inside the program each quantity has one unit; conversion happens at the border.
"""

from __future__ import annotations

import math

CENTS_PER_OCTAVE = 1200.0  # definition: Ellis 1885, 1200 cents to the octave
CENTS_PER_NEPER = CENTS_PER_OCTAVE / math.log(2.0)  # 1731.234 cents for a ratio of e


def cents_of_ratio(ratio: float) -> float:
    """Size of a frequency ratio [cents], positive for a ratio above one.

    Raises
    ------
    ValueError
        When the ratio is not a positive finite number.
    """
    if not (ratio > 0.0 and math.isfinite(ratio)):
        raise ValueError(f"a frequency ratio must be positive and finite, not {ratio!r}")
    return CENTS_PER_NEPER * math.log(ratio)


def ratio_of_cents(cents: float) -> float:
    """Frequency ratio [-] of a size in cents."""
    return float(2.0 ** (cents / CENTS_PER_OCTAVE))
