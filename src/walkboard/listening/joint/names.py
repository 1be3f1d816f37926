"""The names of two near unisons: given if the spectra decide, else both are merged."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from walkboard.listening.joint.beats import beat_of_unisons
from walkboard.listening.joint.labels import odds_as_named
from walkboard.listening.joint.stages import Joint
from walkboard.listening.readings import (
    Bound,
    CombReading,
    Either,
    Measured,
    bounded,
    flagged,
    named,
    without_value,
)
from walkboard.listening.types import Comb, ReadingFlag
from walkboard.quantities import CENTS_PER_NEPER, cents_of_ratio

_MERGED = ReadingFlag.MERGED


@dataclass(frozen=True, slots=True)
class Limits:
    """When a name is given."""

    sure_odds: float = 3.9  # log odds of 98 in 100 [-]; chosen


LIMITS = Limits()


def name_unisons(
    combs: Sequence[Comb], joint: Joint, readings: Sequence[CombReading], pair: tuple[int, int]
) -> tuple[CombReading, CombReading]:
    """The readings of two near unisons under the right names, or merged if that is unsure."""
    first, second = (readings[p] for p in pair)
    one, two = combs[pair[0]], combs[pair[1]]
    of_first, of_second = (_sizes_db(joint, p) for p in pair)
    odds = odds_as_named(one, two, of_first, of_second)
    if odds < 0.0:
        first, second = named(second, one.label, one.hz), named(first, two.label, two.hz)
    beat_hz = beat_of_unisons(joint, pair)
    sureness = 1.0 / (1.0 + math.exp(-abs(odds)))
    first = replace(first, name_sureness=sureness, beat_hz=beat_hz)
    second = replace(second, name_sureness=sureness, beat_hz=beat_hz)
    if not isinstance(first, Measured) or not isinstance(second, Measured):
        return without_value(first, _MERGED), without_value(second, _MERGED)
    # Closer than this, the two do not part by a full turn in the window at the highest common
    # partial, and neither the single values nor the spectra can be trusted.
    highest = min(max(p.number for p in reading.partials) for reading in (first, second))
    finest_hz = 1.0 / ((first.end_s - first.start_s) * highest)
    resolved = abs(first.hz - second.hz) > finest_hz
    if resolved and abs(odds) >= LIMITS.sure_odds:
        return first, second
    more_cents = 0.0 if resolved else CENTS_PER_NEPER * finest_hz / first.hz
    return _either(first, second, more_cents), _either(second, first, more_cents)


def _sizes_db(joint: Joint, pipe: int) -> dict[int, float]:
    """Levels of all a pipe's partials [dB]; unsure ones at their upper limit.

    A missing even partial of a stopped pipe says as much as one that is heard.
    """
    sizes = {}
    for index in joint.courses.seen_in(pipe):
        amplitude, ratio = joint.courses.amplitude[index, pipe], joint.courses.ratio[index, pipe]
        power = float((np.abs(amplitude) ** 2 * (1.0 + 1.0 / ratio)).sum())
        number = int(joint.bands.numbers[index, pipe])
        sizes[number] = 10.0 * float(np.log10(power + 1e-30))
    return sizes


def _either(own: Measured[str], other: Measured[str], more_cents: float) -> CombReading:
    """A merged reading with a bound for both; also the two values if only the names are unsure."""
    apart_cents = abs(cents_of_ratio(own.hz / other.hz))
    sigmas = own.sigma_cents, other.sigma_cents
    bound = Bound(
        near_hz=float(np.sqrt(own.hz * other.hz)),
        bound_cents=float(0.5 * apart_cents + 2.0 * max(sigmas) + more_cents),
        either=None if more_cents else Either((own.hz, other.hz), sigmas),
    )
    return bounded(flagged(own, _MERGED), bound)
