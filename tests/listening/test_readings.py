"""A reading is measured, bounded or withheld, and what may be said of each."""

from dataclasses import replace
from typing import cast

import pytest

from walkboard.listening.readings import (
    Bound,
    Bounded,
    Either,
    Fields,
    Measured,
    Reading,
    Withheld,
    best_reading,
    bounded,
    fields_of,
    flagged,
    measured,
    named,
    reading_from_fields,
    withheld,
    without_value,
)
from walkboard.listening.types import Partial, ReadingFlag

A4 = Measured(
    pipe="a",
    start_s=1.0,
    end_s=4.0,
    level_db=-20.0,
    partials=(Partial(1, -21.0),),
    hz=441.0,
    sigma_cents=0.02,
    cents=3.93,
    wander_cents=0.1,
)
UNISON = Bound(440.5, 2.0, Either((441.0, 440.0), (0.02, 0.03)))
SILENT = Withheld(pipe="a", start_s=1.0, end_s=4.0, flags=(ReadingFlag.SILENT,))


def test_a_value_taken_away_leaves_level_and_partials_and_says_why() -> None:
    taken = without_value(A4, ReadingFlag.MERGED)
    assert isinstance(taken, Withheld)
    assert (taken.level_db, taken.partials) == (A4.level_db, A4.partials)
    assert taken.flags == (ReadingFlag.MERGED,)


def test_a_bound_outlives_the_value_that_the_walk_gave() -> None:
    """Named by the walk, then found locked to its neighbour: what the hold alone gave is true."""
    unnamed = bounded(flagged(A4, ReadingFlag.MERGED), UNISON)
    given = measured(replace(unnamed, flags=()), hz=441.0, sigma_cents=0.02, cents=3.93)
    taken = without_value(given, ReadingFlag.LOCKED)
    assert isinstance(taken, Bounded)
    assert taken.bound == UNISON


def test_of_a_reading_not_believed_at_all_neither_place_nor_name_stays() -> None:
    gone = withheld(replace(bounded(A4, UNISON), name_sureness=0.7), ReadingFlag.OTHER)
    assert isinstance(gone, Withheld)
    assert gone.name_sureness is None
    assert gone.flags == (ReadingFlag.OTHER,)
    assert gone.place_hz_or_none is None


def test_a_flag_is_set_once() -> None:
    twice = flagged(flagged(SILENT, ReadingFlag.OTHER), ReadingFlag.OTHER)
    assert twice.flags == (ReadingFlag.SILENT, ReadingFlag.OTHER)


def test_the_deviation_is_from_the_pipe_that_is_named() -> None:
    """An octave is 1,200 cents: ISO 80000-8."""
    assert named(A4, "b", 882.0) == replace(A4, pipe="b", cents=-1200.0)
    assert named(bounded(A4, UNISON), "b", 440.0).pipe == "b"
    assert named(SILENT, "b", 440.0) == replace(SILENT, pipe="b")


@pytest.mark.parametrize(
    "reading",
    [
        A4,
        replace(A4, named_from=UNISON),
        bounded(A4, UNISON),
        bounded(A4, Bound(440.5, 2.0)),
        SILENT,
    ],
)
def test_flat_fields_are_read_back_as_the_same_reading(reading: Reading[str]) -> None:
    assert reading_from_fields("a", fields_of(reading)) == reading


@pytest.mark.parametrize("missing", ["hz", "sigma_cents", "cents"])
def test_a_frequency_without_its_uncertainty_or_deviation_is_not_believed(missing: str) -> None:
    given = cast("Fields", fields_of(A4) | {missing: None})
    assert isinstance(reading_from_fields("a", given), Withheld)


@pytest.mark.parametrize("missing", ["near_hz", "bound_cents"])
def test_a_place_without_its_bound_is_not_believed(missing: str) -> None:
    given = cast("Fields", fields_of(bounded(A4, UNISON)) | {missing: None})
    assert isinstance(reading_from_fields("a", given), Withheld)


def best(*readings: Reading[str]) -> Reading[str]:
    return best_reading(readings, lambda reading: reading)


def test_of_two_readings_of_one_pipe_the_surer_counts() -> None:
    sure, unsure = A4, replace(A4, sigma_cents=0.5)
    assert best(sure, unsure) is sure
    assert best(unsure, sure) is sure


def test_a_value_counts_before_a_bound_or_silence_that_came_later() -> None:
    assert best(SILENT, A4, bounded(A4, UNISON), SILENT) is A4


def test_of_equally_sure_ones_and_of_those_without_a_value_the_last_counts() -> None:
    again, silent = replace(A4, start_s=2.0), replace(SILENT, start_s=2.0)
    assert best(A4, again) is again
    assert best(SILENT, silent) is silent
