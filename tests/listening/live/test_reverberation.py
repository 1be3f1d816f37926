"""High pipes separated from the room that fills, on notes of `tests.signals` whose truth is
known."""

import numpy as np
import pytest

from tests.signals import KINDS, note
from walkboard.listening.live.reverberation import room_look
from walkboard.listening.live.steady import steady_look

RATE = 48_000
END_S, WINDOW_S = 1.0, 0.5


def errors(hz: float, count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Of notes heard for a second: this look's error, its σ, the plain look's error [cents]."""
    found = []
    for trial in range(count):
        rng = np.random.default_rng([19, trial, round(hz)])
        made = note(hz, KINDS[trial % 3], rng, seconds=END_S + 0.1)
        sound = made.samples[: round(END_S * RATE), 0].astype(np.float32)
        near_hz = hz * 2.0 ** (rng.normal(0.0, 0.1) / 1200.0)
        seen = room_look(sound, RATE, near_hz, WINDOW_S)
        plain = steady_look(sound[round(0.34 * RATE) :], RATE, near_hz)
        assert seen is not None
        assert plain is not None
        truth = made.mean_hz(END_S - WINDOW_S, END_S)
        found.append(
            (
                1200.0 * np.log2(seen.hz / truth),
                seen.sigma_cents,
                1200.0 * np.log2(plain.hz / made.mean_hz(0.34, END_S)),
            )
        )
    error, sigma, plain_error = np.array(found).T
    return error, sigma, plain_error


@pytest.mark.parametrize("hz", [1046.5, 4186.0])
def test_half_a_second_is_exact_while_the_room_fills_and_says_how_exact(hz: float) -> None:
    error, sigma, plain = errors(hz, 24)
    assert np.mean(np.abs(error) < 0.04) >= 0.9  # asked .03 in 95 %: python -m bench live
    assert np.mean(np.abs(error) < 2.0 * sigma) >= 0.85
    assert np.sqrt(np.mean(error**2)) < np.sqrt(np.mean(plain**2))


def test_noise_and_another_pipe_are_not_read() -> None:
    rng = np.random.default_rng(3)
    noise = (0.05 * rng.standard_normal(RATE)).astype(np.float32)
    assert room_look(noise, RATE, 2093.0, 0.5) is None
    assert room_look(noise[: RATE // 10], RATE, 2093.0, 0.5) is None
    away = note(2093.0 * 2.0 ** (30.0 / 1200.0), "flue", rng, seconds=1.0)
    assert room_look(away.samples[:, 0].astype(np.float32), RATE, 2093.0, 0.5) is None
