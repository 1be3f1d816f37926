"""A walk on a known organ: pipes named, faults reported, another stop recognised."""

import io
from typing import Any

import numpy as np
import pytest
import soundfile

from tests.survey.organs import SMALL, rendered_walk
from walkboard.demo.synthesiser import WalkTruth
from walkboard.errors import UnknownNameError
from walkboard.listening.readings import Measured
from walkboard.listening.sound.recording import open_sound
from walkboard.listening.types import HoldFlag, ReadingFlag
from walkboard.organ.reading import read_organ
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.hear.walk import hear_walk

ORGAN = read_organ(SMALL)


def heard(stop: str, said: str | None = None, **slips: Any) -> tuple[HeardWalk, WalkTruth]:
    rendered = rendered_walk(ORGAN, stop, **slips)
    stream = io.BytesIO()
    soundfile.write(stream, rendered.samples, rendered.sample_rate, format="FLAC", subtype="PCM_24")
    stream.seek(0)
    walk = hear_walk(open_sound(stream, "walk.flac"), ORGAN, [said or stop], 18.0, file="walk.flac")
    return walk, rendered.truth


def test_every_pipe_of_a_walk_is_named_and_read() -> None:
    walk, truth = heard("great.principal8")
    assert [h.key for h in walk.holds] == [h.key for h in truth.holds]
    assert [h.key_number for h in walk.holds] == [13 + n for n in range(len(truth.holds))]
    for hold, true in zip(walk.holds, truth.holds, strict=True):
        (reading,) = hold.readings
        (pipe,) = true.pipes
        assert reading.pipe == pipe.pipe
        assert isinstance(reading, Measured)
        true_hz = pipe.mean_hz(reading.start_s, reading.end_s)
        assert abs(1200 * np.log2(reading.hz / true_hz)) < 0.1
    assert walk.silent_keys == ()
    assert walk.warnings == ()


def test_a_dead_note_is_reported_as_a_silent_key() -> None:
    walk, _ = heard("great.principal8", dead="E3")
    assert walk.silent_keys == (Key.parse("E3"),)


def test_a_repeated_key_is_flagged_and_read_twice() -> None:
    walk, _ = heard("great.principal8", repeated="F3")
    twice = [h for h in walk.holds if h.key == Key.parse("F3")]
    assert len(twice) == 2
    assert HoldFlag.REPEAT in twice[1].flags


def test_a_pipe_that_speaks_its_octave_has_no_value() -> None:
    walk, _ = heard("great.principal8", off_speech="F3")
    (hold,) = [h for h in walk.holds if h.key == Key.parse("F3")]
    (reading,) = hold.readings
    assert ReadingFlag.OCTAVE in reading.flags
    assert not isinstance(reading, Measured)
    assert not isinstance(reading, Measured)


def test_another_stop_than_said_is_recognised() -> None:
    walk, _ = heard("great.octave4", said="great.principal8", lowest="G5", keys=11)
    assert any("sounds like Octave" in warning for warning in walk.warnings)
    assert walk.heard is not None
    assert not walk.heard.believed
    assert walk.holds == ()


def test_an_unknown_stop_is_refused_with_what_there_is() -> None:
    with pytest.raises(UnknownNameError, match=r"no stop 'great.tuba8'.*great"):
        heard("great.principal8", said="great.tuba8")


def test_noise_without_a_held_key_is_no_walk() -> None:
    stream = io.BytesIO()
    noise = 0.01 * np.random.default_rng(1).standard_normal(5 * 24_000)
    soundfile.write(stream, noise, 24_000, format="WAV")
    stream.seek(0)
    walk = hear_walk(open_sound(stream, "n.wav"), ORGAN, ["great.principal8"], None, file="n.wav")
    assert walk.heard is not None
    assert not walk.heard.is_walk
    assert walk.heard.sentence.startswith("This is not a walk")
    assert walk.holds == ()
