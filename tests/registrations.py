"""Several pipes in one hold whose truth is known, made without any code of Walkboard."""

from __future__ import annotations

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from tests.signals import partial_levels, room, tone, wind

RATE = 48_000


def scene(
    fundamentals_hz: tuple[float, ...],
    kinds: tuple[str, ...],
    rng: np.random.Generator,
    *,
    seconds: float,
    faintest_db: float,
    wander_cents: float,
    dead: int | None = None,
    cents: tuple[float, ...] | None = None,
    levels_db: tuple[float, ...] | None = None,
) -> tuple[NDArray[np.float64], list[NDArray[np.float64]]]:
    """Samples (n, 1) of a hold and the phase course of each pipe [cycles].

    Detuned at random, or by `cents`; levels at random down to `faintest_db`, or `levels_db`.
    """
    count = round(seconds * RATE)
    times = np.arange(count) / RATE
    levels = rng.uniform(faintest_db, 0.0, len(kinds))
    if levels_db is not None:
        levels = np.array(levels_db)
    levels -= levels.max()
    dry = np.zeros(count)
    courses = []
    for pipe, (due_hz, kind) in enumerate(zip(fundamentals_hz, kinds, strict=True)):
        out = float(np.clip(rng.normal(0.0, 4.0), -15.0, 15.0))
        out = out if cents is None else cents[pipe]
        hz = due_hz * 2.0 ** (out / 1200.0)
        amplitudes = partial_levels(kind, hz, rng, 10_000.0)
        amplitudes *= 10.0 ** (levels[pipe] / 20.0) / np.sqrt((amplitudes**2).sum())
        wander = rng.uniform(0.0, wander_cents)
        sound, cycles = tone(hz, amplitudes, seconds, RATE, rng, wander_cents=wander)
        speech_s = min(0.3, 0.03 + 8.0 / hz)
        if pipe != dead:
            dry += sound * (1.0 - np.exp(-((times / speech_s) ** 2) * 3.0))
        courses.append(cycles)
    heard = scipy.signal.fftconvolve(dry, room(2.5, -3.0, RATE, rng))[:count]
    heard /= np.sqrt(np.mean(heard[count // 2 :] ** 2))
    heard += 10.0 ** (-30.0 / 20.0) * wind(count, RATE, rng)
    return 0.1 * heard[:, np.newaxis], courses


def mean_hz(cycles: NDArray[np.float64], start_s: float, end_s: float) -> float:
    """Phase run through in a window over its length."""
    times = np.arange(len(cycles)) / RATE
    first, last = np.interp([start_s, end_s], times, cycles)
    return float((last - first) / (end_s - start_s))
