"""What each pipe counts."""

from __future__ import annotations

import pytest
from numpy.testing import assert_allclose

from tests.condition.organs import small_organ
from walkboard.condition.kinds import Role, roles
from walkboard.condition.state import PipeCents
from walkboard.organ.model import PipeRef
from walkboard.planning.weighing import average_level_db, weigh


@pytest.fixture(scope="module")
def organ():
    return small_organ()


def a_pipe(rank: str, number: int, level: float | None) -> PipeCents:
    return PipeCents(PipeRef(rank, number), 3.0, 0.1, level, 18.0)


def test_a_pipe_of_average_loudness_in_the_middle_counts_one(organ):
    assert weigh(organ, Role.UNISON, a_pipe("great.octave", 31, -25.0), -25.0).whole == 1.0


def test_ten_decibels_are_twice_as_loud(organ):
    """The sone: loudness doubles with every 10 phon (ISO 532-1; Stevens 1936; from memory)."""
    levels = [
        weigh(organ, Role.UNISON, a_pipe("great.octave", 31, level), -25.0).level
        for level in (-35.0, -30.0, -25.0, -20.0, -15.0)
    ]
    assert_allclose(levels, [0.5, 2**-0.5, 1.0, 2**0.5, 2.0])


def test_a_recording_made_very_loud_is_believed_only_so_far(organ):
    assert weigh(organ, Role.UNISON, a_pipe("great.octave", 31, 30.0), -25.0).level == 2.0
    assert weigh(organ, Role.UNISON, a_pipe("great.octave", 31, None), -25.0).level == 1.0
    assert weigh(organ, Role.UNISON, a_pipe("great.octave", 31, -9.0), None).level == 1.0


def test_the_ends_of_the_keyboard_count_half(organ):
    weights = [
        weigh(organ, Role.UNISON, a_pipe("great.octave", n, None), None).register
        for n in (1, 16, 31, 46, 61)
    ]
    assert_allclose(weights, [0.5, 0.875, 1.0, 0.875, 0.5])


def test_kinds_are_weighed_by_their_part(organ):
    part = roles(organ)
    assert part["great.twelfth"] is Role.MUTATION
    assert part["great.mixture"] is Role.MIXTURE
    assert part["swell.celeste"] is Role.CELESTE
    kinds = {
        rank: weigh(organ, part[rank], a_pipe(rank, 31, None), None).kind
        for rank in ("great.trumpet", "great.octave", "swell.flute", "great.mixture")
    }
    assert kinds["great.trumpet"] > kinds["great.octave"] > kinds["swell.flute"]
    assert kinds["swell.flute"] > kinds["great.mixture"]


def test_average_is_the_median_of_the_flues(organ):
    flues = [a_pipe("great.octave", n, level) for n, level in enumerate((-30.0, -20.0, -26.0), 1)]
    assert average_level_db(organ, [*flues, a_pipe("great.trumpet", 5, -5.0)]) == -26.0
    assert average_level_db(organ, [a_pipe("great.trumpet", 5, -5.0)]) == -5.0
    assert average_level_db(organ, [a_pipe("great.octave", 5, None)]) is None
