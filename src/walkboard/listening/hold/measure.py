"""Measure one pipe that sounds alone: frequency, uncertainty, level, and what is wrong with it.

Steps: choose the steady part of the hold; find the comb (`place`); extract the envelopes of its
partials (`spectrum`); estimate one phase course for all of them (`estimate`), with the sizes of
wander and room taken from the recording (`movement`); set flags.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.hold.estimate import Estimate, estimate
from walkboard.listening.hold.place import find_place, numbers_below
from walkboard.listening.hold.spectrum import (
    HoldSpectrum,
    envelopes,
    noise_floor,
    running_mean_s,
)
from walkboard.listening.readings import CombReading, Withheld, measured
from walkboard.listening.types import Comb, Partial, ReadingFlag
from walkboard.quantities import CENTS_PER_NEPER, cents_of_ratio


@dataclass(frozen=True, slots=True)
class Limits:
    """Thresholds beyond which a reading is flagged or withheld."""

    short_s: float = 0.4  # flagged below; chosen
    short_periods: float = 12.0  # flagged below; chosen
    hasty_s: float = (
        1.0  # flagged below if a low pipe's: the last key still rings beside it; chosen
    )
    hasty_periods: float = 100.0  # of a low pipe; fitted by bench situations (one-second holds)
    least_s: float = 0.1  # withheld below; chosen
    least_periods: float = 4.0  # withheld below; chosen
    far_cents: float = 50.0  # from `../shared/interface.md`
    worst_sigma_cents: float = 2.0  # withheld above; chosen
    settled_s: float = 1.5  # a room builds up within this window; beyond, it is noise; chosen
    unsteady_cents: float = 3.0  # wander; chosen
    coherent: float = 0.5  # share of the partials' power that the course makes steady; chosen
    unsteady_cycles: float = 0.7  # turns of phase possibly lost; chosen
    absent_db: float = -35.0  # below the strongest partial; chosen
    present: float = 12.0  # power over noise of a listed partial [-]; chosen


LIMITS = Limits()


def steady_window(seconds: float, mean_s: float) -> tuple[float, float]:
    """The part of a hold after the attack and before the key's release [s].

    Skips 1.3 seconds at the beginning (a third of a short hold), and the memory of the low-pass at
    both ends.
    """
    edge = 2.0 * mean_s + 0.02
    start = max(edge, min(1.3, seconds / 3.0))
    return start, max(start, seconds - edge)


def nothing_heard(
    comb: Comb, window_s: tuple[float, float], flags: tuple[ReadingFlag, ...]
) -> Withheld[str]:
    """A reading without a value."""
    return Withheld(pipe=comb.label, start_s=window_s[0], end_s=window_s[1], flags=flags)


def measure_alone(
    spectrum: HoldSpectrum, comb: Comb, offset_s: float, shared: tuple[ReadingFlag, ...]
) -> CombReading:
    """Measure a pipe that sounds on its own.

    Parameters
    ----------
    offset_s : float
        Where the hold begins in the recording [s].
    shared : tuple of ReadingFlag
        Flags of the whole hold.
    """
    flags = list(shared)
    window = steady_window(spectrum.seconds, running_mean_s(comb.hz))
    reported = (offset_s + window[0], offset_s + window[1])
    length = window[1] - window[0]
    hasty = length < LIMITS.hasty_s and length * comb.hz < LIMITS.hasty_periods
    if length < LIMITS.short_s or length * comb.hz < LIMITS.short_periods or hasty:
        flags.append(ReadingFlag.SHORT)
    if length < LIMITS.least_s or length * comb.hz < LIMITS.least_periods:
        return nothing_heard(comb, reported, tuple(flags))
    numbers = numbers_below(comb.hz, spectrum.sample_rate)
    place = find_place(spectrum, comb.hz, numbers)
    if not place.heard:
        return nothing_heard(comb, reported, (*flags, ReadingFlag.SILENT))
    floor = noise_floor(spectrum, place.hz, numbers)
    env = envelopes(spectrum, place.hz, numbers, floor, window)
    found = estimate(env)
    begin = offset_s + env.start_s
    reported = (begin, begin + env.values.shape[2] * env.spacing_s)
    heard = np.asarray((found.power_ratio > LIMITS.present).any(axis=0))
    size = np.abs(spectrum.rotation @ found.amplitudes)
    loudest = size[int(np.argmax((size**2).sum(axis=1)))]
    level = 10.0 * np.log10(float((loudest[heard] ** 2).sum()) + 1e-30)
    sigma_cents = CENTS_PER_NEPER * found.sigma_hz / found.hz
    wander_cents = CENTS_PER_NEPER * found.wander_hz / found.hz
    cents = cents_of_ratio(found.hz / comb.hz)
    if abs(cents) > LIMITS.far_cents:
        flags.append(ReadingFlag.FAR)
    doubts, trusted = _doubts(found, sigma_cents, wander_cents, heard)
    if _overblown(numbers, loudest, heard):
        doubts.insert(0, ReadingFlag.OCTAVE)
        trusted = False
    partials = tuple(
        Partial(int(number), float(20.0 * np.log10(amplitude)))
        for number, amplitude, there in zip(numbers, loudest, heard, strict=True)
        if there
    )
    reading = Withheld(
        pipe=comb.label,
        start_s=reported[0],
        end_s=reported[1],
        level_db=level,
        flags=tuple(dict.fromkeys((*flags, *doubts))),
        partials=partials,
    )
    if not trusted:
        return reading
    return measured(
        reading,
        hz=found.hz,
        sigma_cents=sigma_cents,
        cents=cents,
        wander_cents=wander_cents,
        slow=found.slow,
    )


def _doubts(
    found: Estimate, sigma_cents: float, wander_cents: float, heard: NDArray[np.bool_]
) -> tuple[list[ReadingFlag], bool]:
    """Flags that follow from the estimate itself, and whether its value can be used."""
    if not heard.any():
        return [ReadingFlag.FAINT], False
    flags: list[ReadingFlag] = []
    trusted = True
    if (
        found.coherence < LIMITS.coherent
        or wander_cents > LIMITS.unsteady_cents
        or found.slip_cycles > LIMITS.unsteady_cycles
    ):
        flags.append(ReadingFlag.UNSTEADY)
        trusted = found.coherence >= LIMITS.coherent
    if trusted and sigma_cents > LIMITS.worst_sigma_cents:
        short = found.seconds < LIMITS.settled_s and found.movement.is_unsettled
        flags.append(ReadingFlag.SHORT if short else ReadingFlag.FAINT)
        trusted = False
    return flags, trusted


def _overblown(
    numbers: NDArray[np.int64],
    loudest: NDArray[np.float64],
    heard: NDArray[np.bool_],
) -> bool:
    """Whether only every second, third or fifth partial is present, without the fundamental."""
    if not heard.any():
        return False
    strongest = float(loudest[heard].max())
    there = heard & (loudest > strongest * 10.0 ** (LIMITS.absent_db / 20.0))
    step = int(np.gcd.reduce(numbers[there]))
    return step > 1
