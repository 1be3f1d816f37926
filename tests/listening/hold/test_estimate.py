"""The stated sigma where the sound is not steady: shaking wind, and low pipes held too briefly."""

from __future__ import annotations

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from tests.signals import partial_levels, room
from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import Measured
from walkboard.listening.types import Comb

RATE = 24_000
Floats = NDArray[np.float64]


def played(
    courses_cents: Floats,
    hz: float,
    kind: str,
    rng: np.random.Generator,
    *,
    reverberation_s: float,
    noise: float = 0.003,
) -> tuple[Floats, Floats]:
    """A key after its neighbour a semitone below: samples from its going down, and its cycles.

    `courses_cents` is its pitch at every sample; the neighbour sounds for the two seconds before.
    """
    count = len(courses_cents)
    levels = partial_levels(kind, hz, rng, 6_000.0)
    cycles = np.cumsum(hz * 2.0 ** (courses_cents / 1200.0)) / RATE
    times = np.arange(count) / RATE
    sound = np.zeros(2 * RATE + count)
    speaks = 1.0 - np.exp(-times * hz / 20.0)
    before = np.arange(int(1.85 * RATE)) / RATE
    for number, level in enumerate(levels, start=1):
        turn = rng.uniform(0.0, 2.0 * np.pi)
        sound[2 * RATE :] += level * speaks * np.cos(2.0 * np.pi * number * cycles + turn)
        below_hz = number * hz / 2.0 ** (1.0 / 12.0)
        sound[: len(before)] += level * np.cos(2.0 * np.pi * below_hz * before + 2.0 * turn)
    wet = scipy.signal.oaconvolve(sound, room(reverberation_s, -3.0, RATE, rng))
    heard = wet[2 * RATE : 2 * RATE + count]
    heard += noise * np.std(heard) * rng.standard_normal(count)
    return 0.1 * heard[:, np.newaxis], cycles


def off_and_sigma(samples: Floats, cycles: Floats, hz: float) -> tuple[float, float] | None:
    """Error and sigma [cents]; None without a value."""
    (reading,) = measure_hold(samples, RATE, [Comb("", hz)])
    if not isinstance(reading, Measured):
        return None
    first, last = (int(at * RATE) for at in (reading.start_s, reading.end_s))
    true_hz = (cycles[last] - cycles[first]) / (last - first) * RATE
    return 1200.0 * float(np.log2(reading.hz / true_hz)), reading.sigma_cents


def test_sigma_holds_in_a_wind_that_shakes_by_a_cent():
    scores = []
    for seed in range(24):
        rng = np.random.default_rng([3, seed])
        hz = (196.0, 262.0, 392.0, 523.0)[seed % 4]
        times = np.arange(int(3.0 * RATE)) / RATE
        course = np.sin(2.0 * np.pi * rng.uniform(4.5, 8.0) * times + rng.uniform(0.0, 6.28))
        samples, cycles = played(course, hz, "flue", rng, reverberation_s=1.2)
        found = off_and_sigma(samples, cycles, hz)
        assert found is not None
        scores.append(found[0] / found[1])
    assert np.mean(np.abs(scores) < 2.0) >= 0.8  # 24 notes: 20 to 24 for a true rate of 95 %


def test_a_low_pipe_held_for_a_second_is_not_believed_to_hundredths():
    scores = []
    for seed in range(24):
        rng = np.random.default_rng([4, seed])
        hz = (36.7, 46.2, 55.0, 65.4)[seed % 4]
        times = np.arange(int(1.05 * RATE)) / RATE
        slides = -20.0 * np.exp(-times * hz / 40.0)
        samples, cycles = played(slides, hz, "stopped", rng, reverberation_s=3.0, noise=0.2)
        found = off_and_sigma(samples, cycles, hz)
        if found is not None:
            scores.append(found[0] / found[1])
    assert len(scores) >= 12
    assert max(map(abs, scores)) < 2.5  # 2.8 where what still rings is not counted
