"""The truth about a pitch that moves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import quad

from walkboard.demo.synthesiser.pitch import FrequencyTrack, slow_wander

KNOTS = st.lists(st.floats(15.0, 9000.0), min_size=2, max_size=40)


@given(KNOTS, st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_cycles_of_neighbouring_windows_add_up(knots, a, b, c):
    track = FrequencyTrack(3.0, 0.02, np.array(knots))
    span = track.end_s - track.start_s
    low, mid, high = (track.start_s + share * span for share in sorted((a, b, c)))
    if min(mid - low, high - mid) < 1e-3:
        return
    whole = track.mean_hz(low, high) * (high - low)
    parts = track.mean_hz(low, mid) * (mid - low) + track.mean_hz(mid, high) * (high - mid)
    assert_allclose(parts, whole, rtol=1e-10)


def test_mean_frequency_equals_quadrature_of_the_frequency_itself():
    # scipy's adaptive quadrature (QUADPACK) of numpy's straight lines is the outside reference
    rng = np.random.default_rng(5)
    knots = 262.0 * 2.0 ** (slow_wander(150, 0.02, rng) * 3.0 / 1200.0)
    track = FrequencyTrack(1.0, 0.02, knots)
    times = 1.0 + 0.02 * np.arange(150)
    for low, high in ((1.0, 3.98), (1.013, 1.017), (1.5, 2.75)):
        inside = times[(times > low) & (times < high)]
        area, _ = quad(np.interp, low, high, (times, knots), points=inside, limit=400)
        assert_allclose(track.mean_hz(low, high), area / (high - low), rtol=1e-12)


def test_a_window_outside_the_sound_is_refused():
    track = FrequencyTrack(1.0, 0.02, np.full(51, 440.0))
    with pytest.raises(ValueError, match="outside the track"):
        track.mean_hz(0.5, 1.5)
    with pytest.raises(ValueError, match="must have a length"):
        track.mean_hz(1.5, 1.5)
    with pytest.raises(ValueError, match="two knots"):
        FrequencyTrack(0.0, 0.02, np.array([440.0]))


def test_wander_has_the_root_mean_square_asked_and_is_slow():
    rng = np.random.default_rng(11)
    draws = np.array([slow_wander(200, 0.02, rng) for _ in range(600)])
    # 600 draws of about 8 independent values each: standard error of the power 2 %, of its root 1 %
    assert_allclose(np.sqrt(np.mean(draws**2)), 1.0, atol=0.04)
    steps = np.diff(draws, axis=1) / 0.02
    # white noise through two first-order lags of corner f has slope rms 2π f times its own rms
    assert_allclose(np.sqrt(np.mean(steps**2)), 2.0 * np.pi * 0.6, rtol=0.06)


def test_wander_about_the_mean_is_read_in_cents():
    cents = np.tile([1.0, -1.0], 50)
    track = FrequencyTrack(0.0, 0.02, 440.0 * 2.0 ** (cents / 1200.0))
    assert_allclose(track.wander_cents(0.0, 1.98), 1.0, atol=1e-3)
