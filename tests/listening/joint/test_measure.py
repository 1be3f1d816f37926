"""Several pipes of one hold: errors, honesty and names, on sound whose truth is known."""

from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from tests.readings import bound_of, either_of, measured
from tests.registrations import RATE, mean_hz, scene
from walkboard.listening.joint.groups import group_partials
from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import CombReading, Measured
from walkboard.listening.types import Comb, ReadingFlag, Spectrum

HINT = {"flue": Spectrum.FULL, "reed": Spectrum.BRIGHT, "stopped": Spectrum.ODD}


def read(
    base_hz: float,
    multiples: tuple[float, ...],
    kinds: tuple[str, ...],
    seed: int | list[int],
    **more: Any,
) -> tuple[tuple[CombReading, ...], list[float | None], list[float]]:
    """Readings, their errors [cents] (None without a value) and true frequencies."""
    due = tuple(base_hz * m for m in multiples)
    usual: dict[str, Any] = {"seconds": 4.0, "faintest_db": -18.0, "wander_cents": 0.1}
    samples, courses = scene(due, kinds, np.random.default_rng(seed), **(usual | more))
    hints = [HINT[kind] for kind in kinds]
    combs = [Comb(str(n), hz, hint) for n, (hz, hint) in enumerate(zip(due, hints, strict=True))]
    readings = measure_hold(samples, RATE, combs)
    truths = [
        mean_hz(course, r.start_s, r.end_s) for course, r in zip(courses, readings, strict=True)
    ]
    errors = [
        None if not isinstance(r, Measured) else 1200.0 * np.log2(r.hz / true)
        for r, true in zip(readings, truths, strict=True)
    ]
    return readings, errors, truths


@pytest.mark.parametrize(
    ("base_hz", "multiples"),
    [
        (130.8, (1, 2, 3, 4)),  # 8 + 4 + 2 2/3 + 2
        (98.0, (4, 6, 8, 12)),  # 15-19-22-26
        (130.8, (1, 2, 3, 4, 5)),  # cornet
        (130.8, (0.5, 1, 2)),  # 16 + 8 + 4
    ],
)
def test_every_pipe_of_a_registration_is_read(base_hz, multiples):
    readings, errors, _ = read(base_hz, multiples, ("flue",) * len(multiples), 5)
    assert [r.pipe for r in readings] == [str(n) for n in range(len(multiples))]
    for reading, error in zip(readings, errors, strict=True):
        assert reading.flags == ()
        assert error is not None
        assert abs(error) < 0.05
        assert abs(error) < 4.0 * measured(reading).sigma_cents


def test_a_pipe_ten_decibels_softer_is_heard_ten_decibels_softer():
    """The same room and pipes but for one level: what the room does falls out."""
    loud, _, _ = read(130.8, (1, 2), ("flue",) * 2, 3, levels_db=(0.0, -4.0))
    soft, _, _ = read(130.8, (1, 2), ("flue",) * 2, 3, levels_db=(0.0, -14.0))

    def above_unison(readings: tuple[CombReading, ...]) -> float:
        unison, octave = (reading.level_db for reading in readings)
        assert unison is not None
        assert octave is not None
        return octave - unison

    np.testing.assert_allclose(above_unison(loud) - above_unison(soft), 10.0, atol=0.5)


@pytest.mark.parametrize("kinds", [("flue", "reed"), ("reed", "flue"), ("stopped", "flue")])
def test_unisons_of_unlike_kinds_get_their_own_names(kinds):
    _, errors, _ = read(130.8, (1, 1), kinds, 8, cents=(-1.0, 2.0), levels_db=(0.0, -3.0))
    for error in errors:
        assert error is not None
        assert abs(error) < 0.05


def test_unisons_of_one_kind_are_merged_with_a_bound_that_holds():
    readings, errors, truths = read(
        196.0, (1, 1), ("flue", "flue"), 4, cents=(0.0, 0.5), levels_db=(0.0, -4.0)
    )
    assert errors == [None, None]
    for reading, true in zip(readings, truths, strict=True):
        assert ReadingFlag.MERGED in reading.flags
        bound = bound_of(reading)
        assert bound.bound_cents < 0.5
        assert abs(1200.0 * np.log2(true / bound.near_hz)) < bound.bound_cents


def test_a_remembered_spectrum_separates_two_of_a_kind():
    bright, dull = (0.0, -2.0, -4.0, -5.0, -6.0, -7.0), (0.0, -18.0, -30.0, -36.0, -42.0, -48.0)
    due = (196.0, 196.0)
    rng = np.random.default_rng(9)
    samples, courses = scene(
        due,
        ("reed", "stopped"),
        rng,
        seconds=4.0,
        faintest_db=0.0,
        wander_cents=0.05,
        cents=(2.0, -1.5),
        levels_db=(0.0, 0.0),
    )
    for first, second in ((bright, dull), (dull, bright)):
        readings = measure_hold(
            samples, RATE, [Comb("a", 196.0, levels_db=first), Comb("b", 196.0, levels_db=second)]
        )
        order = (0, 1) if first is bright else (1, 0)
        for reading, pipe in zip(readings, order, strict=True):
            if not isinstance(reading, Measured):
                assert ReadingFlag.MERGED in reading.flags
                continue
            true = mean_hz(courses[pipe], reading.start_s, reading.end_s)
            assert abs(1200.0 * np.log2(reading.hz / true)) < 0.1
        assert any(isinstance(reading, Measured) for reading in readings)


def value_or_flag_is_honest(reading: CombReading, error: float | None) -> bool:
    return bool(reading.flags) if error is None else abs(error) < 0.1


@pytest.mark.parametrize("seed", range(3))
def test_a_dull_flute_under_a_rich_unison_is_never_silently_wrong(seed):
    """A stopped pipe of a fundamental only, 14 dB below and .2 cent from a reed."""
    readings, errors, _ = read(
        261.6, (1, 1), ("reed", "stopped"), [seed, 6], cents=(0.0, 0.2), levels_db=(0.0, -14.0)
    )
    for reading, error in zip(readings, errors, strict=True):
        assert value_or_flag_is_honest(reading, error)


@pytest.mark.parametrize(
    ("base_hz", "multiples", "first", "seed"),
    [
        # The hidden octave's partials are the stopped pipe's even ones, far louder than its own.
        (261.6, (1, 2, 4), "stopped", [7_007, 6, 20, 4, 1, 0]),
        # Half heard, the octave stands elsewhere, and the fifteenth in its place.
        (740.0, (1, 2, 3, 4), "flue", [7_007, 0, 15, 4, 1, 0]),
    ],
)
def test_a_pipe_on_another_ones_partials_gets_no_value(base_hz, multiples, first, seed):
    kinds = (first, *("flue",) * (len(multiples) - 1))
    readings, errors, _ = read(base_hz, multiples, kinds, seed, faintest_db=-25.0, wander_cents=0.3)
    assert any(error is None for error in errors)
    for reading, error in zip(readings, errors, strict=True):
        assert value_or_flag_is_honest(reading, error)


def test_a_soft_twelfth_between_loud_octaves_does_not_lend_them_its_place():
    """740 Hz, the fifteenth 4 dB under the octave: each was once placed on the other's partials."""
    _, errors, _ = read(740.0, (1, 2, 3, 4), ("flue",) * 4, [5_150, 0, 7, 4, 0, 0])
    for error in errors:
        assert error is None or abs(error) < 0.05


def test_a_partial_in_a_null_of_the_room_does_not_cost_the_value():
    """The 2 2/3' at 1,570 Hz: what the room does is fifty times the usual, sigma says so."""
    readings, errors, _ = read(
        523.3,
        (1, 2, 3, 4),
        ("flue",) * 4,
        [7_007, 0, 22, 4, 1, 0],
        faintest_db=-25.0,
        wander_cents=0.3,
    )
    assert errors[2] is not None
    assert abs(errors[2]) < 2.0 * measured(readings[2]).sigma_cents < 0.2


@pytest.mark.parametrize("dead", [1, 2, 3])
def test_a_dead_pipe_gets_no_value(dead):
    readings, errors, _ = read(130.8, (1, 2, 3, 4), ("flue",) * 4, [dead, 7], dead=dead)
    assert errors[dead] is None
    assert readings[dead].flags
    alive = [error for n, error in enumerate(errors) if n != dead]
    assert all(error is None or abs(error) < 0.1 for error in alive)


def test_a_hold_too_short_says_so():
    readings, errors, _ = read(130.8, (1, 2), ("flue", "flue"), 2, seconds=0.7)
    assert errors == [None, None]
    assert all(reading.flags == (ReadingFlag.SHORT,) for reading in readings)


def test_groups_hold_each_partial_of_a_registration_once():
    groups = group_partials([100.0, 200.0, 300.0], 48_000)
    by_place = {round(group.centre_hz / 100.0): group for group in groups}
    assert [(m.pipe, m.number) for m in by_place[6].members] == [(0, 6), (1, 3), (2, 2)]
    assert by_place[1].pipes == {0}
    for below, above in pairwise(groups):
        assert below.centre_hz + below.even_hz < above.centre_hz - above.even_hz


@pytest.mark.parametrize(
    "due_hz",
    [(4186.0, 4186.0), (2093.0, 4186.0, 4186.0), (4186.0, 4186.0, 8372.0)],
    ids=["two 2' at c'''''", "with a 4'", "with a 1'"],
)
def test_two_unisons_at_the_top_of_the_compass(due_hz):
    cents = (0.0, 6.0, 3.0)[: len(due_hz)]
    rng = np.random.default_rng(3)
    kinds = ("flue",) * len(due_hz)
    samples, courses = scene(
        due_hz, kinds, rng, seconds=4.0, faintest_db=-12.0, wander_cents=0.1, cents=cents
    )
    combs = [Comb(str(n), hz, Spectrum.FULL) for n, hz in enumerate(due_hz)]
    readings = measure_hold(samples, RATE, combs)
    for reading, cycles in zip(readings, courses, strict=True):
        true_hz = mean_hz(cycles, reading.start_s, reading.end_s)
        places = (reading.hz,) if isinstance(reading, Measured) else either_of(reading).hz
        nearest = min(abs(1200.0 * np.log2(hz / true_hz)) for hz in places)
        assert nearest < 0.1
