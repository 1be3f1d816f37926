"""How far from its place a pipe hidden under others can be at most.

Each partial of a 4′ falls on every second one of an 8′. Where the two are nearly in tune nothing
separates them, and the 4′ has no value. But if it were further off, its partials would be lines of
their own. So every place within the sub-bands is checked: the pipe cannot be there if two lower
partials, which its kind has, have less than a thousandth of the power in their sub-bands at that
place. It must be somewhere in what remains.

The only assumption is that a partial is not 30 dB softer than what it falls on. A pipe that is
softer, or dead, is not where the bound says, and nothing in the hold shows that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.joint.bands import Band
from walkboard.listening.joint.stages import Joint
from walkboard.listening.readings import Bound, CombReading, bounded
from walkboard.listening.types import Comb, ReadingFlag, Spectrum
from walkboard.quantities import cents_of_ratio, ratio_of_cents


@dataclass(frozen=True, slots=True)
class Limits:
    """When a hidden pipe cannot be somewhere."""

    highest_number: int = 6  # higher partials of a dull pipe may be softer than assumed; chosen
    least_bands: int = 2  # empty sub-bands that rule a place out; chosen
    softest: float = 1e-3  # share of the power that a partial surely has [-]; chosen
    step_cents: float = 0.05  # between the places tried; chosen


LIMITS = Limits()


def with_bounds(
    joint: Joint, combs: Sequence[Comb], readings: Sequence[CombReading]
) -> list[CombReading]:
    """The readings; merged ones without a bound get the one that the hold supports."""
    return [
        _bounded(joint, comb, pipe, reading)
        if ReadingFlag.MERGED in reading.flags and reading.bound_or_none is None
        else reading
        for pipe, (comb, reading) in enumerate(zip(combs, readings, strict=True))
    ]


def _bounded(joint: Joint, comb: Comb, pipe: int, reading: CombReading) -> CombReading:
    telling = _telling(joint, comb, pipe)
    if len(telling) < LIMITS.least_bands:
        return reading
    low = max((band.group.centre_hz - band.group.even_hz) / number for band, number in telling)
    high = min((band.group.centre_hz + band.group.even_hz) / number for band, number in telling)
    count = int(cents_of_ratio(high / low) / LIMITS.step_cents)
    places = np.asarray(low * ratio_of_cents(LIMITS.step_cents) ** np.arange(count), np.float64)
    empty = np.zeros(count, int)
    for band, number in telling:
        empty += _share(band, places * number - band.group.centre_hz) < LIMITS.softest
    possible = np.flatnonzero(empty < LIMITS.least_bands)
    if len(possible) == 0 or possible[0] == 0 or possible[-1] == count - 1:
        return reading
    first, last = float(places[possible[0]]), float(places[possible[-1]])
    within_cents = 0.5 * cents_of_ratio(last / first) + LIMITS.step_cents
    return bounded(reading, Bound(float(np.sqrt(first * last)), within_cents))


def _telling(joint: Joint, comb: Comb, pipe: int) -> list[tuple[Band, int]]:
    """Sub-bands in which the pipe must be heard wherever it is, with its partial's number there."""
    return [
        (band, member.number)
        for band in joint.bands.bands
        for member in band.members
        if member.pipe == pipe
        and member.number <= LIMITS.highest_number
        and (comb.spectrum is not Spectrum.ODD or member.number % 2 == 1)
    ]


def _share(band: Band, offsets_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Largest share of the sub-band's power that a line at each offset can have.

    Uses a Hann window over the whole hold; beyond two resolutions its skirts are more than 30 dB
    down.
    """
    nodes = band.nodes
    count = len(nodes.times_s)
    window = 0.5 + 0.5 * np.cos(2.0 * np.pi * nodes.times_s / nodes.seconds)
    # Σ v_j e^{−2πiνt_j} in two steps, within rows of nodes and then over the rows: this needs the
    # square root of the exponentials that a full table would.
    row = int(np.ceil(np.sqrt(count)))
    values = np.zeros((len(band.values), row * row), dtype=complex)
    values[:, :count] = band.values * (window / window.sum())
    turn = -2j * np.pi * (nodes.seconds / count) * np.outer(offsets_hz, np.arange(row))
    within, over = np.exp(turn), np.exp(row * turn)
    power = np.zeros(len(offsets_hz))
    for channel in values.reshape(-1, row, row):
        line = ((within @ channel.T) * over).sum(axis=1)
        power += line.real**2 + line.imag**2
    whole = float((np.abs(band.values) ** 2).mean(axis=1).sum())
    return np.asarray(power / max(whole, 1e-300))
