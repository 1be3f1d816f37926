"""Small walks with known truth for the tests of finding, made without any code of Walkboard.

A pipe is a harmonic series with an attack and a release; the room is exponentially decaying noise
convolved with the dry sound (the simplest room of ISO 3382-1's definition of reverberation time).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from walkboard.listening.types import Comb, ExpectedKey, Spectrum

RATE_HZ = 24_000


@dataclass(frozen=True)
class Stroke:
    """A key held: its semitone (A4 = 69), when, and what the pipe does."""

    semitone: int
    start_s: float
    end_s: float
    speaks: int = 1
    cents: float = 0.0
    level_db: float = -20.0


def key_hz(semitone: int, multiple: float = 1.0) -> float:
    return float(440.0 * multiple * 2.0 ** ((semitone - 69) / 12.0))


def expected(
    semitones: Sequence[int],
    multiples: Sequence[float] = (1.0,),
    spectrum: Spectrum = Spectrum.FULL,
) -> list[ExpectedKey]:
    return [
        ExpectedKey(
            str(key),
            tuple(Comb(f"{8 / m:g}", key_hz(key, m), spectrum) for m in multiples),
        )
        for key in semitones
    ]


def steps(
    semitones: Sequence[int], hold_s: float = 1.6, gap_s: float = 0.3, **how: float
) -> list[Stroke]:
    """Keys held one after another, the first after a second."""
    return [
        Stroke(key, 1.0 + i * (hold_s + gap_s), 1.0 + i * (hold_s + gap_s) + hold_s, **how)  # type: ignore[arg-type]
        for i, key in enumerate(semitones)
    ]


def sound_of(
    strokes: Sequence[Stroke],
    *,
    multiples: Sequence[float] = (1.0,),
    fall_db: float = 8.0,
    t60_s: float = 3.0,
    hum_db: float = -55.0,
    noise_db: float = -65.0,
    rate_hz: int = RATE_HZ,
    seed: int = 1,
) -> NDArray[np.float64]:
    """The recording, shape (n, 1). `fall_db` is the fall of the partials by the octave."""
    rng = np.random.default_rng(seed)
    length = round((max(stroke.end_s for stroke in strokes) + 1.5) * rate_hz)
    dry = np.zeros(length)
    for stroke in strokes:
        for multiple in multiples:
            _add_pipe(dry, stroke, multiple, fall_db, rng=rng, rate_hz=rate_hz)
    sound = dry
    if t60_s:
        time_s = np.arange(round(t60_s * rate_hz)) / rate_hz
        tail = rng.standard_normal(len(time_s)) * 10.0 ** (-3.0 * time_s / t60_s)
        sound = dry + scipy.signal.fftconvolve(dry, tail / np.sqrt((tail**2).sum()))[:length]
    times = np.arange(length) / rate_hz
    for number, size in ((1, 0.5), (2, 1.0), (4, 0.5)):
        sound += size * 10 ** (hum_db / 20.0) * np.sin(2 * np.pi * 50.0 * number * times + number)
    sound += 10 ** (noise_db / 20.0) * rng.standard_normal(length)
    return sound[:, np.newaxis]


def _add_pipe(
    dry: NDArray[np.float64],
    stroke: Stroke,
    multiple: float,
    fall_db: float,
    *,
    rate_hz: int,
    rng: np.random.Generator,
) -> None:
    hz = key_hz(stroke.semitone, multiple) * stroke.speaks * 2.0 ** (stroke.cents / 1200.0)
    first, last = round(stroke.start_s * rate_hz), round(stroke.end_s * rate_hz)
    stop = min(len(dry), last + rate_hz // 5)
    time_s = np.arange(stop - first) / rate_hz
    shape = 1.0 - np.exp(-time_s / 0.02)
    shape[last - first :] *= np.exp(-np.arange(stop - last) / (0.02 * rate_hz))
    count = max(1, int(0.45 * rate_hz / hz))
    numbers = np.arange(1, min(count, 16) + 1)
    sizes = 10.0 ** (-fall_db * np.log2(numbers) / 20.0)
    sizes *= 10 ** (stroke.level_db / 20.0) / np.sqrt((sizes**2).sum())
    for number, size in zip(numbers, sizes, strict=True):
        phase = rng.uniform(0, 2 * np.pi)
        dry[first:stop] += size * shape * np.sin(2 * np.pi * number * hz * time_s + phase)
