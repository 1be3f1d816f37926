"""A recorder that drops samples: the gap is found, and the hold is read on its longer side."""

from __future__ import annotations

import numpy as np
import pytest

from tests.registrations import RATE, mean_hz, scene
from tests.signals import note
from walkboard.listening.hold.gaps import find_gap
from walkboard.listening.hold.spectrum import spectrum_of_hold
from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import Measured
from walkboard.listening.types import Comb, ReadingFlag


@pytest.mark.parametrize("kind", ["flue", "stopped", "reed"])
@pytest.mark.parametrize("missing_ms", [5.3, 20.7])
def test_a_gap_is_found_and_the_pipe_read_as_without_it(kind, missing_ms):
    made = note(262.0, kind, np.random.default_rng(4), seconds=5.0)
    first = round(1.4 * made.sample_rate)
    last = first + round(missing_ms / 1000.0 * made.sample_rate)
    samples = np.concatenate([made.samples[:first], made.samples[last:]])
    (reading,) = measure_hold(samples, made.sample_rate, [Comb("", 262.0)], start_s=10.0)
    assert reading.flags == (ReadingFlag.GAP,)
    assert isinstance(reading, Measured)
    assert reading.sigma_cents is not None
    assert reading.start_s > 11.4
    missing_s = missing_ms / 1000.0
    true_hz = made.mean_hz(reading.start_s - 10.0 + missing_s, reading.end_s - 10.0 + missing_s)
    assert abs(1200.0 * np.log2(reading.hz / true_hz)) < 4.0 * reading.sigma_cents < 0.1


def test_a_gap_late_in_a_hold_leaves_what_was_before_it():
    made = note(131.0, "flue", np.random.default_rng(8), seconds=5.0)
    first = round(4.0 * made.sample_rate)
    samples = np.concatenate([made.samples[:first], made.samples[first + 700 :]])
    (reading,) = measure_hold(samples, made.sample_rate, [Comb("", 131.0)])
    assert reading.flags == (ReadingFlag.GAP,)
    assert reading.end_s < 4.0
    assert isinstance(reading, Measured)
    true_hz = made.mean_hz(reading.start_s, reading.end_s)
    assert abs(1200.0 * np.log2(reading.hz / true_hz)) < 0.05


def test_several_ranks_with_a_gap_are_read_on_its_longer_side():
    due = (130.8, 261.6, 392.4)
    samples, courses = scene(
        due,
        ("flue",) * 3,
        np.random.default_rng(6),
        seconds=5.0,
        faintest_db=-12.0,
        wander_cents=0.1,
    )
    first = round(1.2 * RATE)
    cut = np.concatenate([samples[:first], samples[first + 610 :]])
    for reading, cycles in zip(
        measure_hold(cut, RATE, [Comb(str(hz), hz) for hz in due]), courses, strict=True
    ):
        assert reading.flags == (ReadingFlag.GAP,)
        assert isinstance(reading, Measured)
        late_s = 610 / RATE
        true_hz = mean_hz(cycles, reading.start_s + late_s, reading.end_s + late_s)
        assert abs(1200.0 * np.log2(reading.hz / true_hz)) < 0.05


@pytest.mark.parametrize("apart_cents", [1.0, 4.0, 12.0])
def test_two_that_beat_have_no_gap(apart_cents):
    samples, _ = scene(
        (196.0, 196.0),
        ("flue", "flue"),
        np.random.default_rng(2),
        seconds=4.0,
        faintest_db=0.0,
        wander_cents=0.3,
        cents=(0.0, apart_cents),
        levels_db=(0.0, 0.0),
    )
    assert find_gap(spectrum_of_hold(samples, RATE)) is None
