"""Reed pipes: the tongue's pitch by its length, and how far to move the tuning spring.

The frequency of a tongue goes as its speaking length to the power −n. An ideal clamped bar has n =
2; curved brass tongues on their shallots were measured at n = 1. The exponent is an argument,
between 1 and 2, to be learned from the tuner's readings before and after a move.
"""

from __future__ import annotations

import math

from walkboard.quantities import CENTS_PER_NEPER, ratio_of_cents

FIRST_BAR_ROOT = 1.8751040687  # first root of cosh x · cos x = −1, clamped-free bar
BAR_CONSTANT = FIRST_BAR_ROOT**2 / (2.0 * math.pi * math.sqrt(12.0))  # 0.16154
IDEAL_EXPONENT = 2.0  # Euler-Bernoulli
MEASURED_EXPONENT = 1.0  # Plitnik and Knox 1995; the record's tolerance is ±0.3

BRASS_YOUNG_PA = 105e9  # Pa; handbooks give 100 to 110 GPa; from memory
BRASS_DENSITY_KG_M3 = 8500.0  # kg/m³; handbooks give 8400 to 8600; from memory
BRASS_YOUNG_PER_K = -4e-4  # relative change of Young's modulus per kelvin, ±30 %; from memory
BRASS_EXPANSION_PER_K = 1.9e-5  # relative change of length per kelvin; from memory

_USUAL_HZ, _USUAL_THICKNESS_MM = 65.4, 0.7
_THICKNESS_SLOPE = math.log(0.2 / 0.7) / math.log(1046.5 / 65.4)


def ideal_tongue_hz(
    thickness_mm: float,
    length_mm: float,
    young_pa: float = BRASS_YOUNG_PA,
    density_kg_m3: float = BRASS_DENSITY_KG_M3,
) -> float:
    """Frequency of a uniform clamped bar, an ideal tongue [Hz].

    Parameters
    ----------
    thickness_mm, length_mm : float
        Thickness and length of the vibrating part [mm].
    young_pa : float
        Young's modulus [Pa].
    density_kg_m3 : float

    Notes
    -----
    f = 0.16154 (t/L²) √(E/ρ). Euler-Bernoulli bar; Fletcher and Rossing, The Physics of Musical
    Instruments, ch. 2 (from memory). Thin flat bars without a shallot or air. Known error: a real
    curved tongue follows L⁻¹ rather than L⁻²; use it for orders of size only.
    """
    stiffness_m_s = math.sqrt(young_pa / density_kg_m3)
    return BAR_CONSTANT * (1e-3 * thickness_mm) / (1e-3 * length_mm) ** 2 * stiffness_m_s


def cents_per_mm(length_mm: float, exponent: float = MEASURED_EXPONENT) -> float:
    """How the pitch changes with the tongue's length [cents/mm]; negative, longer is flatter.

    Parameters
    ----------
    length_mm : float
        Speaking length of the tongue [mm].
    exponent : float
        n in f ∝ L⁻ⁿ [-], 1 to 2.

    Raises
    ------
    ValueError
        If the exponent is outside 1 to 2 or the length is not positive.

    Notes
    -----
    −1731.23 n/L. n = 1: Plitnik and Knox, 130th meeting of the Acoustical Society of America, 1995,
    abstract 4pMU4, for curved brass tongues on three kinds of shallot; source states no range. n =
    2: Euler-Bernoulli. Known error: the resonator pulls the pitch, so a reed pipe moves less than
    its tongue.
    """
    _check(length_mm, exponent)
    return -exponent * CENTS_PER_NEPER / length_mm


def tongue_mm_for_cents(
    length_mm: float, cents: float, exponent: float = MEASURED_EXPONENT
) -> float:
    """How much to change the tongue's speaking length [mm]; positive is longer, spring up.

    Parameters
    ----------
    length_mm : float
        Speaking length now [mm].
    cents : float
        Wanted change of pitch [cents]; positive is sharper.
    exponent : float
        n in f ∝ L⁻ⁿ [-], 1 to 2.

    Raises
    ------
    ValueError
        If the exponent is outside 1 to 2 or the length is not positive.

    Notes
    -----
    L (2^(−cents/(1200 n)) − 1), exact for the law of `cents_per_mm`.
    """
    _check(length_mm, exponent)
    return length_mm * (ratio_of_cents(-cents / exponent) - 1.0)


def usual_tongue_mm(hz: float) -> tuple[float, float]:
    """Usual range of the speaking length of a reed's tongue [mm].

    Parameters
    ----------
    hz : float
        Frequency of the pipe [Hz].

    Raises
    ------
    ValueError
        When the frequency is not positive.

    Notes
    -----
    The ideal bar of `ideal_tongue_hz` solved for its length, at thicknesses of 0.7 mm at 65 Hz to
    0.2 mm at 1 kHz and half as much again to either side (common practice, no source; from memory).
    An order of size: scales, weights and curves of tongues differ from builder to builder.
    """
    if not hz > 0.0:
        raise ValueError(f"a frequency must be positive, not {hz!r} Hz")
    usual_mm = _USUAL_THICKNESS_MM * (hz / _USUAL_HZ) ** _THICKNESS_SLOPE
    speed_m_s = math.sqrt(BRASS_YOUNG_PA / BRASS_DENSITY_KG_M3)
    lengths = [
        1e3 * math.sqrt(BAR_CONSTANT * 1e-3 * usual_mm * factor * speed_m_s / hz)
        for factor in (1.0 / 1.5, 1.5)
    ]
    return lengths[0], lengths[1]


def exponent_of_readings(before_mm: float, after_mm: float, cents: float) -> float:
    """The exponent n that one move of the spring shows [-].

    Parameters
    ----------
    before_mm, after_mm : float
        Speaking length of the tongue [mm].
    cents : float
        How much the pitch rose [cents].

    Raises
    ------
    ValueError
        If a length is not positive, or the two are equal.

    Notes
    -----
    n = −cents / (1731.23 ln(after/before)). Not limited to 1 to 2: a value far outside says that
    something else moved.
    """
    if not (before_mm > 0.0 and after_mm > 0.0) or before_mm == after_mm:
        raise ValueError(f"two different lengths are needed, not {before_mm!r} and {after_mm!r} mm")
    return -cents / (CENTS_PER_NEPER * math.log(after_mm / before_mm))


def tongue_cents_per_celsius(
    young_per_k: float = BRASS_YOUNG_PER_K, expansion_per_k: float = BRASS_EXPANSION_PER_K
) -> float:
    """How the pitch of a bare tongue changes with temperature [cents/°C].

    Notes
    -----
    f ∝ (t/L²)√(E/ρ): half the relative change of E, and half the expansion (t rises by one, L² by
    two, √(1/ρ) by one and a half parts). −0.33 for brass. Derived; the coefficient of E is from
    memory, ±30 %. A whole reed pipe follows the air in part besides, full-length resonators most,
    short ones least (no figure was found).
    """
    return CENTS_PER_NEPER * 0.5 * (young_per_k + expansion_per_k)


def _check(length_mm: float, exponent: float) -> None:
    if not length_mm > 0.0:
        raise ValueError(f"a tongue's length must be positive, not {length_mm!r} mm")
    if not MEASURED_EXPONENT <= exponent <= IDEAL_EXPONENT:
        raise ValueError(f"the exponent of a tongue lies from 1 to 2, not {exponent!r}")
