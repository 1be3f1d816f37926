"""Which of two pipes in near unison is which, from their spectra.

Only the spectra show which of two series in a hold belongs to which pipe. The partials' levels are
compared with what is remembered of the pipe (`Comb.levels_db`) or with the spectrum that its kind
usually has, up to a common level and with a scatter of some dB.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from walkboard.listening.types import Comb, Spectrum


@dataclass(frozen=True, slots=True)
class Limits:
    """How spectra are compared."""

    scatter_db: float = 6.0  # of a partial about its kind's shape; common practice, no source
    believed: float = 0.25  # weight of what was heard before against its kind [-]; chosen
    outlier: float = 0.02  # probability that a partial fits no shape [-]; chosen
    range_db: float = 60.0  # over which such a partial may lie; chosen


LIMITS = Limits()


def expected_levels_db(comb: Comb, numbers: list[int]) -> list[float | None]:
    """Expected levels of a comb's partials, up to a common level.

    None beyond the partials remembered. The shapes are common practice, no source.
    """
    kind = _levels_of_kind(comb, numbers)
    if comb.levels_db is None:
        return list(kind)
    known = dict(enumerate(comb.levels_db, start=1))
    beyond = {n: known[n] - due for n, due in zip(numbers, kind, strict=True) if n in known}
    if not beyond:
        return [None] * len(numbers)
    middle = float(np.median(list(beyond.values())))
    return [
        due + LIMITS.believed * (beyond[n] - middle) if n in beyond else None
        for n, due in zip(numbers, kind, strict=True)
    ]


def _levels_of_kind(comb: Comb, numbers: list[int]) -> list[float]:
    octaves = [float(np.log2(number)) for number in numbers]
    if comb.spectrum is Spectrum.ODD:
        return [-11.0 * o - 20.0 * (n % 2 == 0) for n, o in zip(numbers, octaves, strict=True)]
    if comb.spectrum is Spectrum.BRIGHT:
        return [
            -3.0 * o - 6.0 * max(0.0, float(np.log2(n * comb.hz / 1500.0)))
            for n, o in zip(numbers, octaves, strict=True)
        ]
    return [-9.0 * o for o in octaves]


def likeness(comb: Comb, levels_db: Mapping[int, float]) -> float:
    """Log likelihood of partials' levels under a comb, up to a common level."""
    numbers = sorted(levels_db)
    due = expected_levels_db(comb, numbers)
    pairs = [(levels_db[n], d) for n, d in zip(numbers, due, strict=True) if d is not None]
    if len(pairs) < 2:
        return 0.0
    away = np.array([heard - d for heard, d in pairs])
    away = (away - np.median(away)) / LIMITS.scatter_db
    elsewhere = LIMITS.outlier * LIMITS.scatter_db / LIMITS.range_db
    density = (1.0 - LIMITS.outlier) * np.exp(-0.5 * away**2) + elsewhere
    return float(np.log(density).sum())


def odds_as_named(
    first: Comb, second: Comb, of_first: Mapping[int, float], of_second: Mapping[int, float]
) -> float:
    """Log odds that two spectra belong to the combs in this order and not swapped."""
    if first.levels_db is None and second.levels_db is None and first.spectrum is second.spectrum:
        return 0.0
    if not of_first or not of_second:
        return 0.0
    # A partial that only one of them has says most: the other is taken as the faintest heard.
    highest = min(max(of_first), max(of_second))
    floor = min(*of_first.values(), *of_second.values())
    numbers = sorted(n for n in of_first.keys() | of_second.keys() if n <= highest)
    one = {n: of_first.get(n, floor) for n in numbers}
    two = {n: of_second.get(n, floor) for n in numbers}
    straight = likeness(first, one) + likeness(second, two)
    return straight - likeness(first, two) - likeness(second, one)
