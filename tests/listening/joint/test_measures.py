"""What the rules of acceptance measure, on estimates written down."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from tests.listening.joint.lines import band, bands_of_unisons, joint_of
from walkboard.listening.joint.accept import (
    Case,
    heard_partials,
    lost_neighbours,
    misplaced,
    overtone_step,
)
from walkboard.listening.joint.names import _sizes_db, name_unisons
from walkboard.listening.joint.stacks import BandSet
from walkboard.listening.joint.stages import Joint
from walkboard.listening.readings import (
    Bound,
    Bounded,
    CombReading,
    Either,
    Measured,
    Withheld,
    bounded,
)
from walkboard.listening.types import Comb, Partial, ReadingFlag, Spectrum

ONE_CHANNEL: Any = SimpleNamespace(rotation=np.eye(1))
DUE_HZ = 262.0


def estimated(bands: BandSet, amplitudes: list[list[float]], ratio: float = 1e6) -> Joint:
    """The pipes' amplitudes by band; a zero was not estimated."""
    joint = joint_of(bands)
    size = np.array(amplitudes)
    joint.courses.seen[:] = size > 0.0
    joint.courses.amplitude[:] = size[:, :, np.newaxis]
    joint.courses.ratio[:] = ratio
    return joint


def alone(levels_db: dict[int, float], silent: tuple[int, ...] = ()) -> Case:
    """One pipe with these partials estimated; others sound in its own groups, and were not used."""
    sizes = {n: 10.0 ** (db / 20.0) for n, db in levels_db.items()} | dict.fromkeys(silent, 1.0)
    numbers = sorted(sizes)
    bands = BandSet.of(
        (band({0: n}, n * DUE_HZ, [(n * DUE_HZ, sizes[n])]) for n in numbers), [DUE_HZ]
    )
    amplitudes = [[0.0 if n in silent else sizes[n]] for n in numbers]
    return Case(ONE_CHANNEL, estimated(bands, amplitudes), 0, 3.0)


def test_two_that_cancel_each_other_are_not_louder_than_what_is_heard() -> None:
    """Fitted at 20 dB each, opposite: together they are the 0 dB of their group."""
    bands = bands_of_unisons(DUE_HZ, (DUE_HZ, DUE_HZ), (1,), second=0.0)
    case = Case(ONE_CHANNEL, estimated(bands, [[10.0, 10.0]]), 0, 3.0)
    assert heard_partials(case) == pytest.approx({1: 0.0}, abs=1e-6)
    softer = Case(ONE_CHANNEL, estimated(bands, [[0.1, 10.0]]), 0, 3.0)
    assert heard_partials(softer) == pytest.approx({1: -20.0}, abs=1e-6)


@pytest.mark.parametrize(
    ("levels_db", "step"),
    [
        ({1: 0.0, 2: -9.0, 3: -14.0}, 1.0),
        ({2: 0.0, 4: -9.0, 6: -14.0}, 2.0),  # it is dead, or its own octave
        ({3: 0.0, 6: -9.0}, 3.0),
        ({2: 0.0, 3: -30.0, 4: -9.0}, 1.0),  # 30 dB down is still its own
        ({2: 0.0, 3: -40.0, 4: -9.0}, 2.0),  # 40 dB down is what the neighbours leave
    ],
)
def test_the_step_of_the_partials_that_are_heard(levels_db: dict[int, float], step: float) -> None:
    assert overtone_step(alone(levels_db)) == step


def test_sound_in_a_group_of_its_own_is_the_pipes_even_if_it_was_not_used() -> None:
    assert overtone_step(alone({2: 0.0, 4: -9.0}, silent=(1,))) == 1.0


def test_which_of_two_unisons_is_dead_is_not_decided_by_overtones() -> None:
    bands = bands_of_unisons(DUE_HZ, (DUE_HZ, DUE_HZ + 1.0), (2, 4))
    case = Case(ONE_CHANNEL, estimated(bands, [[1.0, 1.0]] * 2), 0, 3.0)
    assert overtone_step(case) == 1.0


@pytest.mark.parametrize(
    ("own", "shared", "is_misplaced"),
    [
        ([200.0, 300.0], [1.0, 1.5], 1.0),
        ([200.0, 300.0], [60.0, 90.0], 0.0),  # the room is as rough everywhere
        ([20.0, 25.0], [1.0, 1.0], 0.0),
        ([300.0], [1.0, 1.0], 0.0),  # one group may lie in a null of the room
        ([200.0, 300.0], [], 0.0),
    ],
)
def test_a_pipe_whose_own_groups_fit_far_worse_follows_another(
    own: list[float], shared: list[float], is_misplaced: float
) -> None:
    joint: Any = SimpleNamespace(rooms=lambda _: (own, shared))
    assert misplaced(Case(ONE_CHANNEL, joint, 0, 3.0)) == is_misplaced


@pytest.mark.parametrize(
    ("bound", "is_lost"),
    [
        (None, 1.0),  # it may be anywhere
        (Bound(2 * DUE_HZ, 3.0), 1.0),  # it may be where this one is found
        (Bound(2 * DUE_HZ, 1.0), 0.0),  # it is a cent away at most, this one two
        (Bound(2 * DUE_HZ, 3.0, Either((523.0, 525.0), (0.1, 0.1))), 0.0),  # both were located
    ],
)
def test_a_line_may_be_a_neighbours_that_can_be_there(bound: Bound | None, is_lost: float) -> None:
    """The unison reads 2 cents sharp, and an octave that was not located shares all its groups."""
    bands = BandSet.of(
        (
            band({0: 2 * n, 1: n}, 2 * n * DUE_HZ, [(2 * n * DUE_HZ * 2 ** (2 / 1200), 1.0)])
            for n in (1, 2)
        ),
        [DUE_HZ, 2 * DUE_HZ],
    )
    merged = Withheld(pipe="1", start_s=0.0, end_s=3.0, flags=(ReadingFlag.MERGED,))
    octave = merged if bound is None else bounded(merged, bound)
    own = Measured(
        pipe="0", start_s=0.0, end_s=3.0, hz=DUE_HZ * 2 ** (2 / 1200), sigma_cents=0.1, cents=2.0
    )
    joint = estimated(bands, [[1.0, 0.0]] * 2)
    case = Case(ONE_CHANNEL, joint, 0, 3.0, (own, octave))
    assert lost_neighbours(case) == is_lost
    assert lost_neighbours(replace(case, readings=())) == 0.0
    located = Measured(pipe="1", start_s=0.0, end_s=3.0, hz=2 * DUE_HZ, sigma_cents=0.1, cents=0.0)
    assert lost_neighbours(replace(case, readings=(own, located))) == 0.0


# The names of two unisons


def a_pair(
    first_db: list[float], second_db: list[float], kinds: tuple[Spectrum, Spectrum]
) -> tuple[CombReading, CombReading]:
    """Two unisons 3 cents apart with these partials, as `name_unisons` gives them."""
    numbers = range(1, 1 + len(first_db))
    places = DUE_HZ, DUE_HZ * 2.0 ** (3.0 / 1200.0)
    bands = bands_of_unisons(DUE_HZ, places, list(numbers))
    amplitudes = 10.0 ** (np.array([first_db, second_db]).T / 20.0)
    joint = estimated(bands, amplitudes.tolist())
    readings = [
        Measured(
            pipe=str(n),
            start_s=0.0,
            end_s=4.0,
            hz=hz,
            sigma_cents=0.1,
            cents=3.0 * n,
            partials=tuple(Partial(p, 0.0) for p in numbers),
        )
        for n, hz in enumerate(places)
    ]
    combs = [Comb(str(n), DUE_HZ, kind) for n, kind in enumerate(kinds)]
    return name_unisons(combs, joint, readings, (0, 1))


BRIGHT, DULL = [0.0, -3.0, -5.0, -6.0, -7.0], [0.0, -31.0, -17.0, -42.0, -25.0]
REED_AND_STOPPED = (Spectrum.BRIGHT, Spectrum.ODD)


def test_two_that_their_spectra_tell_apart_keep_or_exchange_their_names() -> None:
    for levels, cents in (((BRIGHT, DULL), (0.0, 3.0)), ((DULL, BRIGHT), (3.0, 0.0))):
        one, two = a_pair(levels[0], levels[1], REED_AND_STOPPED)
        assert isinstance(one, Measured)
        assert isinstance(two, Measured)
        assert (one.pipe, two.pipe) == ("0", "1")
        assert (one.cents, two.cents) == pytest.approx(cents, abs=0.01)
        assert one.name_sureness is not None
        assert 0.98 < one.name_sureness <= 1.0


def test_two_whose_spectra_lean_one_way_are_not_named() -> None:
    """Odds of some ten to one: listening says which is likelier, and gives both a place."""
    leaning = [0.0, -9.0, -11.0, -16.0, -15.0], [0.0, -15.0, -13.0, -22.0, -20.0]
    one, two = a_pair(*leaning, REED_AND_STOPPED)
    for reading, likelier in ((one, 0), (two, 1)):
        assert isinstance(reading, Bounded)
        assert ReadingFlag.MERGED in reading.flags
        assert reading.name_sureness is not None
        assert 0.6 < reading.name_sureness < 0.98
        either = reading.bound.either
        assert either is not None
        assert either.hz[likelier] == DUE_HZ
        # midway, and as far as both may be: half of 3 cents and two standard deviations of 0.1
        assert 1200.0 * np.log2(reading.bound.near_hz / DUE_HZ) == pytest.approx(1.5)
        assert reading.bound.bound_cents == pytest.approx(1.7)


def test_a_partial_that_is_unsure_counts_as_loud_as_it_may_be() -> None:
    """Power as large as its own variance: 3 dB more; a plain one as it is."""
    bands = bands_of_unisons(DUE_HZ, (DUE_HZ, DUE_HZ), (1, 3))
    unsure, plain = (estimated(bands, [[1.0, 0.1]] * 2, ratio) for ratio in (1.0, 1e9))
    assert _sizes_db(unsure, 0) == pytest.approx({1: 3.01, 3: 3.01}, abs=0.01)
    assert _sizes_db(plain, 1) == pytest.approx({1: -20.0, 3: -20.0})
