"""Sounds for the live tracker with known truth: pipes that are moved, rooms, two at once.

Made of the pieces of `tests.signals`, without any code of Walkboard.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from tests.signals import Note, partial_levels, room, wind

RATE = 48_000
BLOCK = 480


def moved(
    hz: float,
    cents: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    kind: str,
    rng: np.random.Generator,
    *,
    seconds: float,
    snr_db: float = 30.0,
    reverberation_s: float = 2.0,
    direct_db: float = 0.0,
    lead_s: float = 0.3,
) -> Note:
    """A pipe whose pitch follows `cents` of the time since the key went down [s]."""
    count = round(seconds * RATE)
    times = np.arange(count) / RATE
    course = hz * 2.0 ** (cents(times) / 1200.0)
    cycles = np.cumsum(course) / RATE
    amplitudes = partial_levels(kind, hz, rng, 10_000.0)
    sound = np.zeros(count)
    for number, amplitude in enumerate(amplitudes, start=1):
        sound += amplitude * np.cos(2.0 * np.pi * (number * cycles + rng.random()))
    sound *= 1.0 - np.exp(-3.0 * (times / 0.06) ** 2)
    if reverberation_s:
        response = room(reverberation_s, direct_db, RATE, rng)
        sound = scipy.signal.fftconvolve(sound, response)[:count]
    sound /= np.sqrt(np.mean(sound[count // 2 :] ** 2))
    lead = round(lead_s * RATE)
    sound = np.concatenate([np.zeros(lead), sound])
    sound += 10.0 ** (-snr_db / 20.0) * wind(len(sound), RATE, rng)
    whole = np.concatenate([np.zeros(lead), cycles])
    return Note(0.1 * sound[:, np.newaxis], RATE, whole)


def still(times: NDArray[np.float64]) -> NDArray[np.float64]:
    """A pipe that nobody touches."""
    return np.zeros_like(times)
