"""Two near unisons of one hold: their beat, and how closely an unnamed pair is bounded."""

from __future__ import annotations

import numpy as np
import pytest

from tests.listening.joint.test_measure import read
from tests.readings import bound_of
from walkboard.listening.types import ReadingFlag


@pytest.mark.parametrize("apart_hz", [0.6, 1.5])
def test_the_beat_of_two_unisons_is_the_difference_of_their_frequencies(apart_hz: float) -> None:
    """f₂ − f₁ beats a second: Helmholtz, On the Sensations of Tone, chapter 8."""
    cents = 1200.0 * np.log2(1.0 + apart_hz / 261.6)
    readings, _, _ = read(261.6, (1, 1), ("flue", "flue"), [3, 1], cents=(0.0, float(cents)))
    for reading in readings:
        assert reading.beat_hz == pytest.approx(apart_hz, abs=0.05)


def test_a_pair_that_does_not_part_by_a_turn_is_bounded_by_what_the_window_resolves() -> None:
    """Two lines are one where they are nearer than one over the window's length (Rayleigh)."""
    readings, _, _ = read(130.8, (1, 1), ("flue", "flue"), [3, 2], cents=(0.0, 0.02))
    for reading in readings:
        bound = bound_of(reading)
        assert ReadingFlag.MERGED in reading.flags
        assert bound.either is None
        highest = min(max(p.number for p in one.partials) for one in readings)
        finest_hz = 1.0 / ((reading.end_s - reading.start_s) * highest)
        assert bound.bound_cents > 1200.0 * np.log2(1.0 + finest_hz / bound.near_hz)
