"""Renders one pipe in one hold: attack, steady sound, release, wind.

The tone is read from a table of one period at the pipe's phase, so that every partial is strictly
harmonic however the pipe wanders, and the cost does not grow with the number of partials. Straight
lines between the points of the table leave an error below (2π L/N)²/8 of partial L in a table of N
points: −80 dB of that partial with the 128 points a partial that are taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from walkboard.demo.synthesiser.pitch import KNOT_S, FrequencyTrack, slow_wander
from walkboard.demo.synthesiser.voices import PipeVoice, partials_of

Samples = NDArray[np.float32]

TABLE_POINTS_PER_PARTIAL = 128
TABLE_LARGEST = 1 << 16
GROUPS = ((1, 1), (2, 4), (5, None))  # partials that build up together, lowest last to settle


@dataclass(frozen=True, eq=False)
class Tone:
    """A rendered pipe.

    Attributes
    ----------
    first : int
        Sample of the recording at which it starts.
    samples : ndarray of float32, shape (n,)
        Direct sound, dry.
    track : FrequencyTrack
        Frequency it speaks.
    """

    first: int
    samples: Samples
    track: FrequencyTrack


def attack_s(hz: float) -> float:
    """Time for a pipe to build up [s]: some twenty periods, never under 25 ms, as pipes go.

    Common practice, no source.
    """
    return float(np.clip(20.0 / hz, 0.025, 0.6))


def release_s(hz: float) -> float:
    """Time constant of a pipe's own decay when the pallet shuts [s]; common practice."""
    return float(np.clip(4.0 / hz, 0.008, 0.12))


def render_tone(
    voice: PipeVoice, first: int, held: int, sample_rate: int, rng: np.random.Generator
) -> Tone:
    """Render a speaking pipe.

    Parameters
    ----------
    voice : PipeVoice
        Not dead.
    first : int
        Sample of the recording at which the key goes down.
    held : int
        Samples until it goes up.
    sample_rate : int
        [Hz].
    rng : numpy Generator

    Raises
    ------
    ValueError
        When the pipe is dead.
    """
    if voice.speaks == 0:
        raise ValueError(f"{voice.pipe} is dead and has no tone")
    hz = voice.spoken_hz
    decay_s = release_s(hz)
    step = max(1, round(KNOT_S * sample_rate))
    knots = -(-(held + round(7.0 * decay_s * sample_rate)) // step) + 1
    n = (knots - 1) * step
    cents = _cents_at_knots(voice, knots, step / sample_rate, held / sample_rate, rng)
    track = FrequencyTrack(first / sample_rate, step / sample_rate, hz * 2.0 ** (cents / 1200.0))

    phase = _phase(track, step, sample_rate)
    samples = _read(partials_of(voice, sample_rate), phase, round(attack_s(hz) * sample_rate))
    level = voice.level_db + voice.swell_db * slow_wander(knots, track.step_s, rng)
    samples *= _between_knots(10.0 ** (level / 20.0), step)
    wind_level = voice.level_db + voice.wind_db
    samples += 10.0 ** (wind_level / 20.0) * _wind(voice, n, sample_rate, rng)
    samples[held:] *= np.exp(-np.arange(n - held, dtype=np.float32) / (decay_s * sample_rate))
    fade = min(step, n - held)
    samples[-fade:] *= np.linspace(1.0, 0.0, fade, dtype=np.float32)
    return Tone(first, samples, track)


def _cents_at_knots(
    voice: PipeVoice, knots: int, step_s: float, held_s: float, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Wander, the pitch transient of the attack, and the drop as the wind leaves [cents]."""
    time_s = step_s * np.arange(knots)
    settle_s = attack_s(voice.spoken_hz) / 3.0
    cents = voice.wander_cents * slow_wander(knots, step_s, rng)
    cents += voice.attack_cents * np.exp(-time_s / settle_s)
    cents -= 25.0 * np.maximum(0.0, time_s - held_s) / (7.0 * release_s(voice.spoken_hz))
    return cents


def _phase(track: FrequencyTrack, step: int, sample_rate: int) -> NDArray[np.float64]:
    """Phase at every sample [cycles], less whole cycles at the knots."""
    into_s = np.arange(step) / sample_rate
    start = np.mod(track.knot_cycles()[:-1], 1.0)[:, None]
    slope = np.diff(track.knots_hz)[:, None] / (2.0 * track.step_s)
    phase = slope * into_s
    phase += track.knots_hz[:-1, None]
    phase *= into_s
    phase += start
    return phase.ravel()


def _between_knots(values: NDArray[np.float64], step: int) -> Samples:
    """Straight lines between knots, at every sample."""
    into = np.arange(step, dtype=np.float32) / np.float32(step)
    low = values[:-1, None].astype(np.float32)
    lines: Samples = low + np.diff(values)[:, None].astype(np.float32) * into
    return lines.ravel()


def _read(partials: NDArray[np.complex128], phase: NDArray[np.float64], attack: int) -> Samples:
    """Sum of the partials at each phase, each group of them with its own attack."""
    points = 1 << max(9, int(np.ceil(np.log2(TABLE_POINTS_PER_PARTIAL * partials.size))))
    points = min(points, TABLE_LARGEST)
    attack = min(attack, phase.size)
    place = (phase - np.floor(phase)) * points
    index = place.astype(np.int32)
    into = (place - index).astype(np.float32)
    index &= points - 1

    samples = np.empty(phase.size, dtype=np.float32)
    samples[attack:] = _look_up(_table(partials, points), index[attack:], into[attack:])
    samples[:attack] = 0.0
    ramp = np.arange(attack, dtype=np.float32) / np.float32(max(1, attack))
    for group, (low, high) in enumerate(GROUPS):
        part = np.zeros_like(partials)
        part[low - 1 : high] = partials[low - 1 : high]
        if not np.any(part):
            continue
        # upper partials are there first and stand out before the fundamental has built up
        quick = np.minimum(1.0, ramp * (1.0, 1.6, 2.2)[group]).astype(np.float32)
        rise = np.sin(0.5 * np.pi * quick) ** 2
        rise += (0.0, 0.5, 0.3)[group] * np.sin(np.pi * quick) ** 2
        heard = _look_up(_table(part, points), index[:attack], into[:attack])
        samples[:attack] += heard * rise.astype(np.float32)
    return samples


def _table(partials: NDArray[np.complex128], points: int) -> Samples:
    """One period of the sum of partials, closed by its first point; shape (points + 1,)."""
    spectrum = np.zeros(points // 2 + 1, dtype=np.complex128)
    count = min(partials.size, points // 2 - 1)
    spectrum[1 : count + 1] = 0.5 * points * partials[:count]
    period = np.fft.irfft(spectrum, points)
    return np.append(period, period[0]).astype(np.float32)


def _look_up(table: Samples, index: NDArray[np.int32], into: Samples) -> Samples:
    """Straight lines between the points of a table."""
    slope = np.diff(table)
    found: Samples = slope.take(index)
    found *= into
    found += table.take(index)
    return found


def _wind(voice: PipeVoice, n: int, sample_rate: int, rng: np.random.Generator) -> Samples:
    """Wind noise of root mean square 1 shaped around the pipe, with its burst at the attack."""
    size = fft.next_fast_len(n, real=True)
    bins = size // 2 + 1
    frequency_hz = np.linspace(0.0, 0.5 * sample_rate, bins, dtype=np.float32)
    hz = voice.spoken_hz
    centre_hz = float(np.clip(6.0 * hz, 400.0, 5000.0))  # edge noise, a broad hump
    gain = 1.0 / (1.0 + (frequency_hz / centre_hz - 1.0) ** 2)
    for partial in range(1, 6):  # and the pipe's own resonances
        width_hz = 8.0 + 0.02 * partial * hz
        gain += 3.0 / (1.0 + ((frequency_hz - partial * hz) / width_hz) ** 2) / partial
    spectrum = np.empty(bins, dtype=np.complex64)
    spectrum.real = rng.standard_normal(bins, dtype=np.float32)
    spectrum.imag = rng.standard_normal(bins, dtype=np.float32)
    spectrum *= gain
    spectrum[frequency_hz < 0.5 * hz] = 0.0
    noise: Samples = fft.irfft(spectrum, size)[:n]
    noise *= np.float32(size / np.sqrt(4.0 * float(np.sum(gain[frequency_hz >= 0.5 * hz] ** 2))))
    burst = round(min(3.0 * attack_s(hz), n / sample_rate) * sample_rate)
    fall = np.exp(-np.arange(burst, dtype=np.float32) / max(1.0, burst / 5.0))
    noise[:burst] *= 1.0 + np.float32(10.0 ** (voice.chiff_db / 20.0)) * fall
    rise = min(burst, round(0.004 * sample_rate))
    noise[:rise] *= np.linspace(0.0, 1.0, rise, dtype=np.float32)
    return noise
