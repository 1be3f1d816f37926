"""Where a comb is, near where it is expected: a coarse frequency, from the whole series at once.

In white noise, and with partials further apart than the hold's resolution, the most likely
fundamental of a harmonic series maximises the sum of the periodogram over its multiples
(Christensen & Jakobsson 2009, Multi-Pitch Estimation, section 2.6, harmonic summation as
approximate maximum likelihood). Noise in a church is never white, so each partial's power is
measured in units of its local floor, and only the part above a few units counts: the number of
partials is unknown, and absent ones must not drown those present.

The grid is finer than the resolution at the highest partial used, so the maximum is found however
narrow it is; the joint estimate easily corrects the remaining error.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.hold.spectrum import HoldSpectrum, noise_floor, running_mean_s
from walkboard.quantities import ratio_of_cents

SEARCH_CENTS = 60.0
_STEP_BINS = 0.35  # at the highest partial searched
_SEARCH_PARTIALS = 48
_SEARCH_REACH_HZ = 6_000.0
_UNSURE = 4.0  # power over floor below which a partial does not count: most may be absent
HIGHEST_HZ = 20_000.0
MOST_PARTIALS = 56


@dataclass(frozen=True, slots=True)
class Place:
    """Where a comb was found.

    Attributes
    ----------
    hz : float
        Fundamental [Hz].
    score : float
        Sum of the partials' power over their floor, above the threshold [-].
    by_chance : float
        Score that noise alone would rarely reach anywhere on the grid [-].
    """

    hz: float
    score: float
    by_chance: float

    @property
    def heard(self) -> bool:
        """Whether the score is more than chance."""
        return self.score > self.by_chance


def numbers_below(hz: float, sample_rate: int, most: int = MOST_PARTIALS) -> NDArray[np.int64]:
    """Numbers of the partials that can be heard in a recording, from 1."""
    highest = min(HIGHEST_HZ, 0.46 * sample_rate)
    return np.arange(1, 1 + max(1, min(most, int(highest / hz))), dtype=np.int64)


def own_numbers(
    hz: float, numbers: NDArray[np.int64], others_hz: Sequence[float]
) -> NDArray[np.int64]:
    """Numbers of the partials that are clear of the other combs' partials.

    Not clear: too near for the envelopes' low-pass to separate, or within 35 cents of it.
    """
    place = numbers * hz
    alone = np.ones(len(numbers), dtype=bool)
    for other_hz in others_hz:
        nearest = np.maximum(1.0, np.round(place / other_hz)) * other_hz
        alone &= np.abs(place - nearest) > 1.0 / running_mean_s(hz) + 0.02 * place
    return numbers[alone]


def find_place(
    spectrum: HoldSpectrum,
    expected_hz: float,
    numbers: NDArray[np.int64],
    cents: float = SEARCH_CENTS,
) -> Place:
    """Find a comb from these partials, within so many cents of where it is expected."""
    reach = max(3, min(_SEARCH_PARTIALS, int(_SEARCH_REACH_HZ / expected_hz)))
    numbers = numbers[numbers <= max(reach, int(numbers[0]))]
    floor = noise_floor(spectrum, expected_hz, numbers)
    low, high = expected_hz * ratio_of_cents(-cents), expected_hz * ratio_of_cents(cents)
    step = _STEP_BINS * spectrum.spacing_hz / int(numbers[-1])
    grid = np.arange(low, high + step, step)
    index = np.outer(numbers / spectrum.spacing_hz, grid).round().astype(np.intp)
    index = np.minimum(index, spectrum.power.shape[1] - 1)
    unsure = _UNSURE + np.log(np.maximum(1.0, numbers / 4.0))  # high partials pull the place more
    score = np.zeros(len(grid))
    for channel, level in zip(spectrum.power, floor, strict=True):
        relative = channel[index] / level[:, np.newaxis]
        score += np.maximum(relative - unsure[:, np.newaxis], 0.0).sum(axis=0)
    best = int(np.argmax(score))
    terms = len(numbers) * len(floor)
    rare = np.exp(-_UNSURE)  # noise exceeds it with this probability, then by 1 on average
    by_chance = rare * terms + 5.0 * np.sqrt(2.0 * rare * terms) + 2.0 * np.log(len(grid)) + 5.0
    return Place(float(grid[best]), float(score[best]), float(by_chance))
