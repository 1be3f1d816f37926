"""Where a pipe is among others: the search finds lines whose places are given."""

from __future__ import annotations

import numpy as np
import pytest

from tests.listening.joint.lines import SECONDS, band, bands_of_unisons
from walkboard.listening.joint.courses import Courses
from walkboard.listening.joint.search import grid_of, search_one, search_two
from walkboard.listening.joint.stacks import BandSet

DUE_HZ = 262.0
NUMBERS = (1, 2, 3, 4)
STEP_HZ = 0.3 / SECONDS / max(NUMBERS)  # the grid of the highest band


def start(bands: BandSet) -> Courses:
    return Courses.start(bands, 6, 0.08)


@pytest.mark.parametrize("offset_hz", [-2.0, 0.4, 3.1])
def test_a_pipe_by_itself_is_found(offset_hz: float) -> None:
    bands = BandSet.of(
        (band({0: n}, n * DUE_HZ, [(n * (DUE_HZ + offset_hz), 1.0)]) for n in NUMBERS), [DUE_HZ]
    )
    found = search_one(bands, range(4), start(bands), 0, [], 25.0)
    assert found[0].offset_hz == pytest.approx(offset_hz, abs=STEP_HZ)
    assert [one.score for one in found] == sorted((one.score for one in found), reverse=True)


def test_many_bands_that_agree_outweigh_one_loud_line() -> None:
    """A blower's line, 20 dB louder, in one band; the pipe in all four."""
    lines = {n: [(n * (DUE_HZ + 1.0), 1.0)] for n in NUMBERS}
    lines[2].append((2 * (DUE_HZ - 2.0), 10.0))
    bands = BandSet.of((band({0: n}, n * DUE_HZ, lines[n]) for n in NUMBERS), [DUE_HZ])
    found = search_one(bands, range(4), start(bands), 0, [], 25.0)
    assert found[0].offset_hz == pytest.approx(1.0, abs=STEP_HZ)


def test_the_grid_reaches_as_far_as_it_should_in_steps_of_the_highest_band() -> None:
    bands = bands_of_unisons(DUE_HZ, (DUE_HZ, DUE_HZ), NUMBERS)
    grid = grid_of(bands, range(4), 0, 25.0)
    assert np.diff(grid) == pytest.approx(STEP_HZ)
    reach_hz = DUE_HZ * (2.0 ** (25.0 / 1200.0) - 1.0)
    assert reach_hz <= grid[-1] < reach_hz + STEP_HZ
    assert grid[0] == pytest.approx(-grid[-1])


@pytest.mark.parametrize(("low_hz", "high_hz"), [(-0.5, 0.3), (0.2, 1.7), (-2.0, -1.2)])
def test_two_unisons_are_found_the_lower_one_first(low_hz: float, high_hz: float) -> None:
    """Half as loud or not, and whichever is first."""
    places = (DUE_HZ + low_hz, DUE_HZ + high_hz)
    for sounding in (places, places[::-1]):
        bands = bands_of_unisons(DUE_HZ, sounding, NUMBERS, second=0.5)
        found = search_two(bands, range(4), start(bands), (0, 1), [], 20.0, 0.1)
        first, second, score = found[0]
        assert (first, second) == pytest.approx((low_hz, high_hz), abs=1.5 * STEP_HZ)
        assert len(found) == 2  # a second start, elsewhere
        assert found[1][2] < score
        assert max(abs(found[1][0] - first), abs(found[1][1] - second)) > 4 * STEP_HZ


def test_places_nearer_than_they_may_be_are_not_tried() -> None:
    bands = bands_of_unisons(DUE_HZ, (DUE_HZ, DUE_HZ + 0.4), NUMBERS)
    for first, second, _ in search_two(bands, range(4), start(bands), (0, 1), [], 20.0, 0.8):
        assert second - first >= 0.8 - STEP_HZ
