"""A tremulant swings all partials at one rate; beats go with the partial's number."""

import numpy as np
import pytest

from walkboard.listening.live.tremulant import swings

RATE = 48_000
TIMES = np.arange(RATE) / RATE


def swung(hz: float, swing_cents: float, rate_hz: float) -> np.ndarray:
    # phase of a tone whose pitch swings as a sine: the integral of f·2^(c/1200) (arithmetic)
    course = hz * 2.0 ** (swing_cents * np.sin(2.0 * np.pi * rate_hz * TIMES) / 1200.0)
    phase = 2.0 * np.pi * np.cumsum(course) / RATE
    sound = np.sin(phase) + 0.4 * np.sin(2.0 * phase) + 0.2 * np.sin(3.0 * phase)
    return sound.astype(np.float32)


@pytest.mark.parametrize(("hz", "swing", "rate"), [(131.0, 6.0, 5.5), (523.0, 12.0, 6.5)])
def test_a_tremulant_is_noticed(hz: float, swing: float, rate: float) -> None:
    assert swings(swung(hz, swing, rate), RATE, hz)


def test_a_steady_pipe_and_a_moving_one_do_not_swing() -> None:
    assert not swings(swung(262.0, 0.0, 5.0), RATE, 262.0)
    phase = 2.0 * np.pi * np.cumsum(262.0 * 2.0 ** (20.0 * TIMES / 1200.0)) / RATE
    assert not swings(np.sin(phase).astype(np.float32), RATE, 262.0)


def test_two_pipes_that_beat_do_not_swing() -> None:
    one, other = 523.0 * 2.0 * np.pi * TIMES, 527.5 * 2.0 * np.pi * TIMES
    both = sum(np.sin(n * one) / n + 0.7 * np.sin(n * other) / n for n in (1, 2))
    assert not swings(np.asarray(both, np.float32), RATE, 523.0)


def test_less_than_a_second_is_not_asked() -> None:
    assert not swings(swung(262.0, 10.0, 5.0)[: RATE // 2], RATE, 262.0)
