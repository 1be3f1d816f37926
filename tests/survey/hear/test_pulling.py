"""Two pipes that pull each other into step, on sound made by solving their phases' equations."""

import numpy as np
import pytest
import scipy.integrate
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tests.signals import partial_levels
from tests.survey.hear.test_identity import OPEN, ORGAN, SECOND, alone, due_hz, walk
from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import CombReading, Measured, Withheld, named
from walkboard.listening.types import Comb, ReadingFlag, Spectrum
from walkboard.organ.model import PipeRef
from walkboard.physics.locking import beat_near_locking_hz
from walkboard.quantities import cents_of_ratio
from walkboard.survey.hear.heard_walk import Reading
from walkboard.survey.hear.memory import Memory
from walkboard.survey.hear.pulling import Pull, pull_between, with_pulls

RATE = 48_000
NUMBER = 22  # A3 of an 8′, 220 Hz


def coupled(
    first_hz: float, second_hz: float, locking_hz: float, seconds: float
) -> NDArray[np.float64]:
    """Phases [cycles] of two oscillators that pull alike, shape (2, n): Adler 1946, both free."""
    times = np.arange(round(seconds * RATE)) / RATE

    def rate(_: float, lag: NDArray[np.float64]) -> NDArray[np.float64]:
        return (second_hz - first_hz) - locking_hz * np.sin(2.0 * np.pi * lag)

    lag = scipy.integrate.solve_ivp(
        rate, (0.0, seconds), [0.1], t_eval=times[::48], rtol=1e-9, atol=1e-9
    ).y[0]
    lag = np.interp(times, times[::48], lag)
    middle = 0.5 * (first_hz + second_hz) * times
    return np.array([middle - 0.5 * lag, middle + 0.5 * lag])


def sound_of(phases: NDArray[np.float64], kinds: tuple[str, ...], seed: int) -> NDArray[np.float64]:
    rng = np.random.default_rng(seed)
    samples = np.asarray(1e-5 * rng.standard_normal(phases.shape[1]), dtype=np.float64)
    for cycles, kind in zip(phases, kinds, strict=True):
        for n, level in enumerate(partial_levels(kind, 220.0, rng, 6_000.0), start=1):
            samples += 0.03 * level * np.cos(2.0 * np.pi * (n * cycles + rng.random()))
    return samples.reshape(-1, 1)


def reading(rank: str, heard: CombReading) -> Reading:
    return named(heard, PipeRef(rank, NUMBER), due_hz(rank, NUMBER))


def heard_together(apart_hz: float, locking_hz: float) -> tuple[list[Reading], tuple[Pull, ...]]:
    first_hz = due_hz(OPEN, NUMBER)
    kinds = ("flue", "reed")
    samples = sound_of(coupled(first_hz, first_hz + apart_hz, locking_hz, 5.0), kinds, 3)
    combs = [Comb("a", first_hz, Spectrum.FULL), Comb("b", first_hz, Spectrum.BRIGHT)]
    both = measure_hold(samples, RATE, combs)
    readings = [reading(rank, heard) for rank, heard in zip((OPEN, SECOND), both, strict=True)]
    cents = cents_of_ratio((first_hz + apart_hz) / first_hz)
    memory = Memory.of([walk([alone(OPEN, NUMBER, 0.0)], [alone(SECOND, NUMBER, cents)])])
    done, pulls = with_pulls(walk(readings), memory)
    assert done.warnings == tuple(pull.words for pull in pulls)
    return list(done.holds[0].readings), pulls


def test_pipes_in_step_are_recognised_and_their_values_withheld():
    readings, (pull,) = heard_together(0.5, 1.0)
    assert pull.in_step
    assert_allclose(pull.alone_hz, 0.5, atol=0.01)
    assert "do not beat" in pull.words
    for one in readings:
        assert ReadingFlag.LOCKED in one.flags
        assert not isinstance(one, Measured)


def test_pulled_pipes_beat_as_adler_says_and_the_range_comes_back():
    apart_hz, locking_hz = 1.5, 1.0
    _, (pull,) = heard_together(apart_hz, locking_hz)
    assert not pull.in_step
    assert_allclose(pull.together_hz, beat_near_locking_hz(apart_hz, locking_hz), atol=0.05)
    assert_allclose(pull.locking_hz, locking_hz, atol=0.1)


@pytest.mark.parametrize("apart_hz", [0.3, 1.5])
def test_pipes_that_do_not_pull_are_not_said_to(apart_hz):
    readings, pulls = heard_together(apart_hz, 0.0)
    assert pulls == ()
    assert all(ReadingFlag.LOCKED not in one.flags for one in readings)


def test_nothing_is_said_where_one_was_never_heard_alone():
    both = [alone(OPEN, NUMBER, 0.0), alone(SECOND, NUMBER, 0.0)]
    done, pulls = with_pulls(walk(both), Memory.of([walk([alone(OPEN, NUMBER, 4.0)])]))
    assert pulls == ()
    assert done == walk(both)


def test_two_are_said_to_pull_only_where_no_more_than_that_explains_it() -> None:
    """One hertz apart alone. Two real pipes change by 0.3 cent between holds, a beat by 0.05 Hz:
    0.04 and 0.05 at 220 Hz, and three times that are 0.19.
    """
    first_hz = due_hz(OPEN, NUMBER)
    cents = cents_of_ratio((first_hz + 1.0) / first_hz)
    memory = Memory.of([walk([alone(OPEN, NUMBER, 0.0)], [alone(SECOND, NUMBER, cents)])])
    for beat_hz, pulls in ((0.83, False), (0.77, True)):
        one, other = (
            Withheld(
                pipe=PipeRef(rank, NUMBER), start_s=0.0, end_s=3.0, beat_hz=beat_hz,
                flags=(ReadingFlag.MERGED,),
            )
            for rank in (OPEN, SECOND)
        )  # fmt: skip
        pull = pull_between(one, other, memory)
        assert (pull is not None) is pulls
        if pull is not None:
            assert pull.together_hz == beat_hz
            assert_allclose(pull.locking_hz, (1.0 - beat_hz**2) ** 0.5, atol=0.01)


def test_pipes_more_than_one_percent_apart_do_not_pull() -> None:
    """Angster et al. 1993: further apart than that their difference grows instead."""
    first_hz = due_hz(OPEN, NUMBER)
    for apart_hz, pulls in ((2.0, True), (2.5, False)):  # of 220 Hz
        cents = cents_of_ratio((first_hz + apart_hz) / first_hz)
        memory = Memory.of([walk([alone(OPEN, NUMBER, 0.0)], [alone(SECOND, NUMBER, cents)])])
        one, other = (
            Withheld(
                pipe=PipeRef(rank, NUMBER), start_s=0.0, end_s=3.0, beat_hz=apart_hz - 0.6,
                flags=(ReadingFlag.MERGED,),
            )
            for rank in (OPEN, SECOND)
        )  # fmt: skip
        assert (pull_between(one, other, memory) is not None) is pulls


def test_a_pipe_heard_alone_is_believed_before_one_that_was_named() -> None:
    """Whichever was heard later; and of two heard alone the later."""
    named_later = alone(OPEN, NUMBER, 3.0, name_sureness=0.995)
    unsure = alone(OPEN, NUMBER, 8.0, name_sureness=0.98)
    for order in ((alone(OPEN, NUMBER, 1.0), named_later), (named_later, alone(OPEN, NUMBER, 1.0))):
        memory = Memory.of([walk(*([one] for one in (*order, unsure)))])
        assert memory.alone[PipeRef(OPEN, NUMBER)].cents == 1.0
    assert Memory.of([walk([named_later], [unsure])]).alone[PipeRef(OPEN, NUMBER)].cents == 3.0


def test_the_organ_of_these_tests_has_both_ranks():
    assert {rank.id for rank in ORGAN.ranks} == {OPEN, SECOND}
