import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from walkboard.physics.locking import (
    beat_near_locking_hz,
    difference_behind_beat_hz,
    may_lock,
)


def simulated_beat_hz(difference_hz: float, locking_hz: float) -> float:
    """Beats counted in the phase equation that Adler derived: dφ/dt = Δω − ω_L sin φ."""
    free, pull = 2 * np.pi * difference_hz, 2 * np.pi * locking_hz
    # counted from the tenth second, when it has settled
    run = solve_ivp(
        lambda _t, phase: free - pull * np.sin(phase),
        (0.0, 60.0),
        [0.0],
        t_eval=[10.0, 60.0],
        rtol=1e-7,
        atol=1e-7,
    )
    return float((run.y[0, 1] - run.y[0, 0]) / (2 * np.pi * 50.0))


@pytest.mark.parametrize(
    ("difference", "locking"), [(2.0, 1.0), (1.1, 1.0), (0.9, 1.0), (3.0, 0.2)]
)
def test_adler_agrees_with_the_equation_integrated(difference, locking):
    # 50 s of counting leaves one beat of phase either way: 0.02 Hz
    np.testing.assert_allclose(
        beat_near_locking_hz(difference, locking), simulated_beat_hz(difference, locking), atol=0.02
    )


@given(st.floats(0.01, 20.0), st.floats(0.0, 5.0))
def test_what_lies_behind_a_beat(beat, locking):
    difference = difference_behind_beat_hz(beat, locking)
    np.testing.assert_allclose(beat_near_locking_hz(difference, locking), beat, rtol=1e-6)
    assert difference >= beat


def test_sense_does_not_matter():
    assert beat_near_locking_hz(-2.0, 1.0) == beat_near_locking_hz(2.0, 1.0)
    with pytest.raises(ValueError, match="must not be negative"):
        beat_near_locking_hz(2.0, -1.0)


# Source: Angster et al. 1993: pipes on one groove more than 1 % apart do not lock.
def test_one_per_cent():
    assert may_lock(440.0, 444.3)
    assert may_lock(444.3, 440.0)
    assert not may_lock(440.0, 444.5)
