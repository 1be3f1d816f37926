"""The bound on a pipe that is hidden under another's partials holds, and tightens with the hold."""

from __future__ import annotations

import numpy as np
import pytest

from tests.readings import bound_of, measured
from tests.registrations import RATE, mean_hz, scene
from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import CombReading, Measured
from walkboard.listening.types import Comb, ReadingFlag, Spectrum

HINT = {"flue": Spectrum.FULL, "reed": Spectrum.BRIGHT, "stopped": Spectrum.ODD}
CHORUS = (1.0, 2.0, 3.0, 4.0)
HARD = {"faintest_db": -25.0, "wander_cents": 0.3}


def read(
    base_hz: float,
    kinds: tuple[str, ...],
    cents: tuple[float, ...],
    seed: int,
    seconds: float = 4.0,
    **more: float,
) -> tuple[tuple[CombReading, ...], list[float]]:
    """Readings of a chorus and the true frequencies in their windows."""
    due = tuple(base_hz * m for m in CHORUS[: len(kinds)])
    samples, courses = scene(
        due,
        kinds,
        np.random.default_rng([99, seed]),
        seconds=seconds,
        cents=cents,
        **({"faintest_db": -12.0, "wander_cents": 0.1} | more),  # type: ignore[arg-type]
    )
    combs = [
        Comb(str(n), hz, HINT[kind]) for n, (hz, kind) in enumerate(zip(due, kinds, strict=True))
    ]
    readings = measure_hold(samples, RATE, combs)
    truths = [mean_hz(c, r.start_s, r.end_s) for c, r in zip(courses, readings, strict=True)]
    return readings, truths


@pytest.mark.parametrize("base_hz", [98.0, 261.6, 523.3])
def test_a_chorus_nearly_in_tune_is_bounded(base_hz: float) -> None:
    bounded = 0
    for seed in range(3):
        cents = tuple(np.random.default_rng([seed, round(base_hz)]).normal(5.0, 0.4, 4))
        readings, truths = read(base_hz, ("flue",) * 4, cents, seed, **HARD)
        for reading, true_hz in zip(readings, truths, strict=True):
            if ReadingFlag.MERGED not in reading.flags or reading.bound_or_none is None:
                continue
            bounded += 1
            assert not isinstance(reading, Measured)
            bound = bound_of(reading)
            assert abs(1200.0 * np.log2(bound.near_hz / true_hz)) < bound.bound_cents
            # two resolutions of the window either side, at the pipe's second partial
            assert bound_of(reading).bound_cents < 1200.0 * np.log2(1.0 + 2.0 / true_hz)
    assert bounded >= 2


def test_a_longer_hold_bounds_more_closely() -> None:
    medians = []
    for seconds in (2.0, 4.0):
        bounds = [
            bound_of(reading).bound_cents
            for seed in range(3)
            for reading in read(
                261.6, ("flue",) * 4, (0.0, 0.05, 0.1, 0.15), seed, seconds, **HARD
            )[0]
            if reading.bound_or_none is not None
        ]
        medians.append(float(np.median(bounds)))
    assert medians[1] < 0.8 * medians[0]


def test_a_pipe_beyond_the_bound_is_heard() -> None:
    readings, truths = read(261.6, ("flue", "flue"), (0.0, 3.0), 3)
    assert isinstance(readings[1], Measured)
    assert abs(1200.0 * np.log2(measured(readings[1]).hz / truths[1])) < 0.05


def test_a_bound_moves_with_what_sounds() -> None:
    for shift in (-8.0, 8.0):
        readings, truths = read(261.6, ("flue", "flue"), (shift, shift + 0.03), 3)
        assert bound_of(readings[1]).near_hz == pytest.approx(truths[1], rel=6e-4)
