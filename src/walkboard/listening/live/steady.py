"""A steady look: the whole machinery of one hold on the part of it heard so far."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.hold.estimate import estimate
from walkboard.listening.hold.place import numbers_below
from walkboard.listening.hold.spectrum import (
    envelopes,
    noise_floor,
    running_mean_s,
    spectrum_of_hold,
)
from walkboard.quantities import CENTS_PER_NEPER

_COHERENT = 0.5
_MOST_PARTIALS = 40
_SLIPPED_CYCLES = 0.7


@dataclass(frozen=True, slots=True)
class Steady:
    """Mean frequency over a window.

    Attributes
    ----------
    hz, sigma_cents : float
    seconds : float
        Of the window.
    """

    hz: float
    sigma_cents: float
    seconds: float


def steady_look(samples: NDArray[np.float32], sample_rate: int, near_hz: float) -> Steady | None:
    """Measure a pipe that is known to stand within a few cents of `near_hz`.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Since the pipe was last moved; 14 periods or more.
    near_hz : float
        From the quick look [Hz].

    Returns
    -------
    Steady or None
        None where its course leaves most of the power unsteady, as while it is being moved.
    """
    spectrum = spectrum_of_hold(samples[:, np.newaxis], sample_rate)
    numbers = numbers_below(near_hz, sample_rate, _MOST_PARTIALS)
    floor = noise_floor(spectrum, near_hz, numbers)
    edge_s = 2.0 * running_mean_s(near_hz)
    window = (edge_s, spectrum.seconds - edge_s)
    if window[1] - window[0] < 0.15:
        return None
    env = envelopes(spectrum, near_hz, numbers, floor, window)
    try:
        found = estimate(env)
    except np.linalg.LinAlgError:
        return None
    if found.coherence < _COHERENT or found.slip_cycles > _SLIPPED_CYCLES or found.hz <= 0.0:
        return None
    sigma_cents = CENTS_PER_NEPER * found.sigma_hz / found.hz
    if not np.isfinite(sigma_cents):
        return None
    return Steady(found.hz, sigma_cents, env.values.shape[2] * env.spacing_s)
