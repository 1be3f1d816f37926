"""Whether the pitch swings as under a tremulant: the same swing, at one rate, in every partial."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.quantities import CENTS_PER_NEPER

_STEP_S = 0.02
_PERIODS = 4.0


@dataclass(frozen=True, slots=True)
class Limits:
    """When a swing is a tremulant's. Fitted by ``bench mishaps``, except where marked.

    Attributes
    ----------
    seconds : float
        Length of sound examined [s].
    least_hz, most_hz : float
        Rates of tremulants (common practice, no source) [Hz].
    swing_cents : float
        Amplitude [cents].
    share : float
        Share of the pitch's variance explained by the swing [-].
    one_rate : float
        How much the rates of two partials may differ [-]; beats scale with the partial's number.
    """

    seconds: float = 1.0
    least_hz: float = 3.0
    most_hz: float = 9.0
    swing_cents: float = 1.5
    share: float = 0.45
    one_rate: float = 0.15


LIMITS = Limits()


def swings(
    samples: NDArray[np.float32], sample_rate: int, hz: float, limits: Limits = LIMITS
) -> bool:
    """Whether a pipe's pitch swings.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        A second of sound.
    hz : float
        The pipe's mean frequency [Hz].
    """
    if len(samples) < 0.9 * limits.seconds * sample_rate:
        return False
    count = max(1, min(4, int(0.4 * sample_rate / hz)))
    power, cents = _courses(samples, sample_rate, hz, count)
    loudest = np.argsort(power)[::-1][:2]
    rates = []
    for partial in loudest:
        if power[partial] < 0.03 * power.max():
            continue
        rate, swing, share = _periodic(cents[partial], limits)
        if swing < limits.swing_cents or share < limits.share:
            return False
        rates.append(rate)
    return max(rates) - min(rates) <= limits.one_rate * max(rates)


def _courses(
    samples: NDArray[np.float32], sample_rate: int, hz: float, count: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Power of each partial, and its pitch every 20 ms [cents]."""
    step = round(_STEP_S * sample_rate)
    size = max(3 * step, round(_PERIODS / hz * sample_rate))
    window = np.hanning(size)
    starts = np.arange(0, len(samples) - size + 1, step)
    frames = np.lib.stride_tricks.sliding_window_view(samples, size)[starts] * window
    times = np.arange(size) / sample_rate
    numbers = np.arange(1, count + 1)
    turned = frames @ np.exp(-2j * np.pi * hz * np.outer(times, numbers))
    turned *= np.exp(-2j * np.pi * hz * np.outer(starts / sample_rate, numbers))
    turn = np.angle(turned[1:] * turned[:-1].conj()) / (2.0 * np.pi * _STEP_S)
    cents = CENTS_PER_NEPER * turn / (numbers * hz)
    return np.asarray((np.abs(turned) ** 2).mean(axis=0)), np.asarray(cents.T)


def _periodic(cents: NDArray[np.float64], limits: Limits) -> tuple[float, float, float]:
    """Rate [Hz], amplitude [cents] and share of the variance of the best single swing."""
    times = _STEP_S * np.arange(len(cents))
    line = np.polynomial.Polynomial.fit(times, cents, 1)
    left = cents - line(times)
    rates = np.arange(limits.least_hz, limits.most_hz, 0.1)
    turn = np.exp(-2j * np.pi * np.outer(rates, times))
    size = 2.0 * np.abs(turn @ left) / len(left)
    best = int(np.argmax(size))
    return (
        float(rates[best]),
        float(size[best]),
        float(0.5 * size[best] ** 2 / (left.var() + 1e-12)),
    )
