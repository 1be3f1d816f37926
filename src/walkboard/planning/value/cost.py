"""What a pipe out of tune costs the listener.

Unit. Badness 1 is one open flue pipe of average loudness in the middle of its keyboard, wholly out
of tune. Half of that is reached at 2 beats a second against its neighbours in the chorus, or at 8
cents where the pipe is so low that it hardly beats; near its target the badness grows with the
square of the deviation, far off it levels out, because a pipe that is out is out.

    ψ(d) = u²/(1 + u²),  u = d/γ,  1/γ² = (f/1731/b₀)² + 1/c₀²,  b₀ = 2 beats/s, c₀ = 8 cents

The form and its two constants are our own choice, after the custom that beats decide in the middle
and treble and cents in the bass (common practice, no source; no published tolerance of organ tuning
was found). d is the deviation from the target [cents], f the pipe's pitch [Hz]; f·d/1731 is its
beat rate against a pipe that stands right (arithmetic: 1731.234 cents are a ratio of e).

Where a pipe stands is not known exactly: the badness is the mean over a normal forecast.
"""

from __future__ import annotations

import numpy as np
from scipy.special import voigt_profile

from walkboard.planning.choose.arrays import FloatArray
from walkboard.quantities import CENTS_PER_NEPER

HALF_BEATS_HZ = 2.0  # b₀: beats a second at which half the badness is reached
HALF_CENTS = 8.0  # c₀: deviation at which half is reached in the lowest bass

# What tuning leaves, one standard deviation: a flue is left without an audible beat in five to ten
# seconds, 0.1 Hz or so, and no worse than some cents in the bass; a reed to a cent or two (common
# practice, no source).
LEFT_HZ = 0.1
LEFT_LEAST_CENTS, LEFT_MOST_CENTS = 0.2, 1.5
LEFT_REED_CENTS = 1.0


def half_width_cents(hz: FloatArray | float) -> FloatArray:
    """Deviation γ at which a pipe's badness is one half [cents]; broadcasts.

    Examples
    --------
    >>> [round(float(half_width_cents(f)), 2) for f in (32.7, 261.6, 1046.5)]
    [7.98, 6.86, 3.06]
    """
    beats = np.asarray(hz, dtype=np.float64) / (CENTS_PER_NEPER * HALF_BEATS_HZ)
    width: FloatArray = 1.0 / np.sqrt(beats**2 + 1.0 / HALF_CENTS**2)
    return width


def badness(deviation_cents: FloatArray | float, hz: FloatArray | float) -> FloatArray:
    """Badness ψ of a pipe of weight 1 that stands exactly so far off [-], 0 to 1; broadcasts."""
    u2 = (np.asarray(deviation_cents, dtype=np.float64) / half_width_cents(hz)) ** 2
    psi: FloatArray = u2 / (1.0 + u2)
    return psi


def expected_badness(
    deviation_cents: FloatArray | float, sigma_cents: FloatArray | float, hz: FloatArray | float
) -> FloatArray:
    """Mean of ψ where the deviation is known as normal (mean, σ) [-]; broadcasts.

    Parameters
    ----------
    deviation_cents, sigma_cents : float or array
        Mean and standard deviation of where the pipe stands [cents]; σ may be 0.
    hz : float or array
        The pipe's pitch.

    Notes
    -----
    1 − ψ is a Lorentzian of half width γ, so its mean under a normal is the Voigt profile:
    E ψ = 1 − π γ V(d; σ, γ), exact, with V from the Faddeeva function (scipy.special.voigt_profile;
    Johnson's implementation states a relative error below 1e-13). By subtraction from 1 the
    absolute error is about 1e-15.
    """
    gamma = half_width_cents(hz)
    profile = voigt_profile(deviation_cents, sigma_cents, gamma)
    mean: FloatArray = np.maximum(0.0, 1.0 - np.pi * gamma * profile)
    return mean


def left_by_tuning_cents(hz: float, *, reed: bool) -> float:
    """How far off a pipe may be when the tuner leaves it, one standard deviation [cents]."""
    if reed:
        return LEFT_REED_CENTS
    return min(LEFT_MOST_CENTS, max(LEFT_LEAST_CENTS, LEFT_HZ * CENTS_PER_NEPER / hz))
