"""Measure the pipes of one hold: frequency, uncertainty, level, and what is wrong with them.

The way, step by step: choose the steady part of the hold; one FFT (`subbands`); place of the comb
(`combs`); envelopes of its partials; joint estimate of one phase course (`estimating`) with the
sizes of wander and room found from the recording (`wander`); flags.

The value is the pipe's mean frequency over the reported window: phase run through over length.

Several combs are told apart only where they have partials of their own so far: a pipe whose every
partial falls on one of another pipe that is due in the hold is flagged `merged` and has no value.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.hold.estimate import estimate
from walkboard.listening.hold.place import find_place, numbers_below, own_numbers
from walkboard.listening.hold.spectrum import (
    HoldSpectrum,
    envelopes,
    noise_floor,
    running_mean_s,
    spectrum_of_hold,
)
from walkboard.listening.joint.measure import measure_jointly
from walkboard.listening.types import Comb, CombReading, Partial, ReadingFlag
from walkboard.quantities import CENTS_PER_NEPER, cents_of_ratio

_NOTHING = 1e-7  # range of digital silence
_LONGEST_S = 12.0  # of a hold that is measured: the last so many seconds
_FAR_CENTS = 50.0
_WORST_SIGMA_CENTS = 2.0
_UNSTEADY_CENTS = 3.0
_COHERENT = 0.5
_UNSTEADY_CYCLES = 0.7
_JOINT_MEMORY_S = 0.04  # of the sub-bands of several pipes together
_SHORT_S = 0.4
_SHORT_PERIODS = 12.0
_ABSENT_DB = -35.0
_PRESENT = 12.0  # power over noise from which a partial is listed


def steady_window(seconds: float, mean_s: float) -> tuple[float, float]:
    """The part of a hold after the attack and before the key's release [s].

    One second is left out at the beginning, a quarter of the hold where it is short, and the
    memory of the low-pass at both ends.
    """
    edge = 2.0 * mean_s + 0.02
    start = max(edge, min(1.3, seconds / 3.0))
    return start, max(start, seconds - edge)


def measure_hold(
    samples: NDArray[np.floating],
    sample_rate: int,
    combs: Sequence[Comb],
    *,
    start_s: float = 0.0,
) -> tuple[CombReading, ...]:
    """Measure every comb that is expected in a hold.

    Parameters
    ----------
    samples : ndarray, shape (n, channels)
        The hold from the key going down to its going up, full scale ±1.
    sample_rate : int
        [Hz]
    combs : sequence of Comb
    start_s : float
        Where the hold begins in the recording; added to the times of the readings.

    Returns
    -------
    tuple of CombReading
        In the order of the combs.

    Raises
    ------
    ValueError
        When the samples have not two dimensions, are not finite, or the rate is not positive.
    """
    array = np.asarray(samples, dtype=np.float32, order="F")  # channel by channel in memory
    if array.ndim != 2:
        raise ValueError(f"samples must have shape (n, channels), not {array.shape}")
    if sample_rate <= 0:
        raise ValueError(f"the sample rate must be positive, not {sample_rate}")
    if not np.isfinite(array).all():
        raise ValueError("samples must be finite numbers: mend or leave out NaN and infinity first")
    longest = int(_LONGEST_S * sample_rate)
    offset_s = start_s
    if len(array) > longest:
        offset_s += (len(array) - longest) / sample_rate
        array = array[-longest:]
    shared = _clipped(array)
    seconds = len(array) / sample_rate
    if len(array) < 64 or array.shape[1] == 0 or _range(array) < _NOTHING:
        flag = ReadingFlag.SHORT if len(array) < 64 else ReadingFlag.SILENT
        end_s = offset_s + seconds
        return tuple(_nothing(comb, (offset_s, end_s), (flag, *shared)) for comb in combs)
    spectrum = spectrum_of_hold(array, sample_rate)
    if len(combs) > 1:
        window = steady_window(spectrum.seconds, _JOINT_MEMORY_S)
        return measure_jointly(spectrum, combs, window, offset_s, shared)
    return tuple(_measure(spectrum, comb, [], offset_s, shared) for comb in combs)


def _nothing(
    comb: Comb, window_s: tuple[float, float], flags: tuple[ReadingFlag, ...]
) -> CombReading:
    return CombReading(comb.label, None, None, None, window_s[0], window_s[1], flags=flags)


def _range(array: NDArray[np.float32]) -> float:
    """Largest range of a channel, full scale 2."""
    return max(float(channel.max() - channel.min()) for channel in array.T)


def _clipped(array: NDArray[np.float32]) -> tuple[ReadingFlag, ...]:
    """Whether the top of the waveform is flat: often three samples in a row at the extreme."""
    for channel in array.T:
        size = np.abs(channel)
        top = float(size.max(initial=0.0))
        if top < 1e-3:
            continue
        flat = size >= top * (1.0 - 1e-6)
        if np.count_nonzero(flat) < 10:
            continue
        runs = flat[2:] & flat[1:-1] & flat[:-2]
        if np.count_nonzero(runs) >= 8:
            return (ReadingFlag.CLIPPED,)
    return ()


def _measure(
    spectrum: HoldSpectrum,
    comb: Comb,
    others_hz: Sequence[float],
    offset_s: float,
    shared: tuple[ReadingFlag, ...],
) -> CombReading:
    flags = list(shared)
    window = steady_window(spectrum.seconds, running_mean_s(comb.hz))
    reported = (offset_s + window[0], offset_s + window[1])
    length = window[1] - window[0]
    if length < _SHORT_S or length * comb.hz < _SHORT_PERIODS:
        flags.append(ReadingFlag.SHORT)
    if length < 0.1 or length * comb.hz < 4.0:
        return _nothing(comb, reported, tuple(flags))
    numbers = numbers_below(comb.hz, spectrum.sample_rate)
    if others_hz:
        # One pipe at a time: only partials that no other comb comes near say anything of this one.
        numbers = own_numbers(comb.hz, numbers, others_hz)
    if len(numbers) == 0:
        return _nothing(comb, reported, (*flags, ReadingFlag.MERGED))
    place = find_place(spectrum, comb.hz, numbers)
    if not place.heard:
        absent = ReadingFlag.MERGED if others_hz else ReadingFlag.SILENT
        return _nothing(comb, reported, (*flags, absent))
    floor = noise_floor(spectrum, place.hz, numbers)
    env = envelopes(spectrum, place.hz, numbers, floor, window)
    found = estimate(env)
    begin = offset_s + env.start_s
    reported = (begin, begin + env.values.shape[2] * env.spacing_s)
    heard = np.asarray((found.power_ratio > _PRESENT).any(axis=0))
    size = np.abs(spectrum.rotation @ found.amplitudes)
    loudest = size[int(np.argmax((size**2).sum(axis=1)))]
    level = 10.0 * np.log10(float((loudest[heard] ** 2).sum()) + 1e-30)
    sigma_cents = CENTS_PER_NEPER * found.sigma_hz / found.hz
    wander_cents = CENTS_PER_NEPER * found.wander_hz / found.hz
    if abs(cents_of_ratio(found.hz / comb.hz)) > _FAR_CENTS:
        flags.append(ReadingFlag.FAR)
    trusted = True
    if _overblown(numbers, loudest, heard):
        flags.append(ReadingFlag.OCTAVE)
        trusted = False
    if not heard.any():
        flags.append(ReadingFlag.FAINT)
        trusted = False
    elif (
        found.coherence < _COHERENT
        or wander_cents > _UNSTEADY_CENTS
        or found.slip_cycles > _UNSTEADY_CYCLES
    ):
        flags.append(ReadingFlag.UNSTEADY)
        trusted = found.coherence >= _COHERENT
    if trusted and sigma_cents > _WORST_SIGMA_CENTS:
        flags.append(ReadingFlag.FAINT)
        trusted = False
    partials = tuple(
        Partial(int(number), float(20.0 * np.log10(amplitude)))
        for number, amplitude, there in zip(numbers, loudest, heard, strict=True)
        if there
    )
    return CombReading(
        comb.label,
        found.hz if trusted else None,
        sigma_cents if trusted else None,
        level,
        reported[0],
        reported[1],
        partials,
        wander_cents if trusted else None,
        tuple(flags),
    )


def _overblown(
    numbers: NDArray[np.int64],
    loudest: NDArray[np.float64],
    heard: NDArray[np.bool_],
) -> bool:
    """Whether only every second, third or fifth partial is there, and not the fundamental."""
    if not heard.any():
        return False
    strongest = float(loudest[heard].max())
    there = heard & (loudest > strongest * 10.0 ** (_ABSENT_DB / 20.0))
    step = int(np.gcd.reduce(numbers[there]))
    return step > 1
