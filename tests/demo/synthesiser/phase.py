"""Frequency by the advance of phase: a reference that knows nothing of the synthesiser.

Two windows of a sound, a known time apart, are compared with a tone near the partial (discrete-time
Fourier transform at one frequency); the advance of phase beyond that tone's, over the time between,
is what the partial's frequency has more. Blackman–Harris windows (Harris 1978, Proc. IEEE 66:51)
keep other partials 92 dB down.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.signal.windows import blackmanharris


def turns(
    samples: NDArray[Any], sample_rate: float, hz: float, centre_s: float, wide_s: float
) -> float:
    """Phase of a partial at a time, beyond a tone of `hz` that starts at time 0 [cycles]."""
    half = round(0.5 * wide_s * sample_rate)
    centre = round(centre_s * sample_rate)
    time_s = np.arange(centre - half, centre + half) / sample_rate
    window = blackmanharris(2 * half, sym=False)
    piece = samples[centre - half : centre + half].astype(np.float64)
    value = np.sum(window * piece * np.exp(-2j * np.pi * hz * time_s))
    return float(np.angle(value) / (2.0 * np.pi))


def frequency_hz(  # noqa: PLR0917
    samples: NDArray[Any],
    sample_rate: float,
    near_hz: float,
    from_s: float,
    to_s: float,
    wide_s: float,
) -> float:
    """Mean frequency of a partial between two times [Hz], `near_hz` within half a turn of it."""
    # both centres on whole samples, so that the time between them is exact
    first, last = round(from_s * sample_rate), round(to_s * sample_rate)
    advance = turns(samples, sample_rate, near_hz, last / sample_rate, wide_s) - turns(
        samples, sample_rate, near_hz, first / sample_rate, wide_s
    )
    advance -= round(advance)
    return near_hz + advance * sample_rate / (last - first)
