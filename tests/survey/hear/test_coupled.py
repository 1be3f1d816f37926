"""A stop that sounds and was not stated: measured with the others, where the compass decides."""

from __future__ import annotations

import numpy as np

from tests.survey.hear.test_situations import OCTAVE, PRINCIPAL, heard, off_cents, player
from walkboard.listening.readings import Measured
from walkboard.listening.types import ReadingFlag
from walkboard.survey.hear.heard_walk import HeardWalk

TWELFTH = "great.twelfth"


def walked(
    stated: str, *also: str, first: int = 0, last: int = 25
) -> tuple[HeardWalk, list[float]]:
    p = player(keys=25)
    p.hold_s = 2.6  # two ranks in a short hold are seldom separated
    keys = p.keys(stated)[first:last:2]
    scene = p.play("", [stated], p.times(keys), p.drawn_pipes([stated, *also]))
    walk = heard(scene)
    return walk, off_cents(scene, walk)


def ranks_measured(walk: HeardWalk) -> dict[str, int]:
    found: dict[str, int] = {}
    for hold in walk.holds:
        for reading in hold.readings:
            if isinstance(reading, Measured):
                found[reading.pipe.rank] = found.get(reading.pipe.rank, 0) + 1
    return found


def test_a_stop_that_can_be_no_other_is_measured_with_the_stated_one() -> None:
    walk, off = walked(PRINCIPAL, TWELFTH)
    assert walk.heard is not None
    assert walk.heard.believed
    assert [one.stop for one in walk.heard.also_sounding] == [TWELFTH]
    assert "Twelfth 2 2/3 (Great) also sounds" in walk.heard.sentence
    assert "measured together" in walk.heard.sentence
    assert "is it drawn, or a coupler on?" in walk.heard.question
    found = ranks_measured(walk)
    assert found[PRINCIPAL] >= 7  # of 13; those below A#2 want longer holds
    assert found[TWELFTH] >= 11
    assert max(off) < 0.5
    assert np.median(off) < 0.05


def test_where_two_stops_have_that_pitch_the_other_one_has_no_value() -> None:
    walk, off = walked(PRINCIPAL, OCTAVE)
    assert walk.heard is not None
    assert walk.heard.believed
    assert set(ranks_measured(walk)) == {PRINCIPAL}
    other = [r for hold in walk.holds for r in hold.readings if r.pipe.rank == OCTAVE]
    assert other
    assert all(ReadingFlag.OTHER in reading.flags for reading in other)
    assert max(off) < 0.5


def test_without_both_ends_of_the_compass_an_octave_is_not_decided() -> None:
    walk, off = walked(PRINCIPAL, OCTAVE, first=13)
    assert walk.heard is not None
    assert not walk.heard.believed
    assert off == []
