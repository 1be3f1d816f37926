"""What an ear can hear: difference limens, roughness, and how fast celestes beat.

Two pipes sounding together betray far smaller deviations, by their beats, than any limen here; the
cost of a pipe left out of tune is built on beats, these figures set its scale.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from walkboard.quantities import cents_between

# Just-noticeable differences, Kollmeier et al. 2008 as quoted by an encyclopaedia's article.
COMPLEX_TONE_LIMEN_HZ = 1.0  # Hz, complex tones below 500 Hz
SINE_LIMEN_BELOW_500_HZ = 3.0  # Hz, sines below 500 Hz
SINE_LIMEN_ABOVE_1000_FRACTION = 0.006  # of the frequency, sines above 1 kHz: 10 cents

# Sethares 1993, JASA 94:1218; constants as in the author's published program.
_SLOW, _FAST = 3.51, 5.75
_REACH, _PER_HZ, _OFFSET_HZ = 0.24, 0.0207, 18.96

PEAK_ARGUMENT = math.log(_FAST / _SLOW) / (_FAST - _SLOW)  # 0.22035: where two tones are roughest
PEAK_ROUGHNESS = math.exp(-_SLOW * PEAK_ARGUMENT) - math.exp(-_FAST * PEAK_ARGUMENT)  # 0.17976


@dataclass(frozen=True, slots=True)
class CelesteCustom:
    """How fast a kind of celeste is usually set to beat against its partner.

    Attributes
    ----------
    kind : str
    low_hz, high_hz : float
        Beats a second [Hz] in the middle of the compass.
    source : str
    """

    kind: str
    low_hz: float
    high_hz: float
    source: str


CELESTE_CUSTOMS = (
    CelesteCustom("vox angelica", 3.0, 3.0, "forum of Mander Organ Builders"),
    CelesteCustom("strings", 1.0, 2.0, "page of a theatre organ society (toff)"),
    CelesteCustom("street organ", 7.0, 7.0, "Mechanical Music Digest, 24 January 1998"),
)


def pure_tone_limen_hz(hz: float) -> float:
    """Smallest change of a sine that is noticed half the time [Hz].

    Parameters
    ----------
    hz : float
        Its frequency [Hz], 200 to 8000.

    Raises
    ------
    ValueError
        When the frequency lies outside that.

    Notes
    -----
    log₁₀ DLF = 0.026 √f − 0.533. Wier, Jesteadt and Green 1977, JASA 61:178 (from memory), at 40 dB
    above threshold. Range 200 to 8000 Hz. Known error: listeners differ by a factor of two.
    """
    if not 200.0 <= hz <= 8000.0:
        raise ValueError(f"the limen was measured from 200 to 8000 Hz, not at {hz!r} Hz")
    return float(10.0 ** (0.026 * math.sqrt(hz) - 0.533))


def pure_tone_limen_cents(hz: float) -> float:
    """The same in cents: 4.0 at 440 Hz, 3.4 at 1 kHz [cents]."""
    return cents_between(hz, hz + pure_tone_limen_hz(hz))


def roughness(
    first_hz: float, second_hz: float, first_level: float = 1.0, second_level: float = 1.0
) -> float:
    """Roughness of two sines sounding together [-]; 0 in unison, 0.18 at its worst.

    Parameters
    ----------
    first_hz, second_hz : float
        [Hz].
    first_level, second_level : float
        Amplitudes; the smaller of the two counts.

    Notes
    -----
    min(a₁, a₂)·(e^(−3.51 s Δf) − e^(−5.75 s Δf)), s = 0.24/(0.0207 f_low + 18.96). Sethares 1993,
    JASA 94:1218 (the minimum of the amplitudes is his later form, in 1993 their product), fitted to
    Plomp and Levelt 1965, JASA 38:548: roughest near a quarter of the critical band. Range 100 Hz
    to 4 kHz by their data; source states no error. Without the factor 5 of the author's program.
    """
    low = min(first_hz, second_hz)
    reached = _reach_per_hz(low) * abs(second_hz - first_hz)
    return min(first_level, second_level) * (
        math.exp(-_SLOW * reached) - math.exp(-_FAST * reached)
    )


def most_rough_difference_hz(hz: float) -> float:
    """How far above a sine a second one must lie to be roughest with it [Hz].

    Notes
    -----
    PEAK_ARGUMENT/s of `roughness`. 25.8 Hz, 98 cents, at 440 Hz.
    """
    return PEAK_ARGUMENT / _reach_per_hz(hz)


def roughness_of_spectrum(frequencies_hz: ArrayLike, levels: ArrayLike) -> float:
    """Roughness of all pairs of partials that sound together [-].

    Parameters
    ----------
    frequencies_hz : array_like, shape (partials,)
        Of all pipes that sound [Hz].
    levels : array_like, shape (partials,)
        Their amplitudes.

    Raises
    ------
    ValueError
        When the two do not have the same length.

    Notes
    -----
    Sum of `roughness` over the pairs: Sethares 1993, JASA 94:1218.
    """
    hz = np.asarray(frequencies_hz, dtype=np.float64)
    level = np.asarray(levels, dtype=np.float64)
    if hz.ndim != 1 or hz.shape != level.shape:
        raise ValueError(f"one level for each frequency is needed, not {hz.shape}, {level.shape}")
    first, second = np.triu_indices(hz.size, 1)
    low = np.minimum(hz[first], hz[second])
    reached = _REACH / (_PER_HZ * low + _OFFSET_HZ) * np.abs(hz[second] - hz[first])
    weight = np.minimum(level[first], level[second])
    return float(np.sum(weight * (np.exp(-_SLOW * reached) - np.exp(-_FAST * reached))))


def _reach_per_hz(low_hz: float) -> float:
    return _REACH / (_PER_HZ * low_hz + _OFFSET_HZ)
