import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from walkboard.physics.flue import (
    End,
    cavaille_coll_length_mm,
    cavaille_coll_square_length_mm,
    cents_per_mm,
    cut_up_mm,
    effective_length_mm,
    half_tones_of_scale,
    ising_length_mm,
    normal_scale_mm,
    slide_mm_for_cents,
    stopper_mm_for_cents,
)
from walkboard.quantities import cents_between

PIPES = st.floats(16.0, 8400.0)
SPEEDS = st.floats(330.0, 352.0)
CENTS = st.floats(-50.0, 50.0)


# Two published rules that do not know of each other: Cavaillé-Coll 1860 as printed, at 340 m/s, and
# Ising 1971 at 20 °C (343.2 m/s, ISO 9613-1). Tolerance: 10 cents of the sounding length.
@pytest.mark.parametrize("semitones", [0, 12, 24, 33, 36, 48])
def test_the_old_rule_and_the_new_one_agree(semitones):
    hz = 440.0 * 2 ** ((semitones - 33) / 12)
    diameter = normal_scale_mm(semitones)
    old = cavaille_coll_length_mm(hz, diameter)
    new = ising_length_mm(hz, 343.2, End.OPEN, diameter)
    whole = effective_length_mm(hz, 343.2, End.OPEN)
    assert abs(cents_between(whole, whole + new - old)) < 7.0


@given(PIPES, SPEEDS, CENTS)
def test_a_slide_moved_as_advised_brings_the_pitch_to_its_target(hz, speed, cents):
    before = effective_length_mm(hz, speed, End.OPEN)
    after = before + slide_mm_for_cents(hz, cents, speed)
    np.testing.assert_allclose(cents_between(after, before), cents, atol=1e-8)


@given(PIPES, SPEEDS, CENTS)
def test_a_stopper_moves_half_as_far_as_a_slide(hz, speed, cents):
    np.testing.assert_allclose(
        2.0 * stopper_mm_for_cents(hz, cents, speed),
        slide_mm_for_cents(hz, cents, speed),
        rtol=1e-12,
    )


@given(PIPES, SPEEDS)
def test_for_a_hair_the_slide_follows_the_slope(hz, speed):
    for end, move in ((End.OPEN, slide_mm_for_cents), (End.STOPPED, stopper_mm_for_cents)):
        np.testing.assert_allclose(
            move(hz, 0.01, speed) * cents_per_mm(hz, speed, end), 0.01, rtol=1e-5
        )


def test_down_is_sharper():
    assert slide_mm_for_cents(440.0, 5.0, 343.2) < 0.0 < slide_mm_for_cents(440.0, -5.0, 343.2)
    assert stopper_mm_for_cents(440.0, 5.0, 343.2) < 0.0


def test_the_exact_slide_differs_from_the_linear_one_as_said():
    exact = slide_mm_for_cents(440.0, -50.0, 343.2)
    linear = -50.0 / cents_per_mm(440.0, 343.2, End.OPEN)
    np.testing.assert_allclose(exact / linear - 1.0, 0.0145, atol=0.001)


# From practice: why trebles are shaded by hundredths of a millimetre. Top c4 of a 2′, 8.4 kHz.
def test_the_top_of_a_two_foot_moves_85_cents_a_millimetre():
    np.testing.assert_allclose(cents_per_mm(8372.0, 343.2, End.OPEN), -84.5, atol=0.5)


# Source: half-length of a stopped pipe, any handbook: 8′ stopped C is about 4 feet long.
def test_a_stopped_pipe_is_half_as_long():
    stopped = effective_length_mm(65.4, 343.2, End.STOPPED)
    np.testing.assert_allclose(stopped, 0.5 * effective_length_mm(65.4, 343.2, End.OPEN))
    np.testing.assert_allclose(stopped, 4 * 304.8, rtol=0.1)


def test_corrections_of_a_stopped_pipe_leave_out_the_open_end():
    diameter = normal_scale_mm(24)
    open_total = effective_length_mm(261.6, 343.2, End.OPEN) - ising_length_mm(
        261.6, 343.2, End.OPEN, diameter
    )
    stopped_total = effective_length_mm(261.6, 343.2, End.STOPPED) - ising_length_mm(
        261.6, 343.2, End.STOPPED, diameter
    )
    np.testing.assert_allclose(open_total - stopped_total, 0.6026 * diameter / 2.0, rtol=1e-3)


def test_a_higher_mouth_sharpens_less():
    low = ising_length_mm(440.0, 343.2, End.OPEN, 37.0, cut_up=0.2)
    high = ising_length_mm(440.0, 343.2, End.OPEN, 37.0, cut_up=0.33)
    assert high > low  # less correction to take off


# Source: Cavaillé-Coll 1860, same page: harmonic pipes take two and three half waves.
def test_a_harmonic_pipe_is_a_wave_longer():
    one, two = (cavaille_coll_length_mm(523.25, 40.0, half_waves=n) for n in (1, 2))
    np.testing.assert_allclose(two - one, 1000.0 * 340.0 / (2 * 523.25))


def test_square_wood_takes_off_twice_its_depth():
    np.testing.assert_allclose(cavaille_coll_square_length_mm(170.0, 50.0), 1000.0 - 100.0)


@given(st.floats(0.0, 60.0), st.floats(-12.0, 12.0))
def test_deviation_from_the_normal_scale_goes_there_and_back(semitones, half_tones):
    diameter = normal_scale_mm(semitones, half_tones)
    np.testing.assert_allclose(half_tones_of_scale(diameter, semitones), half_tones, atol=1e-9)


# Source: Adelung 1991: the diameter halves on the seventeenth pipe.
def test_the_diameter_halves_on_the_seventeenth_pipe():
    np.testing.assert_allclose(normal_scale_mm(16), 155.5 / 2.0)


# Source: R. Giangiulio's page: 8.1 mm open and 10.5 mm stopped at 440 Hz.
@pytest.mark.parametrize(("end", "printed"), [(End.OPEN, 8.1), (End.STOPPED, 10.5)])
def test_cut_up_at_a4_as_printed(end, printed):
    np.testing.assert_allclose(cut_up_mm(440.0, end), printed, atol=0.05)


def test_fits_are_not_used_outside_their_range():
    with pytest.raises(ValueError, match="30 to 5000 Hz"):
        cut_up_mm(8000.0, End.OPEN)


@pytest.mark.parametrize(("hz", "speed"), [(0.0, 343.0), (440.0, 0.0), (math.nan, 343.0)])
def test_a_pipe_has_a_pitch(hz, speed):
    with pytest.raises(ValueError, match="must be positive"):
        effective_length_mm(hz, speed, End.OPEN)
