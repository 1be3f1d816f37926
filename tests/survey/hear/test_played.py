"""Walks that the machine played: the synthesiser follows the schedule, the recorder starts late."""

import io
from itertools import pairwise

import numpy as np
import pytest
import soundfile
from numpy.testing import assert_allclose

from tests.survey.organs import SMALL
from walkboard.demo.synthesiser import (
    Ambience,
    Faults,
    KeyHolder,
    PipeVoice,
    RenderedWalk,
    Room,
    VoiceKind,
    render_walk,
)
from walkboard.listening.sound.recording import open_sound
from walkboard.listening.types import FoundHold, HoldFlag, Walk
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.hear.played import align_schedule
from walkboard.survey.hear.walk import hear_walk
from walkboard.survey.plan.schedule import Press, Schedule, midi_of, schedule_from_midi

ORGAN = read_organ(SMALL)
STOP = "great.principal8"
KEYS = [Key.parse("C3").up(n) for n in range(12)]
DEAD = (Key.parse("E3"), Key.parse("A3"))
HOLD_S, STEP_S = 2.0, 1.6  # each key is held into the next: legato
LEAD_S = 3.0
LATE_S = 1.3  # after the file the recorder was started


def played() -> Schedule:
    """What was played, through the bytes of its file."""
    presses = [
        Press(key, LEAD_S + n * STEP_S, LEAD_S + n * STEP_S + HOLD_S) for n, key in enumerate(KEYS)
    ]
    return schedule_from_midi(midi_of(Schedule(tuple(presses))))


@pytest.fixture(scope="module")
def rendered() -> RenderedWalk:
    rng = np.random.default_rng(3)
    voices = {
        key: tuple(
            PipeVoice(
                pipe,
                VoiceKind.OPEN,
                target_hz(ORGAN, pipe, 18.0) * 2.0 ** (float(rng.normal(0.0, 4.0)) / 1200.0),
                level_db=-20.0,
                wander_cents=0.05,
                seed=int(rng.integers(2**31)),
            )
            for pipe in ORGAN.sounding([STOP], key)
        )
        for key in KEYS
    }
    return render_walk(
        KEYS,
        voices,
        Room(t60_s=1.5),
        rng,
        holder=KeyHolder(
            hold_s=HOLD_S,
            spread=0.0,
            gap_s=STEP_S - HOLD_S,
            gap_spread_s=0.0,
            lead_s=LEAD_S - LATE_S,
            pause_every=0,
        ),
        faults=Faults(dead=DEAD),
        ambience=Ambience(),
        sample_rate=24_000,
    )


@pytest.fixture(scope="module")
def walk(rendered) -> HeardWalk:
    stream = io.BytesIO()
    soundfile.write(stream, rendered.samples, rendered.sample_rate, format="FLAC", subtype="PCM_24")
    stream.seek(0)
    sound = open_sound(stream, "walk.flac")
    return hear_walk(sound, ORGAN, [STOP], 18.0, file="walk.flac", played=played())


def test_every_key_that_spoke_is_a_hold_and_the_two_dead_ones_are_named(walk):
    assert walk.silent_keys == DEAD
    assert [hold.key for hold in walk.holds] == [key for key in KEYS if key not in DEAD]
    assert [hold.n for hold in walk.holds] == list(range(1, 11))
    assert walk.warnings == ()


def test_times_are_the_schedules_own(walk, rendered):
    true = {hold.key: hold for hold in rendered.holds}
    assert_allclose(
        [hold.start_s for hold in walk.holds],
        [true[hold.key].start_s for hold in walk.holds],
        atol=0.05,  # a coarse frame of finding is 0.04 s; the offset is its median over all holds
    )
    steps = [
        (b.start_s - a.start_s) / (KEYS.index(b.key) - KEYS.index(a.key))
        for a, b in pairwise(walk.holds)
    ]
    assert_allclose(steps, STEP_S, atol=1e-6)


def test_what_was_played_is_read_as_well_as_any_walk(walk, rendered):
    true = {hold.key: hold for hold in rendered.holds}
    for hold in walk.holds:
        (reading,) = hold.readings
        assert reading.hz is not None
        mean_hz = true[hold.key].mean_hz(reading.pipe, reading.start_s, reading.end_s)
        assert abs(1200.0 * np.log2(reading.hz / mean_hz)) < 0.1


# --- the alignment alone: walks written down rather than heard


def found(key: int | None, start_s: float, end_s: float, *flags: HoldFlag) -> FoundHold:
    return FoundHold(key, start_s, end_s, -20.0, None, 1, 0.9, flags)


def put_right(*holds: FoundHold, keys: int = 5, seconds: float = 60.0):
    presses = tuple(Press(KEYS[n], 3.0 + 4.3 * n, 7.0 + 4.3 * n) for n in range(keys))
    walk = Walk(tuple(holds), (), 1.0)
    hz = [261.6 * 2.0 ** (n / 12.0) for n in range(len(KEYS))]
    return align_schedule(walk, Schedule(presses), KEYS, hz, seconds=seconds)


def test_a_missed_hold_is_filled_and_a_wrong_name_put_right():
    aligned = put_right(
        found(0, 1.02, 4.9), found(1, 5.3, 9.4), found(7, 9.6, 13.5), found(4, 18.1, 22.3)
    )
    assert [hold.key for hold in aligned.walk.holds] == [0, 1, 2, 3, 4]
    assert aligned.filled == {2, 3}
    assert [hold.sureness for hold in aligned.walk.holds] == [0.99, 0.99, 0.9, 0.9, 0.99]
    assert aligned.renamed == 1
    assert_allclose(aligned.offset_s, -2.0, atol=0.1)
    starts = [hold.start_s for hold in aligned.walk.holds]
    assert_allclose(np.diff(starts), 4.3, atol=1e-9)


def test_marks_that_the_schedule_explains_are_taken_away_and_others_kept():
    aligned = put_right(
        found(0, 1.0, 5.0, HoldFlag.OUT_OF_ORDER),
        found(1, 5.3, 9.3, HoldFlag.CLIPPED),
        found(None, 30.0, 34.0, HoldFlag.UNKNOWN_KEY),
    )
    assert aligned.walk.holds[0].flags == ()
    assert aligned.walk.holds[1].flags == (HoldFlag.CLIPPED,)
    assert aligned.dropped == 1


def test_only_what_lies_in_the_recording_is_asked_of_it():
    aligned = put_right(found(1, 0.0, 2.0), found(2, 2.3, 6.3), found(3, 6.6, 10.0), seconds=10.0)
    assert [hold.key for hold in aligned.walk.holds] == [1, 2, 3]
    assert aligned.walk.holds[-1].end_s <= 10.0


def test_another_file_than_was_played_is_not_believed():
    backwards = [found(n, 4.3 * (5 - n), 4.3 * (5 - n) + 4.0) for n in range(5)]
    assert put_right(*reversed(backwards)) is None
