"""What was really recorded, a small walk for each: said in one sentence, nothing wrong kept.

Played by the synthesiser of `bench.situations`, which shares nothing with listening nor the demo;
the bench plays every situation often and at full length.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import soundfile
from bench._situations.player import Player, Scene
from bench._situations.scenes import coupled, not_a_walk
from bench._sounding import RATE_HZ, RoomSound, Tremulant, Wind

from walkboard.errors import InputError
from walkboard.listening.readings import Measured
from walkboard.listening.sound.recording import open_sound
from walkboard.listening.types import HoldFlag, ReadingFlag
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Reading
from walkboard.survey.hear.walk import hear_walk

PRINCIPAL, OCTAVE, FLUTE = "great.principal8", "great.octave4", "great.flute8"
BOURDON = "great.bourdon16"


def player(seed: int = 2, keys: int = 36) -> Player:
    p = Player(seed, keys=keys)
    p.hold_s, p.gap_s = 1.8, 0.3
    p.room = RoomSound(t60_s=1.0)
    p.wind = Wind()
    return p


def some_keys(p: Player, stop: str, first: int = 18, count: int = 11) -> list[Key]:
    return p.keys(stop)[first : first + count]


def heard(scene: Scene) -> HeardWalk:
    stream = io.BytesIO()
    soundfile.write(stream, scene.samples, RATE_HZ, format="FLAC", subtype="PCM_16")
    stream.seek(0)
    sound = open_sound(stream, "walk.flac")
    return hear_walk(sound, scene.organ, scene.drawn, None, file="walk.flac")


def readings(walk: HeardWalk) -> list[Reading]:
    return [reading for hold in walk.holds for reading in hold.readings]


def unflagged(walk: HeardWalk) -> list[Reading]:
    return [r for r in readings(walk) if isinstance(r, Measured) and not r.flags]


def off_cents(scene: Scene, walk: HeardWalk) -> list[float]:
    """Every value against the truth; infinite where that pipe did not sound."""
    found = []
    for hold in walk.holds:
        true = min(scene.holds, key=lambda one: abs(one.start_s - hold.start_s))
        for r in hold.readings:
            if isinstance(r, Measured) and not r.flags:
                one = true.pipes.get(str(r.pipe))
                off = np.inf if one is None else r.hz / one.mean_hz(r.start_s, r.end_s)
                found.append(abs(1200.0 * np.log2(off)))
    return found


def test_a_clean_walk_is_believed_and_says_so() -> None:
    p = player()
    scene = p.play("", [PRINCIPAL], p.times(some_keys(p, PRINCIPAL)), p.drawn_pipes([PRINCIPAL]))
    walk = heard(scene)
    assert walk.heard is not None
    assert walk.heard.sentence.startswith(
        "Heard: Principal 8 (Great), keys F#3 to E4 upward; nothing else; pitch as described"
    )
    assert "a whole semitone cannot be excluded" in walk.heard.sentence
    assert walk.heard.believed
    assert walk.heard.question == ""
    assert len(unflagged(walk)) == 11
    assert max(off_cents(scene, walk)) < 0.5


@pytest.mark.parametrize("pitch_cents", [-101.27, 70.0])
def test_an_organ_off_its_description_is_named_from_its_compass(pitch_cents: float) -> None:
    p = player(keys=16)
    p.pitch_cents = pitch_cents
    scene = p.play("", [OCTAVE], p.times(p.keys(OCTAVE)), p.drawn_pipes([OCTAVE]))
    walk = heard(scene)
    assert walk.heard is not None
    assert not walk.heard.believed
    assert walk.heard.shift_cents == pytest.approx(
        pitch_cents + p.shift_cents + p.rank_shift[OCTAVE], abs=3.0
    )
    assert [hold.key for hold in walk.holds] == [true.keys[0] for true in scene.holds]
    assert unflagged(walk) == []
    assert {flag for r in readings(walk) for flag in r.flags} == {ReadingFlag.FAR}


def test_an_organ_at_415_is_asked_about_with_the_line_to_change() -> None:
    p = player(keys=16)
    p.pitch_cents, p.shift_cents, p.rank_shift[OCTAVE] = -101.27, 0.0, 0.0
    walk = heard(p.play("", [OCTAVE], p.times(p.keys(OCTAVE)), p.drawn_pipes([OCTAVE])))
    assert walk.heard is not None
    assert "cents below the description: is it A4 = 415 Hz?" in walk.heard.sentence
    assert "a4_hz = 415" in walk.heard.question


@pytest.mark.parametrize(
    ("also", "pitch"),
    [("swell.salicional8", 1), ("swell.flute4", 2), ("great.twelfth", 3)],
)
def test_an_unstated_stop_is_found_and_the_values_are_withheld(also: str, pitch: float) -> None:
    p = player()
    p.hold_s = 2.6  # enough to see two pipes a few cents apart
    sounds = p.drawn_pipes([PRINCIPAL, also])
    walk = heard(p.play("", [PRINCIPAL], p.times(some_keys(p, PRINCIPAL)), sounds))
    assert walk.heard is not None
    found = [float(p.organ.rank(one.stop).multiple_of(1)) for one in walk.heard.also_sounding]
    assert pitch in found
    assert unflagged(walk) == []
    assert not walk.heard.believed


def test_a_twelfth_nearly_in_tune_is_found_by_the_partials_that_it_moves() -> None:
    """Its partials cannot be seen beside the principal's; here and there they are a little off."""
    p = Player(2)
    both = (PRINCIPAL, "great.twelfth")
    p.rank_shift.update(dict.fromkeys(both, 0.0))
    for number in range(1, 38):
        for rank in both:
            p.tune(PipeRef(rank, number), float(p.rng.normal(0.0, 1.0)))
    scene = p.play("", [PRINCIPAL], p.times(some_keys(p, PRINCIPAL, 10, 18)), p.drawn_pipes(both))
    walk = heard(scene)
    assert walk.heard is not None
    assert walk.heard.also_sounding[0].stop == "great.twelfth"
    assert all(offset < 0.5 for offset in off_cents(scene, walk))


def test_two_dull_unisons_that_beat_slowly_are_not_taken_for_one() -> None:
    """Their beats show in 4 holds of 10 only, and 3 of their values were wrong."""
    scene = coupled(78_000)
    assert (scene.drawn, scene.detail["also"]) == ((FLUTE,), "swell.gedackt8")
    walk = heard(scene)
    assert walk.heard is not None
    assert not walk.heard.believed
    assert unflagged(walk) == []


def test_a_coupled_octave_of_the_stop_itself_is_found() -> None:
    p = player()

    def sounds(key: Key) -> list[tuple[PipeRef, float]]:
        number = key.semitone - 35
        return [(PipeRef(PRINCIPAL, number), 0.0), (PipeRef(PRINCIPAL, number + 12), 0.0)]

    walk = heard(p.play("", [PRINCIPAL], p.times(some_keys(p, PRINCIPAL, 10, 14)), sounds))
    assert walk.heard is not None
    assert not walk.heard.believed
    assert any(
        one.semitones == 12 or p.organ.rank(one.stop).multiple_of(1) == 2
        for one in walk.heard.also_sounding
    )
    assert unflagged(walk) == []


def test_a_tremulant_is_reported_with_its_rate_and_depth() -> None:
    p = player()
    p.hold_s = 2.6  # enough periods to know the rate by
    p.room = RoomSound(t60_s=0.4, wet=0.2)  # a large room would even the movement out
    p.wind = replace(p.wind, tremulant=Tremulant(5.5, 4.0, 0.6))
    scene = p.play("", [FLUTE], p.times(some_keys(p, FLUTE)), p.drawn_pipes([FLUTE]))
    walk = heard(scene)
    assert walk.heard is not None
    tremulant = walk.heard.tremulant
    assert tremulant is not None
    assert tremulant.rate_hz == pytest.approx(5.5, abs=0.2)
    assert tremulant.depth_cents == pytest.approx(4.0, rel=0.2)
    assert all(ReadingFlag.TREMULANT in r.flags for r in readings(walk))


def test_wind_that_shakes_by_a_cent_is_no_tremulant() -> None:
    p = player()
    p.wind = replace(p.wind, shake_cents=1.0, shake_hz=5.0)
    walk = heard(
        p.play("", [PRINCIPAL], p.times(some_keys(p, PRINCIPAL)), p.drawn_pipes([PRINCIPAL]))
    )
    assert walk.heard is not None
    assert walk.heard.tremulant is None
    assert walk.heard.believed


def test_a_cipher_is_named_and_the_others_are_measured_around_it() -> None:
    p = player()
    timed = p.times(some_keys(p, OCTAVE))
    one = p.sounding(PipeRef(OCTAVE, 34), 8.0, timed[-1][2] + 1.0)
    scene = p.play("", [OCTAVE], timed, p.drawn_pipes([OCTAVE]), extra=[one])
    walk = heard(scene)
    assert walk.heard is not None
    (cipher,) = walk.heard.cipher
    assert f"{OCTAVE}:34" in (cipher.pipe, *cipher.or_pipes)
    assert cipher.hz == pytest.approx(one.hz, rel=1e-3)
    assert cipher.start_s == pytest.approx(8.0, abs=1.0)
    assert len(unflagged(walk)) >= 5
    assert max(off_cents(scene, walk)) < 0.5


def test_a_stated_stop_that_does_not_sound_is_said_to_be_missing() -> None:
    p = player()
    drawn = [PRINCIPAL, "great.twelfth"]
    keys = some_keys(p, PRINCIPAL, first=10, count=7)
    scene = p.play("", drawn, p.times(keys), p.drawn_pipes([PRINCIPAL]))
    walk = heard(scene)
    assert walk.heard is not None
    assert walk.heard.not_sounding == ("great.twelfth",)
    assert "nothing of Twelfth 2 2/3 (Great) is heard at any key" in walk.heard.sentence
    assert len(unflagged(walk)) >= 6
    assert max(off_cents(scene, walk)) < 0.5


def test_where_either_of_two_stated_stops_may_be_alone_no_value_is_kept() -> None:
    """A twelfth sounds at C3 what a principal sounds at G4: the middle of the compass hides it."""
    p = player()
    drawn = [PRINCIPAL, "great.twelfth"]
    keys = some_keys(p, PRINCIPAL, first=22, count=7)
    walk = heard(p.play("", drawn, p.times(keys), p.drawn_pipes([PRINCIPAL])))
    assert walk.heard is not None
    assert not walk.heard.believed
    assert "Only one of Principal 8 (Great) and Twelfth 2 2/3 (Great) is heard" in (
        walk.heard.sentence
    )
    assert unflagged(walk) == []


def test_a_four_foot_alone_is_not_named_as_the_sixteen_foot_two_octaves_up() -> None:
    p = player()
    drawn = [OCTAVE, "great.bourdon16"]
    scene = p.play("", drawn, p.times(p.keys(OCTAVE)[:14]), p.drawn_pipes([OCTAVE]))
    walk = heard(scene)
    assert walk.heard is not None
    assert not walk.heard.believed, "fourteen keys upward may be either's"
    assert unflagged(walk) == []


def test_an_octave_coupler_is_not_taken_for_the_stop_an_octave_up() -> None:
    """The pipe that it adds to a key is the very one that the key an octave up sounds."""
    p = player(seed=3, keys=24)
    rank = p.organ.rank(OCTAVE)

    def sounds(key: Key) -> list[tuple[PipeRef, float]]:
        number = key.semitone - rank.from_key.semitone + 1
        return [(PipeRef(OCTAVE, n), 0.0) for n in (number, number + 12) if n <= rank.pipes]

    scene = p.play("", [OCTAVE], p.times(p.keys(OCTAVE)), sounds)
    walk = heard(scene)
    assert walk.heard is not None
    also = walk.heard.also_sounding[0]
    assert (also.stop, also.semitones) == (OCTAVE, 12)
    assert all(offset < 0.5 for offset in off_cents(scene, walk))


def test_an_unsure_hold_of_a_calm_walk_is_not_believed() -> None:
    """Samples are missing and only two partials are loud: the wander alone shows it."""
    p = player(seed=4)
    scene = p.play("", [FLUTE], p.times(some_keys(p, FLUTE, count=9)), p.drawn_pipes([FLUTE]))
    hold = scene.holds[4]
    lost = int((hold.start_s + 1.25) * RATE_HZ)
    count = int(0.0115 * RATE_HZ)
    scene.samples = np.delete(scene.samples, np.s_[lost : lost + count])
    scene.lost_s = ((lost / RATE_HZ, count / RATE_HZ),)
    walk = heard(scene)
    read = next(h for h in walk.holds if h.start_s <= lost / RATE_HZ <= h.end_s).readings[0]
    assert read.flags


def test_another_stop_of_another_pitch_keeps_nothing() -> None:
    p = player()
    walk = heard(p.play("", [PRINCIPAL], p.times(p.keys(OCTAVE)[22:36]), p.drawn_pipes([OCTAVE])))
    assert walk.heard is not None
    assert walk.holds == ()
    assert walk.heard.also_sounding[0].stop == OCTAVE
    assert walk.heard.sentence.startswith("This sounds like Octave 4 (Great)")


def test_an_eight_foot_walked_for_the_sixteen_foot_is_recognised_above_its_compass() -> None:
    """Its upper keys are explained by the third partial of lower keys, but those are out of order.

    The stated 16′ ends four keys above the lowest of the 8′.
    """
    p = player(keys=26)
    walk = heard(p.play("", [BOURDON], p.times(p.keys(FLUTE)[8:]), p.drawn_pipes([FLUTE])))
    assert walk.heard is not None
    assert not walk.heard.believed
    also = walk.heard.also_sounding[0]
    assert FLUTE in (also.stop, *also.or_stops)
    assert unflagged(walk) == []


def test_a_low_stop_whose_pitch_is_uncertain_is_heard_all_the_same() -> None:
    """Of this 16′ hardly a value can be given; its own partials show that it sounds."""
    p = Player(76_000)
    drawn = [BOURDON, OCTAVE]
    scene = p.play("", drawn, p.times(p.keys(BOURDON)[4:12]), p.drawn_pipes(drawn))
    walk = heard(scene)
    assert walk.heard is not None
    assert walk.heard.not_sounding == ()
    assert walk.heard.believed


@pytest.mark.parametrize(("stated", "walked"), [(FLUTE, PRINCIPAL), (PRINCIPAL, FLUTE)])
def test_another_family_of_the_same_pitch_is_recognised(stated: str, walked: str) -> None:
    p = player()
    walk = heard(p.play("", [stated], p.times(some_keys(p, walked)), p.drawn_pipes([walked])))
    assert walk.heard is not None
    assert not walk.heard.believed
    named = p.organ.rank(walk.heard.also_sounding[0].stop).family
    assert named is p.organ.rank(walked).family
    assert unflagged(walk) == []


def test_stops_of_two_keyboards_are_refused_with_the_reason() -> None:
    p = player()
    drawn = [PRINCIPAL, "swell.flute4"]
    scene = p.play("", drawn, p.times(p.keys(PRINCIPAL)[:2]), p.drawn_pipes(drawn))
    with pytest.raises(InputError, match=r"several keyboards \(Great and Swell\).*coupler"):
        heard(scene)


@pytest.mark.parametrize(
    ("seed", "kind"), [(0, "speech"), (1, "music"), (2, "traffic"), (3, "noise"), (4, "silence")]
)
def test_what_is_no_walk_keeps_nothing_and_says_why(seed: int, kind: str) -> None:
    scene = not_a_walk(seed)
    assert scene.detail["kind"] == kind
    scene.samples = scene.samples[: 20 * RATE_HZ]
    walk = heard(scene)
    assert walk.heard is not None
    assert not walk.heard.is_walk
    assert not walk.heard.believed
    assert walk.holds == ()
    assert walk.heard.sentence.startswith("This is not a walk: ")


def test_a_second_key_held_withholds_the_value_of_that_hold_only() -> None:
    p = player()
    timed = p.times(some_keys(p, PRINCIPAL))
    _, start_s, end_s = timed[6]
    number = timed[6][0].semitone - 35
    second = p.sounding(PipeRef(PRINCIPAL, number + 5), start_s, end_s)
    walk = heard(p.play("", [PRINCIPAL], timed, p.drawn_pipes([PRINCIPAL]), extra=[second]))
    flagged = [hold.n for hold in walk.holds if ReadingFlag.OTHER in hold.readings[0].flags]
    assert flagged == [7]


def test_keys_not_held_and_dead_notes_are_distinguished() -> None:
    p = player()
    keys = some_keys(p, PRINCIPAL, count=16)
    passed, dead = keys[5], keys[10]
    sounds: Callable[[Key], list[tuple[PipeRef, float]]] = p.drawn_pipes([PRINCIPAL])
    timed = p.times([key for key in keys if key != passed])
    walk = heard(p.play("", [PRINCIPAL], timed, lambda key: [] if key == dead else sounds(key)))
    assert walk.not_held == (passed,)
    assert walk.silent_keys == (dead,)
    assert walk.unsure_keys == ()


@pytest.mark.parametrize(("stop", "first", "count"), [(OCTAVE, 18, 11), (BOURDON, 0, 8)])
def test_a_microphone_that_is_carried_about_is_asked_about(
    stop: str, first: int, count: int
) -> None:
    """A 16′ settles by a cent within each hold; the movement counts without that."""
    p = player()
    scene = p.play("", [stop], p.times(some_keys(p, stop, first, count)), p.drawn_pipes([stop]))
    assert "moved" not in (heard(scene).heard or pytest.fail("no verdict")).sentence
    count = len(scene.samples)
    at_s = np.arange(count) / RATE_HZ
    # Half a metre to and fro, some 0.8 m/s: a Doppler shift of four cents.
    delay = 0.5 / 343.0 * np.sin(2.0 * np.pi * 0.25 * at_s) * RATE_HZ
    moved = np.interp(np.arange(count) + delay, np.arange(count), scene.samples)
    scene.samples = moved.astype(np.float32)
    walk = heard(scene)
    assert walk.heard is not None
    assert "was the microphone moved?" in walk.heard.question
    assert unflagged(walk) == []


def test_a_key_released_late_is_reported() -> None:
    p = player()
    timed = p.times(some_keys(p, PRINCIPAL))
    key, start_s, _ = timed[4]
    timed[4] = key, start_s, timed[5][1] + 1.0
    walk = heard(p.play("", [PRINCIPAL], timed, p.drawn_pipes([PRINCIPAL])))
    late = [hold.key for hold in walk.holds if HoldFlag.RELEASED_LATE in hold.flags]
    assert late == [key]
    assert f"Released late, into the next hold: {key.name}." in walk.warnings


def test_a_recording_that_begins_within_a_hold_is_heard() -> None:
    p = player()
    keys = some_keys(p, PRINCIPAL, count=8)
    scene = p.play("", [PRINCIPAL], p.times(keys), p.drawn_pipes([PRINCIPAL]))
    scene.samples = scene.samples[int((scene.holds[0].start_s + 0.3) * RATE_HZ) :]
    walk = heard(scene)
    assert len(walk.holds) == 8
    assert walk.holds[0].start_s >= 0.0
