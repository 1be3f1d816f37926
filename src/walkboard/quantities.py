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

PURE_FIFTH_CENTS = CENTS_PER_OCTAVE * math.log2(3 / 2)  # 701.955 cents, arithmetic
PURE_MAJOR_THIRD_CENTS = CENTS_PER_OCTAVE * math.log2(5 / 4)  # 386.314 cents, arithmetic
PYTHAGOREAN_COMMA_CENTS = CENTS_PER_OCTAVE * math.log2(3**12 / 2**19)  # 23.460 cents, arithmetic
SYNTONIC_COMMA_CENTS = CENTS_PER_OCTAVE * math.log2(81 / 80)  # 21.506 cents, arithmetic
SCHISMA_CENTS = PYTHAGOREAN_COMMA_CENTS - SYNTONIC_COMMA_CENTS  # 1.954 cents, arithmetic
DIESIS_CENTS = CENTS_PER_OCTAVE * math.log2(128 / 125)  # 41.059 cents: octave less three thirds

ZERO_CELSIUS_K = 273.15  # K; definition of the degree Celsius, SI brochure 2019
STANDARD_GRAVITY_M_S2 = 9.80665  # m/s²; conventional value, 3rd CGPM 1901
CONVENTIONAL_WATER_KG_M3 = 1000.0  # kg/m³; the water of a conventional water gauge (ISO 31-3)
MM_PER_INCH = 25.4  # definition of the international inch, 1959


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


def cents_between(from_hz: float, to_hz: float) -> float:
    """How far one frequency is above another [cents]: positive if `to_hz` is sharper.

    Raises
    ------
    ValueError
        When a frequency is not positive and finite.
    """
    for hz in (from_hz, to_hz):
        if not (hz > 0.0 and math.isfinite(hz)):
            raise ValueError(f"a frequency must be positive and finite, not {hz!r} Hz")
    return cents_of_ratio(to_hz / from_hz)


def hz_per_cent(hz: float) -> float:
    """Change of a frequency per cent, for small changes [Hz/cent]."""
    return hz / CENTS_PER_NEPER
