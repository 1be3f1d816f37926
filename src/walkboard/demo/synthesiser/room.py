"""A room: its impulse response, made by chance, and the sound in it.

Direct sound at once, a few early reflections, then noise that decays exponentially, octave band by
octave band. Reverberation time is that of ISO 3382-1: the time in which the sound falls by 60 dB.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Samples = NDArray[np.float32]

OCTAVES_HZ = (31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)


@dataclass(frozen=True, slots=True)
class Room:
    """The room that a walk is recorded in.

    Attributes
    ----------
    t60_s : float
        Reverberation time at 500 and 1000 Hz [s]; 0 is no room at all.
    bass_ratio : float
        Reverberation time at 63 Hz and below over that in the middle [-].
    treble_ratio : float
        The same at 8 kHz [-].
    direct_over_reverberant_db : float
        Energy of the direct sound over that of all the rest [dB].
    early : int
        Number of early reflections.
    first_reflection_s : float
        Time of the first of them [s].
    """

    t60_s: float = 2.5
    bass_ratio: float = 1.15
    treble_ratio: float = 0.4
    direct_over_reverberant_db: float = 0.0
    early: int = 12
    first_reflection_s: float = 0.011

    def __post_init__(self) -> None:
        if not 0.0 <= self.t60_s <= 15.0:
            raise ValueError(f"a reverberation time must be 0 to 15 s, not {self.t60_s!r}")
        if self.bass_ratio <= 0.0 or self.treble_ratio <= 0.0 or self.early < 0:
            raise ValueError("ratios must be positive and reflections not negative in number")

    def t60_at(self, frequency_hz: float) -> float:
        """Reverberation time at a frequency [s], straight lines over octaves between the three."""
        octave = np.log2(frequency_hz)
        at = np.log2([63.0, 500.0, 1000.0, 8000.0])
        return float(
            self.t60_s * np.interp(octave, at, [self.bass_ratio, 1.0, 1.0, self.treble_ratio])
        )


DRY = Room(t60_s=0.0)


def impulse_response(
    room: Room, sample_rate: int, channels: int, rng: np.random.Generator
) -> Samples:
    """Impulse response of a room, shape (n, channels); the direct sound is 1 at sample 0.

    Decorrelated between channels but for the direct sound, as two microphones a little apart are.
    """
    if room.t60_s == 0.0:
        return np.ones((1, channels), dtype=np.float32)
    longest_s = max(room.t60_at(f) for f in OCTAVES_HZ)
    n = fft.next_fast_len(int(1.15 * longest_s * sample_rate), real=True)
    response = np.zeros((n, channels), dtype=np.float64)
    for channel in range(channels):
        rest = _tail(room, n, sample_rate, rng)
        _add_early(rest, room, sample_rate, rng)
        energy = 10.0 ** (-room.direct_over_reverberant_db / 10.0)
        response[:, channel] = rest * np.sqrt(energy / np.sum(rest**2))
        response[0, channel] = 1.0
    return response.astype(np.float32)


def _tail(room: Room, n: int, sample_rate: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Decaying noise in octave bands, shape (n,)."""
    time_s = np.arange(n) / sample_rate
    spectrum = np.fft.rfft(rng.standard_normal(n))
    frequency_hz = np.fft.rfftfreq(n, 1.0 / sample_rate)
    edges = [0.0, *(np.sqrt(a * b) for a, b in pairwise(OCTAVES_HZ)), np.inf]
    tail = np.zeros(n)
    for centre_hz, (low, high) in zip(OCTAVES_HZ, pairwise(edges), strict=True):
        inside = (frequency_hz >= low) & (frequency_hz < high)
        if np.any(inside):
            band = np.fft.irfft(np.where(inside, spectrum, 0.0), n)
            # 60 dB of energy are a factor of 1000 in pressure
            tail += band * np.exp(-np.log(1000.0) * time_s / room.t60_at(centre_hz))
    opens = round(room.first_reflection_s * sample_rate)
    tail[:opens] = 0.0
    return tail


def _add_early(
    rest: NDArray[np.float64], room: Room, sample_rate: int, rng: np.random.Generator
) -> None:
    """Early reflections that thin into the tail, up to 80 ms."""
    if room.early == 0:
        return
    late_s = np.exp(rng.uniform(np.log(room.first_reflection_s), np.log(0.08), room.early))
    late_s[0] = room.first_reflection_s
    at = np.minimum(np.round(late_s * sample_rate).astype(int), rest.size - 1)
    strength = np.sqrt(0.3 * np.sum(rest**2) / room.early)  # about a third of the tail's energy
    np.add.at(rest, at, strength * rng.choice([-1.0, 1.0], room.early) * rng.uniform(0.5, 1.3))


def in_room(dry: Samples, response: Samples) -> Samples:
    """Sound in the room: overlap-add convolution, shape (n + m − 1, channels).

    Parameters
    ----------
    dry : ndarray of float32, shape (n,)
    response : ndarray of float32, shape (m, channels)
    """
    m, channels = response.shape
    if m == 1:
        return np.repeat(dry[:, None], channels, axis=1) * response
    size = fft.next_fast_len(max(2 * m, 1 << 16), real=True)
    hop = size - m + 1
    wet = np.zeros((dry.size + m - 1, channels), dtype=np.float32)
    filters = [fft.rfft(response[:, c], size) for c in range(channels)]
    for start in range(0, dry.size, hop):
        block = fft.rfft(dry[start : start + hop], size)
        for channel, transfer in enumerate(filters):
            sound = fft.irfft(block * transfer, size)
            stop = min(start + size, wet.shape[0])
            wet[start:stop, channel] += sound[: stop - start]
    return wet
