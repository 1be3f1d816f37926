"""What else a microphone hears: blower, wind, talk, thumps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Ambience:
    """Sound other than the pipes'. Levels in dB; a full-scale sine is 0 dB; None for none.

    Attributes
    ----------
    hum_db : float or None
        Blower hum at the mains' harmonics.
    mains_hz : float
    wind_db : float or None
        Broadband noise of wind and blower, falling by 4 dB an octave above 100 Hz.
    talk_db : float or None
        Speech-like babble in the pauses.
    thump_db : float or None
        Peak of the thump of a key going down.
    """

    hum_db: float | None = -58.0
    mains_hz: float = 50.0
    wind_db: float | None = -60.0
    talk_db: float | None = None
    thump_db: float | None = None


SILENCE = Ambience(hum_db=None, wind_db=None)


def hum(
    level_db: float, mains_hz: float, n: int, sample_rate: int, rng: np.random.Generator
) -> Samples:
    """Blower hum, shape (n,): harmonics of the mains, the even ones strongest."""
    share = np.array([0.5, 1.0, 0.25, 0.5, 0.12, 0.25, 0.0, 0.12])
    phases = rng.uniform(0.0, 2.0 * np.pi, share.size)
    amplitude = share * 10.0 ** (level_db / 20.0) / np.sqrt(np.sum(share**2))
    period_s = 1.0 / mains_hz
    repeats = sample_rate * period_s
    if abs(repeats - round(repeats)) < 1e-9:  # whole samples to a period: one is enough
        one = _harmonics(mains_hz, amplitude, phases, np.arange(round(repeats)) / sample_rate)
        return np.resize(one, n)
    return _harmonics(mains_hz, amplitude, phases, np.arange(n) / sample_rate)


def _harmonics(
    base_hz: float,
    amplitude: NDArray[np.float64],
    phases: NDArray[np.float64],
    time_s: NDArray[np.float64],
) -> Samples:
    sound = np.zeros(time_s.size)
    for number, (size, phase) in enumerate(zip(amplitude, phases, strict=True), start=1):
        sound += size * np.cos(2.0 * np.pi * number * base_hz * time_s + phase)
    return sound.astype(np.float32)


def wind(level_db: float, n: int, sample_rate: int, rng: np.random.Generator) -> Samples:
    """Broadband noise, shape (n,), in blocks that fade into each other so that none repeats."""
    block = fft.next_fast_len(sample_rate // 2, real=True)  # short enough to stay in the cache
    half = block // 2
    frequency_hz = np.linspace(0.0, 0.5 * sample_rate, block // 2 + 1, dtype=np.float32)
    gain = (1.0 + (frequency_hz / 100.0) ** 2) ** np.float32(-1.0 / 3.0)
    gain[frequency_hz < 15.0] = 0.0
    # mean square of the noise is that of a sine of this level
    scale = 10.0 ** (level_db / 20.0) / np.sqrt(2.0) * block / np.sqrt(4.0 * float(np.sum(gain**2)))
    fade = np.sin(0.5 * np.pi * (np.arange(half, dtype=np.float32) + 0.5) / half)
    sound = np.zeros(n + 2 * block, dtype=np.float32)
    for start in range(-half, n, half):
        spectrum = np.empty(gain.size, dtype=np.complex64)
        spectrum.real = rng.standard_normal(gain.size, dtype=np.float32)
        spectrum.imag = rng.standard_normal(gain.size, dtype=np.float32)
        spectrum *= gain
        piece = fft.irfft(spectrum, block)
        piece[:half] *= fade
        piece[half : 2 * half] *= fade[::-1]
        sound[start + half : start + half + 2 * half] += piece[: 2 * half]
    noise: Samples = sound[half : half + n] * np.float32(scale)
    return noise


def thump(level_db: float, sample_rate: int, rng: np.random.Generator) -> Samples:
    """A key or a foot: a low knock with a click, shape (n,)."""
    n = round(0.15 * sample_rate)
    time_s = np.arange(n) / sample_rate
    knock = np.sin(2.0 * np.pi * rng.uniform(50.0, 110.0) * time_s) * np.exp(-time_s / 0.03)
    click = 0.4 * rng.standard_normal(n) * np.exp(-time_s / 0.004)
    sound: NDArray[np.float64] = 10.0 ** (level_db / 20.0) * (knock + click)
    return sound.astype(np.float32)


def talk(level_db: float, seconds: float, sample_rate: int, rng: np.random.Generator) -> Samples:
    """Babble like speech, shape (n,): a gliding voice in syllables with changing vowels."""
    n = max(1, round(seconds * sample_rate))
    time_s = np.arange(n) / sample_rate
    knots = max(4, round(seconds * 5.0))
    at = np.linspace(0.0, seconds, knots)
    pitch_hz = np.interp(
        time_s, at, rng.uniform(95.0, 190.0) * 2.0 ** rng.uniform(-0.3, 0.3, knots)
    )
    phase = 2.0 * np.pi * np.cumsum(pitch_hz) / sample_rate
    first_hz = np.interp(time_s, at, rng.uniform(300.0, 800.0, knots))
    second_hz = np.interp(time_s, at, rng.uniform(900.0, 2200.0, knots))
    sound = np.zeros(n)
    for partial in range(1, 25):
        frequency_hz = partial * pitch_hz
        vowel = 1.0 / (1.0 + ((frequency_hz - first_hz) / 90.0) ** 2)
        vowel += 0.5 / (1.0 + ((frequency_hz - second_hz) / 130.0) ** 2)
        sound += vowel * np.sin(partial * phase)
    syllables = np.interp(time_s, at, rng.uniform(0.0, 1.0, knots) ** 2)
    sound *= syllables * np.minimum(1.0, np.minimum(time_s, seconds - time_s) / 0.05)
    power = float(np.sqrt(np.mean(sound**2)))
    if power > 0.0:
        sound *= 10.0 ** (level_db / 20.0) / np.sqrt(2.0) / power
    return sound.astype(np.float32)
