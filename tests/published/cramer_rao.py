"""Cramér–Rao bounds: how exactly a pipe's frequency could be measured at all.

No unbiased estimate from the same samples has a smaller variance. In white noise only; the wander
of a real pipe is far larger than these bounds. A microphone's signal is real: its bound has the
factor 24 where that of a complex signal with the same noise in each part has 12.

Conventions. Amplitudes are peak amplitudes of cosines, the noise its standard deviation a sample,
angular frequencies radians a sample.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from walkboard.quantities import CENTS_PER_NEPER


def tone_omega_variance(samples: int, amplitude: float, noise_sigma: float) -> float:
    """Least variance of the angular frequency of one real tone [(rad/sample)²].

    Parameters
    ----------
    samples : int
        N, at least 2.
    amplitude : float
        Peak amplitude A.
    noise_sigma : float
        Standard deviation of the white noise.

    Raises
    ------
    ValueError
        When there are too few samples or no tone.

    Notes
    -----
    24 σ²/(A² N (N² − 1)). Rife and Boorstyn 1974, IEEE Trans. Inf. Theory 20:591, for a complex
    tone; for a real one Kay, Fundamentals of Statistical Signal Processing: Estimation Theory,
    1993, with η = A²/(2σ²). Range: not near 0 or half the sampling rate, many periods; a few per
    mille off at 200 periods, more with fewer (see `exact_omega_variance`).
    """
    return harmonic_omega_variance(samples, [amplitude], noise_sigma)


def harmonic_omega_variance(samples: int, amplitudes: ArrayLike, noise_sigma: float) -> float:
    """Least variance of the fundamental of a real harmonic series [(rad/sample)²].

    Parameters
    ----------
    samples : int
        N, at least 2.
    amplitudes : array_like, shape (partials,)
        Peak amplitudes of partials 1, 2, 3 …; 0 if there is none.
    noise_sigma : float
        Standard deviation of the white noise.

    Raises
    ------
    ValueError
        When there are too few samples or no partial.

    Notes
    -----
    24 σ²/(N (N² − 1) Σ l² A_l²). Christensen and Jakobsson, Multi-Pitch Estimation, 2009; Nielsen
    et al. 2017 (from memory, confirmed by `exact_omega_variance`). Range as above.
    """
    levels = np.asarray(amplitudes, dtype=np.float64)
    numbers = np.arange(1, levels.size + 1)
    weight = float(np.sum((numbers * levels) ** 2))
    if samples < 2 or not weight > 0.0:
        raise ValueError(f"at least two samples and one partial are needed, not {samples} samples")
    return 24.0 * noise_sigma**2 / (samples * (samples**2 - 1.0) * weight)


def exact_omega_variance(
    samples: int, omega: float, amplitudes: ArrayLike, phases: ArrayLike, noise_sigma: float
) -> float:
    """The same without approximation, from the inverse of Fisher's matrix [(rad/sample)²].

    Parameters
    ----------
    samples : int
        N.
    omega : float
        Angular frequency of the fundamental [rad/sample].
    amplitudes, phases : array_like, shape (partials,)
        Peak amplitudes, and phases at the first sample [rad], of partials 1, 2, 3 …
    noise_sigma : float

    Notes
    -----
    Kay 1993, ch. 3: the matrix of ω and every amplitude and phase for white Gaussian noise. For
    short windows and few periods, where the closed form is off by per cents.
    """
    n = np.arange(samples)
    levels = np.asarray(amplitudes, dtype=np.float64)
    angles = np.asarray(phases, dtype=np.float64)
    numbers = np.arange(1, levels.size + 1)
    arguments: NDArray[np.float64] = np.outer(n, numbers * omega) + angles
    # the linear parts of each partial span the same space as its amplitude and phase do
    nuisance = np.hstack([np.cos(arguments), np.sin(arguments)])
    slope = -n * (np.sin(arguments) @ (numbers * levels))
    solved, *_ = np.linalg.lstsq(nuisance, slope, rcond=None)
    rest = slope - nuisance @ solved
    return float(noise_sigma**2 / (rest @ rest))


def sigma_cents(omega_variance: float, hz: float, sample_rate: float) -> float:
    """A variance of angular frequency as a standard deviation at a pitch [cents].

    Parameters
    ----------
    omega_variance : float
        [(rad/sample)²].
    hz : float
        Frequency that the variance is of [Hz].
    sample_rate : float
        [Hz].
    """
    return CENTS_PER_NEPER * math.sqrt(omega_variance) * sample_rate / (2.0 * math.pi * hz)


def tone_sigma_cents(hz: float, seconds: float, sample_rate: float, snr_db: float) -> float:
    """Least standard deviation of the pitch of one tone [cents].

    Parameters
    ----------
    hz, seconds, sample_rate : float
        Frequency [Hz], length of the window [s], sampling rate [Hz].
    snr_db : float
        Power of the tone over that of the noise, over the full band [dB]: A²/(2σ²).

    Notes
    -----
    From `tone_omega_variance`; falls as T^−1.5. At 440 Hz, 20 dB and 48 kHz: 0.001 cent in 1 s.
    """
    amplitude = math.sqrt(2.0) * 10.0 ** (snr_db / 20.0)
    variance = tone_omega_variance(round(seconds * sample_rate), amplitude, 1.0)
    return sigma_cents(variance, hz, sample_rate)


def harmonic_sigma_cents(
    hz: float, seconds: float, sample_rate: float, amplitudes: Sequence[float], snr_db: float
) -> float:
    """Least standard deviation of the pitch of a harmonic series [cents].

    Parameters
    ----------
    hz, seconds, sample_rate : float
        Fundamental [Hz], length of the window [s], sampling rate [Hz].
    amplitudes : sequence of float
        Peak amplitudes of partials 1, 2, 3 … in any one unit.
    snr_db : float
        Power of all partials together over that of the noise, over the full band [dB].
    """
    levels = np.asarray(amplitudes, dtype=np.float64)
    noise_sigma = math.sqrt(0.5 * float(np.sum(levels**2))) * 10.0 ** (-snr_db / 20.0)
    variance = harmonic_omega_variance(round(seconds * sample_rate), levels, noise_sigma)
    return sigma_cents(variance, hz, sample_rate)


def resolution_hz(seconds: float) -> float:
    """How far apart two tones must be to be resolved without knowing more [Hz]: about 1/T.

    Notes
    -----
    Width of the main lobe of a window of T seconds; no bound, a rule. Modelled pairs are separated
    below it at the price of a larger variance.
    """
    return 1.0 / seconds
