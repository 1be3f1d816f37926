"""Keys C3 to C5 of a 16′ sound like keys C2 to C4 of an 8′."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bench._situations.player import organ_text

from walkboard.listening.readings import Measured
from walkboard.listening.types import Partial
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import Hold
from walkboard.survey.hear.octave_doubt import NO_DOUBT, octave_doubt
from walkboard.survey.recognise.rank_sound import PipeSound, rank_sound

STOPPED = (Partial(1, -20.0), Partial(3, -38.0))
ORGAN = read_organ(organ_text(58, "equal"))  # to A6
BOURDON, FLUTE, PRINCIPAL, OCTAVE = (
    f"great.{rank}" for rank in ("bourdon16", "flute8", "principal8", "octave4")
)


def walk(stop: str, first: str, last: str) -> list[Hold]:
    """Holds of these keys, as named on a stop."""
    found = []
    keys = [Key(n) for n in range(Key.parse(first).semitone, Key.parse(last).semitone + 1)]
    for n, key in enumerate(keys, 1):
        pipe = PipeRef(stop, key.semitone - 35)
        reading = Measured(
            pipe=pipe, start_s=3.0 * n, end_s=3.0 * n + 2.0, hz=200.0, sigma_cents=0.1, cents=0.0
        )
        found.append(Hold(n, key, n, 3.0 * n, 3.0 * n + 2.5, (reading,)))
    return found


def test_a_walk_that_ends_where_the_other_stop_does_is_doubted() -> None:
    doubt = octave_doubt(ORGAN, [FLUTE], walk(FLUTE, "C4", "A5"))
    assert doubt.likely == (BOURDON,)
    assert doubt.first == Key.parse("C5")
    assert doubt.last == Key.parse("A6")


def test_a_walk_from_a_c_may_be_a_part_of_the_compass_and_is_only_said() -> None:
    doubt = octave_doubt(ORGAN, [BOURDON], walk(BOURDON, "C3", "C5"))
    assert doubt.likely == ()
    assert doubt.possible == (FLUTE,)
    assert octave_doubt(ORGAN, [PRINCIPAL], walk(PRINCIPAL, "C3", "C5")).possible == (OCTAVE,)


@pytest.mark.parametrize(("first", "last"), [("C2", "A6"), ("C2", "C4"), ("G3", "A6")])
def test_a_walk_that_reaches_an_end_of_its_own_is_not(first: str, last: str) -> None:
    assert octave_doubt(ORGAN, [BOURDON], walk(BOURDON, first, last)) == NO_DOUBT


def test_in_the_middle_of_both_it_is_only_said() -> None:
    doubt = octave_doubt(ORGAN, [BOURDON], walk(BOURDON, "D3", "A4"))
    assert doubt.likely == ()
    assert doubt.possible == (FLUTE,)


def test_other_families_and_a_few_keys_are_no_doubt() -> None:
    assert octave_doubt(ORGAN, [BOURDON], walk(BOURDON, "C3", "E3")) == NO_DOUBT
    stopped = octave_doubt(ORGAN, [FLUTE], walk(FLUTE, "C3", "C5"))
    assert OCTAVE not in stopped.possible, "the 4′ is open"


def test_an_earlier_recording_of_the_other_stop_decides_it() -> None:
    """Its pipes stray as they did then; the stated stop was never recorded."""
    rng = np.random.default_rng(5)
    strays = rng.normal(0.0, 3.0, 90)
    now = walk(BOURDON, "C3", "C5")
    holds = []
    for hold in now:
        (reading,) = hold.readings
        assert isinstance(reading, Measured)
        hz = target_hz(ORGAN, reading.pipe, None)
        cents = float(strays[reading.pipe.number])
        holds.append(
            replace(hold, readings=(replace(reading, hz=hz, cents=cents, partials=STOPPED),))
        )
    flute = ORGAN.rank(FLUTE)
    pipes = [PipeRef(FLUTE, number) for number in range(1, 30)]
    then = {pipe: float(strays[pipe.number + 12] + rng.normal(0.0, 0.3)) for pipe in pipes}
    sounds = [
        PipeSound(target_hz(ORGAN, pipe, None), then[pipe], {1: -20.0, 3: -38.0}) for pipe in pipes
    ]
    before = {flute.id: found} if (found := rank_sound(sounds)) is not None else {}
    doubt = octave_doubt(ORGAN, [BOURDON], holds, None, before)
    assert doubt.likely == (FLUTE,)
    assert octave_doubt(ORGAN, [BOURDON], now, None, before).likely == ()
