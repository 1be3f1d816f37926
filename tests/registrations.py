"""Several pipes in one hold whose truth is known, made without any code of Walkboard."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from tests.signals import partial_levels, room, tone, wind

RATE = 48_000


@dataclass(frozen=True)
class Voice:
    """How a rank sounds along its keys: loudness and spectrum go on from key to key.

    Loudness changes evenly by `tilt_db` over five octaves, and so does each partial's departure
    from the kind's shape, from `low_db` to `high_db`; each pipe departs from its rank by 1.5 dB in
    loudness and 2.2 dB a partial. All figures are assumptions, not measured on organs.
    """

    kind: str
    loudness_db: float
    tilt_db: float
    low_db: NDArray[np.float64]
    high_db: NDArray[np.float64]

    @classmethod
    def drawn(cls, kind: str, rng: np.random.Generator, faintest_db: float) -> Voice:
        middle, drift = rng.normal(0.0, 2.0, 96), rng.normal(0.0, 2.0, 96)
        loudness_db, tilt_db = rng.uniform(faintest_db, 0.0), rng.normal(0.0, 3.0)
        return cls(kind, loudness_db, tilt_db, middle - 0.5 * drift, middle + 0.5 * drift)

    def pipe(
        self, octaves: float, hz: float, rng: np.random.Generator
    ) -> tuple[float, NDArray[np.float64]]:
        """Loudness [dB] and amplitudes of the pipe so many octaves above the lowest key."""
        amplitudes = partial_levels(self.kind, hz, rng, 10_000.0, 2.2)
        share = octaves / 5.0
        own_db = (1.0 - share) * self.low_db + share * self.high_db
        loudness_db = self.loudness_db + (share - 0.5) * self.tilt_db + rng.normal(0.0, 1.5)
        return loudness_db, amplitudes * 10.0 ** (own_db[: len(amplitudes)] / 20.0)


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
    shapes: Sequence[NDArray[np.float64]] | None = None,
) -> tuple[NDArray[np.float64], list[NDArray[np.float64]]]:
    """Samples (n, 1) of a hold and the phase course of each pipe [cycles].

    Detuned at random, or by `cents`; levels at random down to `faintest_db`, or `levels_db`;
    spectra at random by kind, or amplitudes `shapes`.
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
        amplitudes = partial_levels(kind, hz, rng, 10_000.0) if shapes is None else shapes[pipe]
        amplitudes = amplitudes * (10.0 ** (levels[pipe] / 20.0) / np.linalg.norm(amplitudes))
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
