"""Names of two near unisons from everything known about the two pipes."""

import math
from collections.abc import Sequence

import pytest
from numpy.testing import assert_allclose

from tests.readings import either_of, measured
from walkboard.listening.readings import Bound, Bounded, Either, Measured
from walkboard.listening.types import Partial, ReadingFlag, SoundInfo
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.quantities import ratio_of_cents
from walkboard.survey.hear.heard_walk import HeardWalk, Hold, Reading
from walkboard.survey.hear.identity import Evidence, name_pipes
from walkboard.survey.hear.memory import Memory

TWO_UNISONS = """
format = 1
name = "Two unisons"
temperament = "equal"
[pitch]
a4_hz = 440.0
at_celsius = 18.0
[[division]]
id = "great"
name = "Great"
keys = 61
[[rank]]
id = "great.open8"
division = "great"
name = "Open"
family = "open"
feet = "8"
pipes = 61
tuned_by = "slide"
[[rank]]
id = "great.second8"
division = "great"
name = "Second"
family = "open"
feet = "8"
pipes = 61
tuned_by = "slide"
"""
ORGAN = read_organ(TWO_UNISONS)
OPEN, SECOND = "great.open8", "great.second8"
BRIGHT = (-20.0, -22.0, -24.0, -26.0, -27.0)
DULL = (-20.0, -36.0, -46.0, -58.0, -66.0)


def due_hz(rank: str, number: int) -> float:
    return target_hz(ORGAN, PipeRef(rank, number), None)


def partials(levels: tuple[float, ...]) -> tuple[Partial, ...]:
    return tuple(Partial(n, level) for n, level in enumerate(levels, start=1))


def alone(
    rank: str, number: int, cents: float, level_db: float = -20.0, **more
) -> Measured[PipeRef]:
    pipe = PipeRef(rank, number)
    hz = due_hz(rank, number) * ratio_of_cents(cents)
    return Measured(
        pipe=pipe,
        hz=hz,
        sigma_cents=0.01,
        cents=cents,
        level_db=level_db,
        start_s=1.0,
        end_s=4.0,
        **more,
    )


def pair(number: int, cents: tuple[float, float], levels_db=(-20.0, -20.0), shapes=((), ())):
    """Readings of both ranks in one hold: at these places, in this order likelier, unnamed."""
    first_hz, second_hz = (due_hz(OPEN, number) * ratio_of_cents(c) for c in cents)
    readings = []
    for at, rank in enumerate((OPEN, SECOND)):
        mine = (first_hz, second_hz) if at == 0 else (second_hz, first_hz)
        readings.append(
            Bounded(
                pipe=PipeRef(rank, number),
                level_db=levels_db[at],
                start_s=1.0,
                end_s=4.0,
                flags=(ReadingFlag.MERGED,),
                bound=Bound(math.sqrt(first_hz * second_hz), 5.0, Either(mine, (0.01, 0.01))),
                name_sureness=0.5,
                partials=partials(shapes[at]),
            )
        )
    return readings


def walk(*holds: Sequence[Reading]) -> HeardWalk:
    made = tuple(
        Hold(n, None, None, 5.0 * n, 5.0 * n + 4.0, tuple(readings))
        for n, readings in enumerate(holds, start=1)
    )
    return HeardWalk("w.flac", SoundInfo(60.0, 48_000, 1, ""), "", (OPEN, SECOND), None, made, ())


def named(both: Sequence[Reading], *known: Sequence[Reading]) -> tuple[Reading, ...]:
    return name_pipes(ORGAN, walk(both), Memory.of([walk(*known)])).holds[0].readings


def cents_of(readings: tuple[Reading, ...]) -> list[float]:
    assert all(isinstance(reading, Measured) for reading in readings)
    return [reading.cents for reading in readings if isinstance(reading, Measured)]


def test_two_pipes_of_which_nothing_is_known_stay_merged():
    both = pair(20, (3.0, -2.0))
    assert named(both, []) == tuple(both)


@pytest.mark.parametrize("crosswise", [False, True])
def test_where_they_stood_alone_names_them(crosswise):
    cents = (-2.0, 3.0) if crosswise else (3.0, -2.0)
    one, two = named(pair(20, cents), [alone(OPEN, 20, 3.2)], [alone(SECOND, 20, -2.1)])
    assert_allclose(cents_of((one, two)), [3.0, -2.0], atol=1e-9)
    for reading in (one, two):
        assert reading.flags == ()
        assert measured(reading).sigma_cents == 0.01
        assert reading.name_sureness is not None
        assert reading.name_sureness > 0.98


def test_half_a_cent_between_two_is_less_than_a_real_pipe_moves():
    both = pair(20, (0.3, -0.2))
    for reading, here in zip(
        named(both, [alone(OPEN, 20, 0.3)], [alone(SECOND, 20, -0.2)]), both, strict=True
    ):
        assert not isinstance(reading, Measured)
        assert either_of(reading).hz == either_of(here).hz  # the likelier place first
        assert reading.name_sureness is not None
        assert 0.5 < reading.name_sureness < 0.98


@pytest.mark.parametrize("crosswise", [False, True])
def test_remembered_spectra_of_neighbours_name_them(crosswise):
    shapes = (DULL, BRIGHT) if crosswise else (BRIGHT, DULL)
    both = pair(20, (3.0, -2.0), shapes=shapes)
    bright = [alone(OPEN, 18, 0.0, partials=partials(BRIGHT))]
    dull = [alone(SECOND, 23, 0.0, partials=partials(DULL))]
    one, two = named(both, bright, dull)
    expected = [-2.0, 3.0] if crosswise else [3.0, -2.0]
    assert_allclose(cents_of((one, two)), expected, atol=1e-9)
    assert one.partials == partials(BRIGHT)


def test_a_name_that_the_walk_speaks_against_is_taken_back():
    """Listening took the dull spectrum for the bright pipe's; both were heard alone near by."""
    wrong = [
        alone(rank, 20, cents, partials=partials(shape), name_sureness=0.99)
        for rank, cents, shape in ((OPEN, 3.0, DULL), (SECOND, -2.0, BRIGHT))
    ]
    bright = [alone(OPEN, number, 0.0, partials=partials(BRIGHT)) for number in (17, 22)]
    dull = [alone(SECOND, number, 0.0, partials=partials(DULL)) for number in (18, 24)]
    one, two = named(wrong, bright, dull)
    assert not isinstance(one, Measured)
    assert not isinstance(two, Measured)
    assert either_of(one).hz == (measured(wrong[0]).hz, measured(wrong[1]).hz)
    assert either_of(two).hz == (measured(wrong[1]).hz, measured(wrong[0]).hz)
    assert one.name_sureness is not None
    assert one.name_sureness < 0.02
    assert ReadingFlag.MERGED in one.flags
    right = [
        alone(rank, 20, cents, partials=partials(shape), name_sureness=0.99)
        for rank, cents, shape in ((OPEN, 3.0, BRIGHT), (SECOND, -2.0, DULL))
    ]
    assert named(right, bright, dull) == tuple(right)


def test_a_soft_rank_beside_a_loud_one_is_named_by_level():
    both = pair(20, (3.0, -2.0), levels_db=(-38.0, -22.0))
    loud = [alone(OPEN, 20 + n, 0.0, -20.0) for n in (-2, 2)]
    soft = [alone(SECOND, 20 + n, 0.0, -36.0) for n in (-1, 3)]
    one, two = named(both, loud, soft)
    assert_allclose(cents_of((one, two)), [-2.0, 3.0], atol=1e-9)
    assert one.level_db == -22.0


def test_ranks_that_moved_apart_are_named_by_their_neighbours():
    flat = [alone(OPEN, 20 + n, -6.0 + 0.2 * n) for n in (-2, -1, 1, 2)]
    sharp = [alone(SECOND, 20 + n, 5.0 - 0.3 * n) for n in (-2, -1, 1, 2)]
    one, two = named(pair(20, (5.1, -6.3)), flat, sharp)
    assert_allclose(cents_of((one, two)), [-6.3, 5.1], atol=1e-9)


def test_evidence_that_speaks_against_itself_names_nothing():
    """It was there when heard alone, but the spectra say the other way round."""
    both = pair(20, (3.0, -2.0), shapes=(DULL, BRIGHT))
    bright = [alone(OPEN, 20, 3.0, partials=partials(BRIGHT))]
    dull = [alone(SECOND, 20, -2.0, partials=partials(DULL))]
    assert named(both, bright, dull) == tuple(both)


def test_no_one_kind_of_evidence_decides_alone() -> None:
    """Each says 400 to 1 at most, so an outlier of one does not outvote the two others."""
    assert Evidence(spectra=90.0, alone=-5.0, neighbours=-4.0).odds == pytest.approx(-3.0)
    assert Evidence(alone=-90.0).sureness == pytest.approx(1.0 / (1.0 + math.exp(6.0)))
    assert Evidence().sureness == 0.5
