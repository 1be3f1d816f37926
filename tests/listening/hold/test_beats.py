"""Beats from two frequencies and from the envelope."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.registrations import RATE, scene
from walkboard.listening.hold.beats import beat_of_envelope, beats_between
from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import Measured
from walkboard.listening.types import Comb, Spectrum


def test_an_equal_fifth_on_middle_c_beats_less_than_once_a_second():
    """C4–G4 in equal temperament at A4 = 440 Hz: .89 beats a second between partials 3 and 2.

    Common practice (printed in tuners' beat tables; from memory).
    """
    c4, g4 = 440.0 * 2.0 ** (-9 / 12), 440.0 * 2.0 ** (-2 / 12)
    first = beats_between(c4, g4)[0]
    assert (first.first, first.second) == (3, 2)
    assert_allclose(first.per_second, 0.89, atol=0.005)


def test_partial_n_of_unisons_beats_n_times_as_fast():
    beats = beats_between(440.0, 441.0)
    assert_allclose([b.per_second for b in beats[:5]], [1.0, 2.0, 3.0, 4.0, 5.0])


def test_the_loudest_beat_comes_first_and_silent_partials_do_not_beat():
    beats = beats_between(
        200.0,
        400.5,
        first_levels_db={1: 0.0, 2: -20.0, 4: -6.0},
        second_levels_db={1: -3.0, 2: -4.0, 3: -9.0},
    )
    assert [(b.first, b.second, b.strength_db) for b in beats] == [(4, 2, -6.0), (2, 1, -20.0)]


def test_frequencies_must_be_positive():
    with pytest.raises(ValueError, match="positive"):
        beats_between(0.0, 440.0)


def test_the_envelope_beats_as_the_two_frequencies_say():
    samples, _ = scene(
        (220.0, 220.0),
        ("flue", "reed"),
        np.random.default_rng(1),
        seconds=5.0,
        faintest_db=0.0,
        wander_cents=0.02,
        cents=(-6.0, 6.0),
        levels_db=(0.0, 0.0),
    )
    combs = [Comb("a", 220.0, Spectrum.FULL), Comb("b", 220.0, Spectrum.BRIGHT)]
    one, two = measure_hold(samples, RATE, combs)
    assert isinstance(one, Measured)
    assert isinstance(two, Measured)
    beat = beats_between(one.hz, two.hz)[0]
    heard = beat_of_envelope(samples[round(1.3 * RATE) :, 0], RATE, beat.hz)
    assert heard is not None
    assert_allclose(heard, beat.per_second, atol=0.05)


def test_one_pipe_alone_does_not_beat():
    samples, _ = scene(
        (220.0,),
        ("flue",),
        np.random.default_rng(2),
        seconds=5.0,
        faintest_db=0.0,
        wander_cents=0.02,
    )
    assert beat_of_envelope(samples[round(1.3 * RATE) :, 0], RATE, 220.0) is None
