"""Which reading of a pipe counts, and at which air it was given."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.condition.organs import small_organ
from walkboard.condition.gather import best_readings, stated_air, stated_celsius
from walkboard.condition.state import PipeCents
from walkboard.errors import InputError
from walkboard.listening.readings import Bound, Bounded, Measured
from walkboard.listening.types import HoldFlag, ReadingFlag, SoundInfo
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Hold, Reading
from walkboard.survey.recognise.verdict import Heard

ORGAN = small_organ()
PIPE = PipeRef("great.octave", 25)


def a_reading(
    cents: float, sigma: float = 0.1, pipe: PipeRef = PIPE, *flags: ReadingFlag
) -> Measured[PipeRef]:
    return Measured(
        pipe=pipe,
        start_s=1.0,
        end_s=4.0,
        level_db=-20.0,
        flags=flags,
        hz=523.0,
        sigma_cents=sigma,
        cents=cents,
    )


def a_walk(*readings: Reading, air: float | None = 18.0, sureness: float = 1.0) -> HeardWalk:
    hold = Hold(1, Key(60), 25, 1.0, 4.0, readings, sureness)
    info = SoundInfo(100.0, 48_000, 1, "FLAC")
    return HeardWalk("w.flac", info, ORGAN.name, ("great.octave",), air, (hold,), ())


def best(*walks: HeardWalk) -> list[tuple[float, float]]:
    return [(p.cents, p.air_celsius) for p in best_readings(ORGAN, walks)]


def test_of_several_walks_the_surest_reading_of_a_pipe_counts_with_its_air() -> None:
    rough, fine = a_walk(a_reading(3.0, 0.5), air=17.0), a_walk(a_reading(2.0, 0.1), air=19.0)
    assert best(rough, fine) == best(fine, rough) == [(2.0, 19.0)]


def test_a_walk_without_noted_air_is_at_the_organs_own() -> None:
    assert best(a_walk(a_reading(3.0), air=None)) == [(3.0, 18.0)]


def test_pipes_come_rank_by_rank_upward() -> None:
    pipes = [PipeRef(rank, n) for rank, n in (("swell.oboe", 2), ("great.octave", 9))]
    pipes += [PipeRef("great.octave", 3), PipeRef("great.principal", 50)]
    found = best_readings(ORGAN, [a_walk(*(a_reading(1.0, 0.1, p) for p in pipes))])
    assert [str(p.pipe) for p in found] == [
        "great.principal:50", "great.octave:3", "great.octave:9", "swell.oboe:2",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("flag", "counts"),
    [
        (ReadingFlag.SILENT, False),
        (ReadingFlag.MERGED, False),
        (ReadingFlag.OCTAVE, False),
        (ReadingFlag.OTHER, False),
        (ReadingFlag.TREMULANT, False),
        (ReadingFlag.LOCKED, True),
    ],
)
def test_a_reading_that_may_be_of_another_pipe_does_not_count(flag, counts) -> None:
    assert bool(best(a_walk(a_reading(3.0, 0.1, PIPE, flag)))) is counts


def test_a_bound_is_no_reading() -> None:
    bounded = Bounded(pipe=PIPE, start_s=1.0, end_s=4.0, bound=Bound(523.0, 8.0))
    assert best(a_walk(bounded)) == []


@pytest.mark.parametrize(("sureness", "counts"), [(0.49, False), (0.5, True)])
def test_a_hold_counts_where_its_key_is_as_likely_as_not(sureness, counts) -> None:
    assert bool(best(a_walk(a_reading(3.0), sureness=sureness))) is counts


def test_holds_of_unknown_keys_and_walks_not_believed_do_not_count() -> None:
    good = a_walk(a_reading(3.0))
    (hold,) = good.holds
    unknown = replace(good, holds=(replace(hold, flags=(HoldFlag.UNKNOWN_KEY,)),))
    keyless = replace(good, holds=(replace(hold, key=None, key_number=None),))
    doubted = replace(good, heard=Heard("x", believed=False, question="Is a coupler on?"))
    assert best(unknown) == best(keyless) == best(doubted) == []
    assert best(unknown, good) == [(3.0, 18.0)]


def test_readings_of_another_organ_or_of_missing_pipes_are_refused() -> None:
    good = a_walk(a_reading(3.0))
    with pytest.raises(InputError, match="are of 'Elsewhere'"):
        best(replace(good, organ="Elsewhere"))
    assert best(a_walk(a_reading(3.0, 0.1, PipeRef("great.octave", 61))))
    with pytest.raises(InputError, match=r"great\.octave:62"):
        best(a_walk(a_reading(3.0, 0.1, PipeRef("great.octave", 62))))


def test_the_air_of_a_division_is_the_mean_of_its_walks() -> None:
    walks = [a_walk(air=air) for air in (17.0, 20.0, None)]
    walks.append(replace(a_walk(air=24.0), drawn=("swell.flute",)))
    assert stated_air(ORGAN, walks) == {"great": 18.5, "swell": 24.0}


def test_the_commonest_air_of_the_flues_is_that_of_the_division() -> None:
    flues = [PipeCents(PipeRef("great.octave", n), 0.0, 0.1, None, 19.0) for n in (1, 2)]
    other = [PipeCents(PipeRef("great.principal", 1), 0.0, 0.1, None, 18.0)]
    reeds = [PipeCents(PipeRef("great.trumpet", n), 0.0, 0.1, None, 21.0) for n in (1, 2, 3)]
    assert stated_celsius(ORGAN, [*reeds, *other, *flues]) == 19.0
    assert stated_celsius(ORGAN, reeds) == 21.0
