"""A pipe that settles after its attack is calm; one heard on a carried microphone is not."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from walkboard.listening.hold.slow import slow_movement

SECONDS, TERMS = 2.0, 12


def course(cents: NDArray[np.float64], hz: float) -> NDArray[np.float64]:
    """A course of pitch [cents], given at even times, in the window's cosine basis [Hz]."""
    at = (np.arange(len(cents)) + 0.5) / len(cents)
    cosines = np.cos(np.pi * np.outer(at, np.arange(TERMS + 1)))
    return np.asarray(np.linalg.lstsq(cosines, cents * hz / 1731.23, rcond=None)[0])


@pytest.mark.parametrize("hz", [33.0, 65.0])
def test_settling_is_no_movement(hz: float) -> None:
    times_s = np.linspace(0.0, SECONDS, 200)
    settling = -4.0 * np.exp(-times_s * hz / 30.0)
    slow = slow_movement(course(settling, hz), hz, SECONDS)
    assert slow.rise_cents > 0.0
    assert slow.restless_cents < 0.15


@pytest.mark.parametrize("hz", [33.0, 500.0])
def test_a_microphone_that_moves_to_and_fro_is_movement(hz: float) -> None:
    """A hand at half a metre a second: v/c = 2.5 cents, at .6 Hz (Doppler, to first order)."""
    times_s = np.linspace(0.0, SECONDS, 200)
    speed_m_s = 0.5 * np.sin(2.0 * np.pi * 0.6 * times_s)
    slow = slow_movement(course(1731.23 * speed_m_s / 343.0, hz), hz, SECONDS)
    assert slow.restless_cents > 1.0


def test_wind_that_shakes_is_not_slow() -> None:
    times_s = np.linspace(0.0, SECONDS, 200)
    shaking = np.sin(2.0 * np.pi * 3.0 * times_s)
    assert slow_movement(course(shaking, 200.0), 200.0, SECONDS).restless_cents < 0.3
