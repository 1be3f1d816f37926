"""A steady look: the full estimate of one hold, on the part of it heard so far."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.hold.estimate import estimate
from walkboard.listening.hold.place import numbers_below
from walkboard.listening.hold.spectrum import (
    Envelopes,
    envelopes,
    noise_floor,
    running_mean_s,
    spectrum_of_hold,
)
from walkboard.listening.live.company import Company, company_of
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
        Length of the window.
    company : Company or None
        What else sounds, judged by the partials; None if that was not checked.
    """

    hz: float
    sigma_cents: float
    seconds: float
    company: Company | None = None


def steady_look(
    samples: NDArray[np.float32], sample_rate: int, near_hz: float, filled_s: float = np.inf
) -> Steady | None:
    """Measure a pipe known to be within a few cents of `near_hz`.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Since the pipe was last moved; 14 periods or more.
    near_hz : float
        From the quick look [Hz].
    filled_s : float
        How long the room had filled when the samples began [s].

    Returns
    -------
    Steady or None
        None if its course leaves most of the power unsteady, as while it is being tuned. If another
        pipe covers all partials (`company.is_hidden`), the value is not the pipe's.
    """
    spectrum = spectrum_of_hold(samples[:, np.newaxis], sample_rate)
    numbers = numbers_below(near_hz, sample_rate, _MOST_PARTIALS)
    floor = noise_floor(spectrum, near_hz, numbers)
    edge_s = 2.0 * running_mean_s(near_hz)
    window = (edge_s, spectrum.seconds - edge_s)
    if window[1] - window[0] < 0.15:
        return None
    env = envelopes(spectrum, near_hz, numbers, floor, window)
    seconds = env.values.shape[2] * env.spacing_s
    company = company_of(env, filled_s + edge_s)
    is_hidden = company is not None and company.is_hidden
    if company is not None and not is_hidden:
        env = _some(env, company.own(env.numbers))
    try:
        found = estimate(env)
    except np.linalg.LinAlgError:
        return Steady(near_hz, np.inf, seconds, company) if is_hidden else None
    sigma_cents = CENTS_PER_NEPER * found.sigma_hz / max(found.hz, 1e-9)
    is_sound = found.coherence >= _COHERENT and found.slip_cycles <= _SLIPPED_CYCLES
    if is_sound and found.hz > 0.0 and np.isfinite(sigma_cents):
        return Steady(found.hz, sigma_cents, seconds, company)
    return Steady(near_hz, np.inf, seconds, company) if is_hidden else None


def _some(env: Envelopes, kept: NDArray[np.bool_]) -> Envelopes:
    if kept.all():
        return env
    values, noise = env.values[:, kept], env.noise[:, kept]
    return replace(env, values=values, numbers=env.numbers[kept], noise=noise)
