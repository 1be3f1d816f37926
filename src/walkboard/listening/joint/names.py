"""The names of two near unisons: given where the spectra tell, else both are withheld as merged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from walkboard.listening.joint.beats import beat_of_unisons
from walkboard.listening.joint.labels import odds_as_named
from walkboard.listening.joint.stages import Joint
from walkboard.listening.types import Comb, CombReading, ReadingFlag
from walkboard.quantities import CENTS_PER_NEPER, cents_of_ratio

SURE_ODDS = 3.9  # logarithm: 98 in 100


def name_unisons(
    combs: Sequence[Comb], joint: Joint, readings: Sequence[CombReading], pair: tuple[int, int]
) -> tuple[CombReading, CombReading]:
    """The readings of two near unisons under the right names, or merged where that is unsure."""
    first, second = (readings[p] for p in pair)
    one, two = combs[pair[0]], combs[pair[1]]
    of_first, of_second = (_sizes_db(joint, p) for p in pair)
    odds = odds_as_named(one, two, of_first, of_second)
    if odds < 0.0:
        first, second = replace(second, label=one.label), replace(first, label=two.label)
    beat_hz = beat_of_unisons(joint, pair)
    first = replace(first, name_odds=abs(odds), beat_hz=beat_hz)
    second = replace(second, name_odds=abs(odds), beat_hz=beat_hz)
    if first.hz is None or second.hz is None:
        return withheld(first), withheld(second)
    # Apart by less than this the two do not part by a turn in the window at the highest partial
    # that both have, and neither the values nor the spectra are to be trusted one by one.
    highest = min(max(p.number for p in reading.partials) for reading in (first, second))
    finest_hz = 1.0 / ((first.end_s - first.start_s) * highest)
    resolved = abs(first.hz - second.hz) > finest_hz
    if resolved and abs(odds) >= SURE_ODDS:
        return first, second
    more_cents = 0.0 if resolved else CENTS_PER_NEPER * finest_hz / first.hz
    return _either(first, second, more_cents), _either(second, first, more_cents)


def _sizes_db(joint: Joint, pipe: int) -> dict[int, float]:
    """Levels of all a pipe's partials [dB], the unsure ones at what they may be.

    That an even partial of a stopped pipe is not heard tells as much as one that is.
    """
    sizes = {}
    for index in joint.courses.seen_in(pipe):
        amplitude, ratio = joint.courses.amplitude[index, pipe], joint.courses.ratio[index, pipe]
        power = float((np.abs(amplitude) ** 2 * (1.0 + 1.0 / ratio)).sum())
        number = int(joint.bands.numbers[index, pipe])
        sizes[number] = 10.0 * float(np.log10(power + 1e-30))
    return sizes


def withheld(reading: CombReading) -> CombReading:
    """The reading without its value, as merged."""
    flags = tuple(dict.fromkeys((*reading.flags, ReadingFlag.MERGED)))
    return replace(reading, hz=None, sigma_cents=None, wander_cents=None, flags=flags)


def _either(own: CombReading, other: CombReading, more_cents: float) -> CombReading:
    """A merged reading with the bound on both; the two values too where only names are unsure."""
    if own.hz is None or other.hz is None:
        return withheld(own)
    sigmas = own.sigma_cents or 0.0, other.sigma_cents or 0.0
    apart_cents = abs(cents_of_ratio(own.hz / other.hz))
    return replace(
        withheld(own),
        near_hz=float(np.sqrt(own.hz * other.hz)),
        bound_cents=float(0.5 * apart_cents + 2.0 * max(sigmas) + more_cents),
        either_hz=None if more_cents else (own.hz, other.hz),
        either_sigma_cents=None if more_cents else sigmas,
    )
