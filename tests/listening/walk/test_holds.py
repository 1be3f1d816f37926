"""Walks as key holders do them: every hold found, named by pitch and order, every fault
reported."""

import json
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tests.listening.walks import RATE_HZ, Stroke, expected, key_hz, sound_of, steps
from tests.shared_files import shared
from walkboard.listening.types import Comb, ExpectedKey, FoundHold, HoldFlag, Spectrum, Walk
from walkboard.listening.walk import holds
from walkboard.listening.walk.holds import find_events, gather_features, name_holds


def listen(sound: NDArray[np.float64], keys: Sequence[ExpectedKey], rate_hz: int = RATE_HZ) -> Walk:
    blocks = (sound[i : i + 20_000] for i in range(0, len(sound), 20_000))
    return name_holds(gather_features(blocks, rate_hz), keys)


def names(walk: Walk, semitones: Sequence[int]) -> list[int | None]:
    return [None if hold.key is None else semitones[hold.key] for hold in walk.holds]


def test_a_walk_in_three_seconds_of_reverberation_is_named_key_by_key():
    keys = range(48, 66)
    strokes = steps(keys)
    walk = listen(sound_of(strokes), expected(keys))
    assert names(walk, keys) == list(keys)
    assert all(hold.flags == () for hold in walk.holds)
    assert walk.silent == ()
    assert_allclose([h.start_s for h in walk.holds], [s.start_s for s in strokes], atol=0.1)
    assert_allclose([h.end_s for h in walk.holds], [s.end_s for s in strokes], atol=0.2)
    assert walk.explained > 0.95


def test_a_walk_downward_is_in_order():
    keys = range(60, 72)
    walk = listen(sound_of(steps(keys[::-1])), expected(keys))
    assert names(walk, keys) == list(keys[::-1])
    assert all(hold.flags == () for hold in walk.holds)


def test_a_walk_of_every_c_and_f_sharp_leaves_no_key_silent():
    keys = range(36, 85)
    held = [key for key in keys if key % 6 == 0]
    walk = listen(sound_of(steps(held)), expected(keys))
    assert names(walk, keys) == held
    assert walk.silent == ()


def test_a_key_passed_over_is_silent():
    keys = range(60, 70)
    walk = listen(sound_of(steps([k for k in keys if k != 64])), expected(keys))
    assert names(walk, keys) == [k for k in keys if k != 64]
    assert [keys[i] for i in walk.silent] == [64]


@pytest.mark.parametrize("gap_s", [0.2, 0.6])
def test_a_key_held_twice_is_two_holds_and_the_second_a_repeat(gap_s):
    strokes = [
        *steps(range(60, 64)),
        Stroke(64, 8.6, 10.5),
        Stroke(64, 10.5 + gap_s, 12.5),
        Stroke(65, 12.8, 14.6),
    ]
    walk = listen(sound_of(strokes), expected(range(58, 70)))
    assert names(walk, range(58, 70)) == [60, 61, 62, 63, 64, 64, 65]
    assert [HoldFlag.REPEAT in hold.flags for hold in walk.holds] == [False] * 5 + [True, False]
    assert_allclose(walk.holds[5].start_s, 10.5 + gap_s, atol=0.15)


def test_a_key_held_long_is_one_hold():
    strokes = [*steps([60, 61]), Stroke(62, 5.0, 11.0), Stroke(63, 11.3, 13.0)]
    walk = listen(sound_of(strokes), expected(range(60, 64)))
    assert names(walk, range(60, 64)) == [60, 61, 62, 63]
    assert_allclose(walk.holds[2].end_s - walk.holds[2].start_s, 6.0, atol=0.3)


def test_a_wrong_key_corrected_is_named_and_out_of_order():
    held = [60, 61, 62, 63, 62, 64, 65, 66]
    walk = listen(sound_of(steps(held)), expected(range(60, 67)))
    assert names(walk, range(60, 67)) == held
    astray = [i for i, hold in enumerate(walk.holds) if HoldFlag.OUT_OF_ORDER in hold.flags]
    assert astray == [4]


def test_a_short_wrong_key_is_found_and_short():
    strokes = [*steps([60, 61, 62]), Stroke(64, 6.7, 7.2), *[
        Stroke(63 + i, 7.5 + 1.9 * i, 9.1 + 1.9 * i) for i in range(3)
    ]]  # fmt: skip
    walk = listen(sound_of(strokes), expected(range(60, 66)))
    assert names(walk, range(60, 66)) == [60, 61, 62, 64, 63, 64, 65]
    assert set(walk.holds[3].flags) == {HoldFlag.OUT_OF_ORDER, HoldFlag.SHORT}


@pytest.mark.parametrize(("speaks", "spectrum"), [(2, Spectrum.FULL), (3, Spectrum.ODD)])
def test_a_pipe_off_speech_is_named_by_its_place_in_the_walk(speaks, spectrum):
    keys = range(55, 80)
    strokes = [
        Stroke(s.semitone, s.start_s, s.end_s, speaks if s.semitone == 59 else 1)
        for s in steps(range(55, 64))
    ]
    walk = listen(sound_of(strokes), expected(keys, spectrum=spectrum))
    assert names(walk, keys) == list(range(55, 64))
    assert [hold.overtone for hold in walk.holds] == [1] * 4 + [speaks] + [1] * 4
    heard = walk.holds[4].heard_hz
    assert heard is not None
    assert_allclose(heard, key_hz(59), rtol=0.003)  # 5 cents


def test_pipes_far_off_are_still_named_by_order():
    rng = np.random.default_rng(3)
    cents = rng.uniform(-45.0, 45.0, 14)
    strokes = [
        Stroke(s.semitone, s.start_s, s.end_s, cents=28.0 + c)
        for s, c in zip(steps(range(60, 74)), cents, strict=True)
    ]
    walk = listen(sound_of(strokes), expected(range(55, 80)))
    assert names(walk, range(55, 80)) == list(range(60, 74))
    heard = [hold.heard_hz or 0.0 for hold in walk.holds]
    true = [key_hz(s.semitone) * 2 ** (s.cents / 1200) for s in strokes]
    assert_allclose(heard, true, rtol=0.003)


def test_the_lowest_pedal_pipes_have_names():
    """32′ C is 16.35 Hz: its semitones are 1 Hz apart."""
    keys = range(24, 34)
    strokes = steps(keys, hold_s=3.0, gap_s=0.4, level_db=-15.0)
    walk = listen(sound_of(strokes, multiples=(0.5,), fall_db=4.0), expected(keys, (0.5,)))
    assert names(walk, keys) == list(keys)


def test_the_top_of_a_one_foot_rank_has_names():
    """1′ C7 is 8.4 kHz: one line to a pipe."""
    keys = range(84, 97)
    sound = sound_of(steps(keys), multiples=(4.0,), t60_s=1.0)
    walk = listen(sound, expected(keys, (4.0,)))
    assert names(walk, keys) == list(keys)


def test_several_ranks_are_one_key():
    keys = range(50, 62)
    sound = sound_of(steps(keys), multiples=(1.0, 2.0, 3.0))
    walk = listen(sound, expected(keys, (1.0, 2.0, 3.0)))
    assert names(walk, keys) == list(keys)


def test_keys_an_octave_apart_are_separated_where_sixteen_and_eight_foot_sound():
    """A walk of every sixth key with gaps, one 16' slipped by 22 cents: the octave is no refuge."""
    held, slipped = [36, 42, 60, 66, 84, 90, 96], 42
    unison = sound_of(steps(held), multiples=(1.0,))
    strokes = [replace(s, cents=-22.0) if s.semitone == slipped else s for s in steps(held)]
    sound = unison + sound_of(strokes, multiples=(0.5,))
    keys = range(36, 97)
    walk = listen(sound, expected(keys, (0.5, 1.0), Spectrum.BRIGHT))
    assert names(walk, keys) == held


def test_another_stop_explains_less():
    """An octave walked where the unison is expected: the lower keys are never heard."""
    keys = range(60, 78)
    features = gather_features([sound_of(steps(keys), multiples=(2.0,))], RATE_HZ)
    events = find_events(features)
    right = name_holds(features, expected(keys, (2.0,)), events=events)
    wrong = name_holds(features, expected(keys, (1.0,)), events=events)
    assert right.explained > 0.95
    assert wrong.explained < 0.6


def test_a_key_that_is_not_expected_is_unknown():
    """One key a tritone over the highest of the walk: no key's partial, no overtone."""
    held = [60, 61, 62, 70, 63, 64]
    walk = listen(sound_of(steps(held)), expected(range(60, 65)))
    assert names(walk, range(60, 65)) == [60, 61, 62, None, 63, 64]
    assert walk.holds[3].flags == (HoldFlag.UNKNOWN_KEY,)
    assert walk.holds[3].heard_hz is None


def test_thumps_and_glides_between_keys_are_no_holds():
    strokes = steps(range(60, 66), gap_s=1.2)
    sound = sound_of(strokes)
    rng = np.random.default_rng(8)
    for stroke in strokes:
        time_s = np.arange(round(0.9 * RATE_HZ)) / RATE_HZ
        glide = 150.0 * 2.0 ** (0.5 * np.sin(2 * np.pi * 1.3 * time_s))
        phase = 2 * np.pi * np.cumsum(glide) / RATE_HZ
        voice = sum(np.sin(n * phase) / n for n in range(1, 9)) * np.sin(np.pi * time_s / 0.9)
        knock = np.exp(-time_s / 0.02) * rng.standard_normal(len(time_s))
        first = round((stroke.end_s + 0.15) * RATE_HZ)
        sound[first : first + len(time_s), 0] += 0.02 * np.asarray(voice) + 0.1 * knock
    walk = listen(sound, expected(range(58, 68)))
    assert names(walk, range(58, 68)) == list(range(60, 66))


def test_a_recording_with_nothing_in_it_has_no_holds():
    assert listen(np.zeros((0, 1)), expected([60])).holds == ()
    assert listen(np.zeros((3 * RATE_HZ, 1)), expected([60])).holds == ()
    noise = 0.01 * np.random.default_rng(1).standard_normal((20 * RATE_HZ, 1))
    walk = listen(noise, expected(range(36, 97)))
    assert walk == Walk((), (), 0.0)


def test_a_clipped_hold_says_so():
    sound = np.clip(40.0 * sound_of(steps([60, 61]), noise_db=-90.0), -1.0, 1.0)
    walk = listen(sound, expected([60, 61]))
    assert len(walk.holds) == 2
    assert all(HoldFlag.CLIPPED in hold.flags for hold in walk.holds)


def test_a_single_note_is_a_walk_of_one():
    walk = listen(sound_of([Stroke(69, 0.8, 4.0)]), expected(range(60, 80)))
    assert names(walk, range(60, 80)) == [69]
    assert walk.silent == ()


def test_no_expected_key_is_refused():
    features = gather_features([np.zeros((100, 1))], RATE_HZ)
    with pytest.raises(ValueError, match="at least one expected key"):
        name_holds(features, [])


@cache
def real_walk(name: str, multiples: tuple[float, ...]) -> tuple[dict[str, Any], list[int], Walk]:
    sounds = shared("sounds")
    truth = json.loads((sounds / f"{name}.json").read_text())
    sound, rate = soundfile.read(sounds / f"{name}.flac", dtype="float32", always_2d=True)
    keys = list(truth["keys_expected"])
    walk = listen(sound, expected(keys, multiples, Spectrum.ODD), rate)
    return truth, keys, walk


@pytest.mark.parametrize(
    ("name", "multiples"),
    [
        ("faults", (1.0,)),
        ("pair_zero", (1.0,)),
        ("pair_offset", (1.0,)),
        ("three_ranks", (1.0, 2.0, 3.0)),
        ("two_unisons", (1.0, 1.0)),
    ],
)
def test_every_hold_of_real_pipes_is_found_and_named(name, multiples):
    """Source: Versilian Community Sample Library, CC0 (see ../shared/sounds/README.md)."""
    truth, keys, walk = real_walk(name, multiples)
    assert names(walk, keys) == truth["keys_played"]
    starts = [event["onset_s"] for event in truth["events"]]
    ends = [event["keyup_s"] for event in truth["events"]]
    assert_allclose([hold.start_s for hold in walk.holds], starts, atol=0.2)
    assert_allclose([hold.end_s for hold in walk.holds], ends, atol=0.25)
    missing = truth["faults"].get("missing", [])
    assert [keys[i] for i in walk.silent] == missing


def test_every_fault_of_the_real_walk_is_reported():
    truth, keys, walk = real_walk("faults", (1.0,))
    roles = [event["role"] for event in truth["events"]]
    flags = [set(hold.flags) for hold in walk.holds]
    assert HoldFlag.REPEAT in flags[roles.index("repeated")] | flags[roles.index("repeated") + 1]
    wrong = next(i for i, role in enumerate(roles) if role.startswith("wrong"))
    assert flags[wrong] == {HoldFlag.OUT_OF_ORDER}
    odd = [i for i, kinds in enumerate(flags) if kinds]
    assert len(odd) == 2
    long = walk.holds[roles.index("held about twice as long")]
    usual = float(np.median([hold.end_s - hold.start_s for hold in walk.holds]))
    assert long.end_s - long.start_s > 1.5 * usual
    assert all(hold.sureness > 0.95 for hold in walk.holds)
    assert [keys[i] for i in walk.silent] == truth["faults"]["missing"]


def test_unisons_that_beat_are_one_hold():
    """Two pipes 2 cents apart at A4 go down to nothing every two seconds."""
    strokes = [Stroke(69, 1.0, 7.0), Stroke(69, 1.0, 7.0, cents=2.0), Stroke(70, 7.4, 10.0)]
    keys = [
        ExpectedKey(str(k), (Comb("a", key_hz(k)), Comb("b", key_hz(k)))) for k in range(66, 74)
    ]
    walk = listen(sound_of(strokes), keys)
    assert names(walk, range(66, 74)) == [69, 70]


def test_a_hold_that_fades_and_swells_is_one_hold() -> None:
    # Seen red: a key that seemed to go down again before it came up was called a repeat.
    def found(key: int | None, start_s: float, end_s: float, level_db: float = -30.0) -> FoundHold:
        return FoundHold(key, start_s, end_s, level_db, 440.0, 1, 1.0)

    split = [found(34, 119.0, 121.3, -31.0), found(34, 120.5, 122.5), found(35, 122.7, 125.0)]
    joined = holds._joined(split)
    assert [(h.key, h.start_s, h.end_s) for h in joined] == [(34, 119.0, 122.5), (35, 122.7, 125.0)]
    assert joined[0].level_db == -30.0
    repeated = [found(25, 81.6, 84.2), found(25, 84.1, 87.0)]
    assert holds._joined(repeated) == repeated
    unknown = [found(None, 1.0, 3.0), found(None, 1.5, 4.0)]
    assert holds._joined(unknown) == unknown
