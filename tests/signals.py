"""Single notes whose truth is known, made without any code of Walkboard.

A note is built from one phase course (mean frequency plus slow random wander), the same for all
partials; a room of exponentially decaying noise; attack; wind noise; hum; white noise. The truth of
a window is the phase run through in it over its length, by quadrature of the course itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.signal
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

_BLOCK = 4_096
KINDS = ("flue", "stopped", "reed")


@dataclass(frozen=True)
class Note:
    """Sound and truth.

    `samples` has shape (n, channels); `cycles` is the phase course in cycles at each sample.
    """

    samples: NDArray[np.float64]
    sample_rate: int
    cycles: NDArray[np.float64]

    def mean_hz(self, start_s: float, end_s: float) -> float:
        times = np.arange(len(self.cycles)) / self.sample_rate
        first, last = np.interp([start_s, end_s], times, self.cycles)
        return float((last - first) / (end_s - start_s))


def partial_levels(
    kind: str, hz: float, rng: np.random.Generator, reach: float, scatter_db: float = 3.0
) -> NDArray[np.float64]:
    """Amplitudes of partials 1, 2 … up to `reach` [Hz], with so much scatter."""
    count = max(1, min(96, int(reach / hz)))
    number = np.arange(1, count + 1)
    if kind == "flue":
        level = -9.0 * np.log2(number)
    elif kind == "stopped":
        level = -12.0 * np.log2(number) - 22.0 * (number % 2 == 0)
    elif kind == "reed":
        level = -4.0 * np.log2(number) - 6.0 * np.log2(np.maximum(1.0, number * hz / 1500.0))
    else:
        raise ValueError(kind)
    level = level + rng.normal(0.0, scatter_db, count)
    return 10.0 ** (level / 20.0)


def slow_noise(
    count: int, sample_rate: float, cutoff_hz: float, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Stationary normal noise of unit root mean square, second order above the cut-off."""
    rate = max(40.0 * cutoff_hz, 40.0)
    short = int(np.ceil(count / sample_rate * rate)) + 8
    pad = int(6.0 * rate / cutoff_hz)
    b, a = scipy.signal.butter(2, cutoff_hz, fs=rate)
    slow = scipy.signal.lfilter(b, a, rng.standard_normal(short + pad))[pad:]
    impulse = scipy.signal.lfilter(b, a, np.concatenate([[1.0], np.zeros(pad)]))
    slow /= np.sqrt((impulse**2).sum())
    knots = np.arange(short) / rate
    return np.asarray(CubicSpline(knots, slow)(np.arange(count) / sample_rate))


def tone(
    hz: float,
    amplitudes: NDArray[np.float64],
    seconds: float,
    sample_rate: int,
    rng: np.random.Generator,
    *,
    wander_cents: float = 0.0,
    cutoff_hz: float = 0.5,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A harmonic tone with random phases; samples (n,) and cycles (n,)."""
    count = round(seconds * sample_rate)
    course = np.full(count, hz)
    if wander_cents:
        wander = wander_cents * slow_noise(count, sample_rate, cutoff_hz, rng)
        course = hz * 2.0 ** (wander / 1200.0)
    cycles = np.cumsum(course) / sample_rate
    cycles -= 0.5 * course / sample_rate
    phases = np.array([rng.uniform(0.0, 2.0 * np.pi) for _ in amplitudes])
    waves = np.where(amplitudes > 1e-5 * np.max(amplitudes), amplitudes, 0.0) * np.exp(1j * phases)
    sound = np.empty(count)
    for first in range(0, count, _BLOCK):  # a polynomial in one turn (Horner), in the cache
        turn = np.exp(2j * np.pi * cycles[first : first + _BLOCK])
        series = np.zeros(len(turn), dtype=complex)
        for wave in waves[::-1]:
            series += wave
            series *= turn
        sound[first : first + _BLOCK] = series.real
    return sound, cycles


def room(
    reverberation_s: float, direct_db: float, sample_rate: int, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Impulse response: a direct sound and a noise tail that falls 60 dB in `reverberation_s`.

    `direct_db` is the direct sound's energy over that of the tail [dB].
    """
    count = int(1.2 * reverberation_s * sample_rate)
    times = np.arange(count) / sample_rate
    tail = rng.standard_normal(count) * 10.0 ** (-3.0 * times / reverberation_s)
    tail[: round(0.008 * sample_rate)] = 0.0
    tail *= 10.0 ** (-direct_db / 20.0) / np.sqrt((tail**2).sum())
    tail[0] = 1.0
    return tail


def note(
    hz: float,
    kind: str,
    rng: np.random.Generator,
    *,
    seconds: float = 4.0,
    sample_rate: int = 48_000,
    snr_db: float = 30.0,
    wander_cents: float = 0.1,
    cutoff_hz: float = 0.5,
    reverberation_s: float = 2.5,
    direct_db: float = -3.0,
    hum_db: float | None = -35.0,
    channels: int = 1,
) -> Note:
    """A note in a church, from key down to key up."""
    reach = min(0.45 * sample_rate, 10_000.0)
    amplitudes = partial_levels(kind, hz, rng, reach)
    sound, cycles = tone(
        hz,
        amplitudes,
        seconds,
        sample_rate,
        rng,
        wander_cents=wander_cents,
        cutoff_hz=cutoff_hz,
    )
    count = len(sound)
    times = np.arange(count) / sample_rate
    speech_s = min(0.3, 0.03 + 8.0 / hz)
    sound *= 1.0 - np.exp(-((times / speech_s) ** 2) * 3.0)
    chiff = rng.standard_normal(count) * np.exp(-times / 0.05)
    sound += 0.1 * np.sqrt((amplitudes**2).sum()) * chiff
    heard = []
    for _ in range(channels):
        wet = sound
        if reverberation_s:
            response = room(reverberation_s, direct_db, sample_rate, rng)
            wet = scipy.signal.fftconvolve(sound, response)[:count]
        rms = np.sqrt(np.mean(wet[count // 2 :] ** 2))
        wet = wet / rms
        noise = wind(count, sample_rate, rng)
        wet = wet + 10.0 ** (-snr_db / 20.0) * noise
        if hum_db is not None:
            for order, below in ((1, 0.0), (2, -6.0), (3, -10.0), (4, -15.0), (6, -20.0)):
                size = np.sqrt(2.0) * 10.0 ** ((hum_db + below) / 20.0)
                phase = rng.uniform(0.0, 2.0 * np.pi)
                wet = wet + size * np.cos(2.0 * np.pi * 50.0 * order * times + phase)
        heard.append(0.1 * wet)
    return Note(np.column_stack(heard), sample_rate, cycles)


def wind(count: int, sample_rate: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Half white noise, half wind that falls 6 dB an octave above 200 Hz; unit power."""
    white = rng.standard_normal(count)
    spectrum = scipy.fft.rfft(rng.standard_normal(count))
    rate = scipy.fft.rfftfreq(count, 1.0 / sample_rate)
    blown = scipy.fft.irfft(spectrum / np.hypot(1.0, rate / 200.0), count)
    blown /= np.sqrt(np.mean(blown**2))
    return np.asarray((white + blown) / np.sqrt(2.0))
