"""A second synthesiser, different in kind from the demo's and from tests/signals.py.

Nothing here adds sinusoids. A flue pipe is a limit cycle whose jet saturates: the oscillation grows
by the amplitude equation of a Hopf bifurcation and its sound is a tanh of the displacement, so that
the spectrum follows from loudness and offset of the jet (Fletcher & Rossing, The Physics of Musical
Instruments, chapter 16: a jet's flow saturates as tanh; from memory). A reed is a train of pulses.
All pipes of a chest stand on one wind: it sags under load, recovers, shakes, and a tremulant moves
it. The room is velvet noise (sparse impulses of random sign) with a decay.

The true frequency of a pipe is known at every instant: `Sounding.mean_hz` gives its mean over any
window.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import scipy.signal
from numpy.typing import NDArray

RATE_HZ = 32_000
_COURSE_HZ = 500  # of wind, pitch and amplitude courses
_FLUE_CENTS = 40.0  # a flue's change of pitch for a whole unit of relative wind pressure. Chosen.
_REED_CENTS = 15.0

FloatArray = NDArray[np.float64]


class Voice(StrEnum):
    """What kind of pipe sounds."""

    PRINCIPAL = "principal"
    FLUTE = "flute"
    STRING = "string"
    STOPPED = "stopped"
    CHIMNEY = "chimney"
    REED = "reed"


# Gain and offset of the jet: more gain, more partials; no offset, odd partials only.
_JET = {
    Voice.PRINCIPAL: (2.0, 0.9),
    Voice.FLUTE: (1.0, 0.35),
    Voice.STRING: (3.2, 1.3),
    Voice.STOPPED: (1.3, 0.02),
    Voice.CHIMNEY: (1.9, 0.06),
}


@dataclass(frozen=True, slots=True)
class Tremulant:
    """A tremulant: rate [Hz], depth of pitch [cents, peak], depth of level [dB, peak]."""

    rate_hz: float
    depth_cents: float
    depth_db: float = 0.5


@dataclass(frozen=True, slots=True)
class Wind:
    """The wind of one chest.

    Attributes
    ----------
    sag : float
        Pressure lost under the load of a hold, relative.
    drift : float
        Standard deviation of a slow movement, relative.
    shake_cents, shake_hz : float
        A tremor of all pipes [cents, peak] at a rate that wavers.
    tremulant : Tremulant or None
    """

    sag: float = 0.004
    drift: float = 0.002
    shake_cents: float = 0.0
    shake_hz: float = 5.0
    tremulant: Tremulant | None = None


@dataclass(eq=False)
class Sounding:
    """One pipe sounding once.

    Attributes
    ----------
    pipe : str
        rank:number.
    hz : float
        At full and steady wind.
    voice : Voice
    start_s, end_s : float
        From the key going down to its going up.
    level_db : float
    """

    pipe: str
    hz: float
    voice: Voice
    start_s: float
    end_s: float
    level_db: float = 0.0
    course_hz: FloatArray = field(default_factory=lambda: np.zeros(0))

    def mean_hz(self, start_s: float, end_s: float) -> float:
        """Mean frequency over a window of the recording [Hz]."""
        first = round((start_s - self.start_s) * _COURSE_HZ)
        last = round((end_s - self.start_s) * _COURSE_HZ)
        first = min(max(first, 0), len(self.course_hz) - 2)
        return float(self.course_hz[first : max(first + 1, last)].mean())


@dataclass(frozen=True, slots=True)
class RoomSound:
    """Room and background.

    Attributes
    ----------
    t60_s : float
    wet : float
        Reverberant over direct amplitude.
    noise_db, hum_db : float
        Background and mains hum, relative to the pipes.
    mains_hz : float
    """

    t60_s: float = 1.5
    wet: float = 0.6
    noise_db: float = -55.0
    hum_db: float = -58.0
    mains_hz: float = 50.0


def render(
    sounding: list[Sounding],
    seconds: float,
    wind: Wind,
    room: RoomSound,
    rng: np.random.Generator,
) -> NDArray[np.float32]:
    """Render the pipes that sound; fills in their courses. Shape (n,), peak 0.5."""
    pressure = _pressure(sounding, seconds, wind, rng)
    shake = _shake(seconds, wind, rng)
    total = np.zeros(int(seconds * RATE_HZ) + RATE_HZ)
    for one in sounding:
        samples = _pipe(one, pressure, shake, rng)
        first = int(one.start_s * RATE_HZ)
        last = min(len(total), first + len(samples))
        total[first:last] += samples[: last - first]
    total = total[: int(seconds * RATE_HZ)]
    scale = float(np.sqrt(np.mean(total**2))) or 1.0
    dry = total / scale
    heard = in_room(dry, room, rng) + background(len(dry), room, rng)
    return np.asarray(0.5 * heard / max(float(np.abs(heard).max()), 1e-9), np.float32)


def _pressure(
    sounding: list[Sounding], seconds: float, wind: Wind, rng: np.random.Generator
) -> FloatArray:
    """Relative pressure of the chest at the course rate."""
    count = int(seconds * _COURSE_HZ) + 4 * _COURSE_HZ
    load = np.zeros(count)
    for one in sounding:
        load[int(one.start_s * _COURSE_HZ) : int(one.end_s * _COURSE_HZ)] += 1.0
    # The reservoir follows the load within about a fifth of a second and swings a little.
    b, a = scipy.signal.butter(2, 1.2 / (0.5 * _COURSE_HZ))
    sagging = wind.sag * scipy.signal.lfilter(b, a, load)
    pole = float(np.exp(-1.0 / (1.5 * _COURSE_HZ)))
    slow = scipy.signal.lfilter([np.sqrt(1.0 - pole**2)], [1.0, -pole], rng.standard_normal(count))
    return 1.0 - sagging + wind.drift * slow


def _shake(seconds: float, wind: Wind, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Pitch [cents] and level [dB] moved by tremor and tremulant, at the course rate."""
    count = int(seconds * _COURSE_HZ) + 4 * _COURSE_HZ
    times = np.arange(count) / _COURSE_HZ
    cents, level = np.zeros(count), np.zeros(count)
    if wind.shake_cents:
        # The rate wavers by a tenth: a tremor of the wind is no machine.
        pole = float(np.exp(-1.0 / (0.8 * _COURSE_HZ)))
        waver = scipy.signal.lfilter(
            [np.sqrt(1.0 - pole**2)], [1.0, -pole], rng.standard_normal(count)
        )
        phase = 2.0 * np.pi * np.cumsum(wind.shake_hz * (1.0 + 0.1 * waver)) / _COURSE_HZ
        cents += wind.shake_cents * np.sin(phase)
    if wind.tremulant is not None:
        trem = wind.tremulant
        phase = 2.0 * np.pi * trem.rate_hz * times + rng.uniform(0.0, 2.0 * np.pi)
        # A tremulant's bellows fall faster than they rise.
        shape = np.sin(phase + 0.4 * np.sin(phase))
        cents += trem.depth_cents * shape
        level += trem.depth_db * np.sin(phase + 0.6)
    return cents, level


def _pipe(
    one: Sounding,
    pressure: FloatArray,
    shake: tuple[FloatArray, FloatArray],
    rng: np.random.Generator,
) -> FloatArray:
    reed = one.voice is Voice.REED
    release_s = 0.06 if one.hz > 200.0 else 0.12
    count = int((one.end_s - one.start_s + 6.0 * release_s) * _COURSE_HZ) + 2
    first = int(one.start_s * _COURSE_HZ)
    wind = pressure[first : first + count]
    count = len(wind)
    times = np.arange(count) / _COURSE_HZ
    speech_s = (25.0 if reed else 40.0) / max(one.hz, 60.0) + 0.01
    cents = (_REED_CENTS if reed else _FLUE_CENTS) * (wind - 1.0)
    cents = cents + shake[0][first : first + count] * (0.5 if reed else 1.0)
    cents -= 20.0 * np.exp(-times / (1.5 * speech_s))
    pole = float(np.exp(-1.0 / (0.5 * _COURSE_HZ)))
    own = scipy.signal.lfilter([np.sqrt(1.0 - pole**2)], [1.0, -pole], rng.standard_normal(count))
    cents += 0.08 * own
    one.course_hz = one.hz * 2.0 ** (cents / 1200.0)
    # |A|² of the amplitude equation A' = A (1 − |A|²) / τ from a small beginning; then free decay.
    growth = 1.0 / (1.0 + 400.0 * np.exp(-2.0 * times / (0.5 * speech_s)))
    held_s = one.end_s - one.start_s
    growth *= np.where(
        times < held_s, 1.0, np.exp(-2.0 * np.maximum(0.0, times - held_s) / release_s)
    )
    amplitude = np.sqrt(growth * np.clip(wind, 0.5, 1.5))
    amplitude *= 10.0 ** (shake[1][first : first + count] / 20.0)
    # Phase at the course's nodes, then between them by a cubic: no step in frequency.
    phase_nodes = 2.0 * np.pi * np.concatenate([[0.0], np.cumsum(one.course_hz)[:-1]]) / _COURSE_HZ
    ratio = RATE_HZ // _COURSE_HZ
    at = np.arange((count - 1) * ratio) / ratio
    node = at.astype(np.int64)
    within = at - node
    f0 = one.course_hz[node] / _COURSE_HZ
    df = (one.course_hz[np.minimum(node + 1, count - 1)] - one.course_hz[node]) / _COURSE_HZ
    phase = phase_nodes[node] + 2.0 * np.pi * (f0 * within + 0.5 * df * within * (within - 1.0))
    phase += rng.uniform(0.0, 2.0 * np.pi)
    size = amplitude[node] + (amplitude[np.minimum(node + 1, count - 1)] - amplitude[node]) * within
    most = 0.45 * RATE_HZ / one.hz
    if reed:
        narrow = min(60.0, most**2 / 18.0)
        y = np.exp(narrow * (np.cos(phase) - 1.0))
        y = size * (y - y.mean()) * np.sqrt(np.sqrt(narrow))
    else:
        gain, offset = _JET[one.voice]
        gain *= min(1.0, np.sqrt(1_200.0 / one.hz))
        y = np.tanh(gain * size * np.sin(phase) + offset) - np.tanh(offset)
    chiff = 0.15 * np.exp(-np.arange(len(y)) / (0.04 * RATE_HZ)) + 0.004
    y = y + chiff * size * scipy.signal.lfilter(
        [1.0, -0.9], [1.0, -0.6], rng.standard_normal(len(y))
    )
    return np.asarray(10.0 ** (one.level_db / 20.0) * y)


def in_room(dry: FloatArray, room: RoomSound, rng: np.random.Generator) -> FloatArray:
    """The sound in a room of velvet noise."""
    count = int(1.1 * room.t60_s * RATE_HZ)
    response = np.zeros(count)
    every = RATE_HZ // 1_500
    places = np.arange(0, count - every, every) + rng.integers(
        0, every, len(range(0, count - every, every))
    )
    response[places] = rng.choice([-1.0, 1.0], len(places)) * 10.0 ** (
        -3.0 * places / (room.t60_s * RATE_HZ)
    )
    b, a = scipy.signal.butter(1, 5_000.0 / (0.5 * RATE_HZ))
    response = scipy.signal.lfilter(b, a, response)
    response *= room.wet / np.sqrt((response**2).sum())
    response[: int(0.004 * RATE_HZ)] = 0.0
    response[0] = 1.0
    return np.asarray(scipy.signal.oaconvolve(dry, response)[: len(dry)])


def background(count: int, room: RoomSound, rng: np.random.Generator) -> FloatArray:
    """Wind noise of the blower and mains hum, relative to a signal of unit power."""
    b, a = scipy.signal.butter(1, 300.0 / (0.5 * RATE_HZ))
    noise = scipy.signal.lfilter(b, a, rng.standard_normal(count)) * 8.0
    noise += 0.3 * rng.standard_normal(count)
    noise *= 10.0 ** (room.noise_db / 20.0) / np.sqrt(np.mean(noise**2))
    times = np.arange(count) / RATE_HZ
    # Hum as rectified mains: every even harmonic, from one cusp.
    hum = np.abs(np.sin(2.0 * np.pi * 0.5 * room.mains_hz * 2.0 * times)) - 2.0 / np.pi
    hum += 0.3 * np.sin(2.0 * np.pi * room.mains_hz * times)
    return np.asarray(noise + 10.0 ** (room.hum_db / 20.0) * hum / np.sqrt(np.mean(hum**2)))
