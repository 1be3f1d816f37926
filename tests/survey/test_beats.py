"""The worst beats of a registration and of a chord."""

import json
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.commands import Run, run  # noqa: F401 - a fixture
from tests.survey.hear.test_identity import (
    BRIGHT,
    OPEN,
    SECOND,
    TWO_UNISONS,
    alone,
    due_hz,
    partials,
    walk,
)
from walkboard.listening.readings import Bound, Measured, bounded
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.quantities import ratio_of_cents
from walkboard.scales.keys import Key
from walkboard.survey.beats import beats_of_keys, latest_readings, levels_of, worst_beats
from walkboard.survey.hear.heard_walk import Reading
from walkboard.survey.hear.to_json import walk_to_json

DESCRIPTION = (
    TWO_UNISONS
    + """
[[rank]]
id = "great.octave4"
division = "great"
name = "Octave"
family = "open"
feet = "4"
pipes = 61
tuned_by = "cone"
"""
)
ORGAN = read_organ(DESCRIPTION)
OCTAVE = "great.octave4"
C4, E4, G4 = Key.parse("C4"), Key.parse("E4"), Key.parse("G4")


def number(key: Key) -> int:
    return key.semitone - Key.parse("C2").semitone + 1


def octave(key: Key, cents: float) -> Reading:
    low = opened(key, cents)
    return replace(low, pipe=PipeRef(OCTAVE, number(key)), hz=2.0 * low.hz)


def opened(key: Key, cents: float) -> Measured[PipeRef]:
    return alone(OPEN, number(key), cents, partials=partials(BRIGHT))


def pipes(*readings: Reading) -> dict[PipeRef, Reading]:
    return {reading.pipe: reading for reading in readings}


def test_an_octave_three_cents_sharp_beats_at_its_fundamental_with_the_second_partial():
    heard = pipes(opened(C4, 0.0), octave(C4, 3.0))
    (beat,) = worst_beats(ORGAN, heard, tuple(heard), None)
    due = 2.0 * due_hz(OPEN, number(C4))
    multiple = beat.second_partial
    assert beat.first_partial == 2 * multiple
    expected = multiple * due * (ratio_of_cents(3.0) - 1.0)
    assert_allclose(beat.per_second, expected, rtol=1e-9)
    assert_allclose(beat.due_per_second, 0.0, atol=1e-9)


def test_a_chord_in_perfect_equal_temperament_has_no_beat_beyond_the_due_ones():
    heard = pipes(*(opened(key, 0.0) for key in (C4, E4, G4)))
    assert worst_beats(ORGAN, heard, tuple(heard), None) == ()


def test_a_third_set_pure_beats_ten_times_a_second_less_than_it_should():
    """C4–E4 beats 10.4 times a second in equal temperament between partials 5 and 4.

    Printed in tuners' beat tables; from memory.
    """
    heard = pipes(opened(C4, 0.0), opened(E4, -13.686))
    worst = worst_beats(ORGAN, heard, tuple(heard), None)[0]
    assert (worst.first_partial, worst.second_partial) == (5, 4)
    assert_allclose(worst.due_per_second, 10.38, atol=0.01)
    assert_allclose(worst.per_second, 0.0, atol=0.01)


def test_of_two_keys_the_one_whose_octave_is_out_comes_first():
    heard = pipes(opened(C4, 0.0), octave(C4, 0.4), opened(E4, 0.0), octave(E4, -5.0))
    found = beats_of_keys(ORGAN, heard, (OPEN, OCTAVE), (C4, E4), None)
    assert [key.name for key, _ in found] == ["E4", "C4"]


def test_unnamed_unisons_beat_as_their_envelope_did():
    both = [
        bounded(replace(heard, beat_hz=1.2), Bound(261.6, 4.0))
        for heard in (
            opened(C4, 0.0),
            alone(SECOND, number(C4), 0.0, partials=partials(BRIGHT)),
        )
    ]
    readings = latest_readings([walk(both)])
    (beat,) = worst_beats(ORGAN, readings, tuple(readings), None)
    assert beat.heard_per_second is not None
    assert_allclose(beat.heard_per_second / beat.first_partial, 1.2)


def test_partials_not_heard_go_on_as_the_kind_does_from_those_that_were() -> None:
    """An open pipe falls 9 dB an octave (common practice, no source): from −29 at the second."""
    levels = levels_of(ORGAN, alone(OPEN, 25, 0.0, partials=partials((-20.0, -29.0))))
    assert (levels[1], levels[2]) == (-20.0, -29.0)
    assert levels[4] == pytest.approx(-38.0)
    assert levels[16] == pytest.approx(-56.0)
    louder = levels_of(ORGAN, alone(OPEN, 25, 0.0, partials=partials((-8.0, -17.0))))
    assert louder[4] == pytest.approx(-26.0)


def test_of_a_pipe_whose_level_alone_is_known_the_partials_add_up_to_it() -> None:
    levels = levels_of(ORGAN, alone(OPEN, 25, 0.0, level_db=-30.0))
    assert 10.0 * np.log10(sum(10.0 ** (db / 10.0) for db in levels.values())) == pytest.approx(
        -30.0
    )


def test_slower_and_faster_than_four_a_second_count_less() -> None:
    """Fluctuation is strongest at 4 Hz (Zwicker & Fastl, chapter 10; from memory): 2r/(1 + r²)."""
    for cents in (0.7, 3.0, 9.0):
        heard = pipes(opened(C4, 0.0), octave(C4, cents))
        (beat,) = worst_beats(ORGAN, heard, tuple(heard), None)
        r = beat.excess_per_second / 4.0
        assert beat.badness_db - beat.level_db == pytest.approx(
            20.0 * np.log10(2 * r / (1 + r * r))
        )
        assert beat.level_db <= 0.0  # of the loudest that sounds, however loud the recording is
        quiet = {
            p: replace(
                one, partials=tuple(replace(q, level_db=q.level_db - 30.0) for q in one.partials)
            )
            for p, one in heard.items()
        }
        (softly,) = worst_beats(ORGAN, quiet, tuple(quiet), None)
        assert softly.level_db == pytest.approx(beat.level_db)


@pytest.fixture
def files(tmp_path):
    organ, readings = tmp_path / "organ.toml", tmp_path / "walk.json"
    organ.write_text(DESCRIPTION)
    heard = walk([opened(C4, 0.0), octave(C4, 3.0)], [opened(E4, 0.0)])
    readings.write_text(json.dumps(walk_to_json(heard)))
    return organ, readings


def test_the_command_names_keys_partials_and_rates(run: Run, files):  # noqa: F811
    organ, readings = files
    drawn = f"{OPEN},{OCTAVE}"
    said = run("beats", readings, "--organ", organ, "--drawn", drawn, "--json")
    assert said.code == 0
    (beat,) = said.json["beats"]
    assert (beat["key"], beat["first"], beat["second"]) == (
        "C4",
        f"{OPEN}:{number(C4)}",
        f"{OCTAVE}:{number(C4)}",
    )
    table = run("beats", readings, "--organ", organ, "--drawn", drawn, "--chord", "C4,E4")
    assert table.code == 0
    assert "C4–E4" in table.out
    assert f"{beat['per_second']:.2f}" in table.out


def test_a_chord_outside_the_compass_is_refused(run: Run, files):  # noqa: F811
    organ, readings = files
    said = run("beats", readings, "--organ", organ, "--drawn", OPEN, "--chord", "C8")
    assert said.code == 2
    assert "sound nothing at C8" in said.err
