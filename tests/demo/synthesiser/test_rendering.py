"""Walks as recordings have them, and their truth."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from tests.demo.synthesiser.phase import frequency_hz
from walkboard.demo.synthesiser import (
    DRY,
    SILENCE,
    Ambience,
    Faults,
    HoldTruth,
    KeyHolder,
    Microphone,
    PipeVoice,
    RenderedWalk,
    Room,
    Slip,
    VoiceKind,
    render_rank_walk,
    render_walk,
)
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key

RATE = 48_000
C4 = Key.parse("C4")
OCTAVE = tuple(C4.up(i) for i in range(13))
NO_FAULTS = Faults()
QUIET = Microphone(noise_db=None)
HOLDER = KeyHolder(hold_s=1.5, pause_every=0)
CENTS = 1200.0 / np.log(2.0)


def walk(
    kind: VoiceKind = VoiceKind.OPEN,
    keys: tuple[Key, ...] = OCTAVE,
    *,
    room: Room = DRY,
    faults: Faults = NO_FAULTS,
    seed: int = 1,
    **changes: Any,
) -> RenderedWalk:
    usual: dict[str, Any] = {"holder": HOLDER, "ambience": SILENCE, "microphone": QUIET}
    rng = np.random.default_rng(seed)
    cents = rng.uniform(-10.0, 10.0, len(keys))
    return render_rank_walk(kind, keys, 440.0, cents, room, faults, rng, **(usual | changes))


def at_key(rendered: RenderedWalk, key: Key) -> HoldTruth:
    return next(h for h in rendered.holds if h.key == key)


def power_at(rendered: RenderedWalk, hold: HoldTruth, hz: float) -> float:
    """Power near a frequency in the last second of a hold."""
    last = round(hold.end_s * rendered.sample_rate)
    piece = rendered.samples[last - RATE : last, 0] * np.hanning(RATE)
    power = np.abs(np.fft.rfft(piece)) ** 2
    return float(power[round(hz) - 3 : round(hz) + 4].sum())


@pytest.mark.parametrize("room", [DRY, Room(t60_s=2.0)], ids=["dry", "in a room"])
def test_the_truth_is_what_an_independent_method_reads(room):
    rendered = walk(keys=OCTAVE[::3], room=room, wander_cents=0.2, holder=KeyHolder(hold_s=3.0))
    off_cents = []
    for hold in rendered.holds:
        # the first second is left out: the pitch settles and the room fills
        low, high = hold.start_s + 1.2, hold.end_s - 0.15
        truth_hz = hold.pipes[0].mean_hz(low, high)
        read_hz = frequency_hz(rendered.samples[:, 0], RATE, truth_hz, low, high, 0.2)
        off_cents.append(CENTS * np.log(read_hz / truth_hz))
    # a room hands the sound of a moment ago to the microphone: a wandering pipe reads otherwise
    assert np.abs(off_cents).max() < (0.003 if room is DRY else 0.15)


def test_a_window_that_outlasts_the_hold_is_judged_while_the_key_is_down():
    hold = walk(keys=(C4,)).holds[0]
    pipe = hold.pipes[0].pipe
    inside = hold.mean_hz(pipe, hold.start_s + 0.5, hold.end_s)
    assert hold.mean_hz(pipe, hold.start_s + 0.5, hold.end_s + 0.03) == inside
    # the wind leaves, the pitch drops: the whole window reads flat
    assert hold.pipes[0].mean_hz(hold.start_s + 0.5, hold.end_s + 0.03) < inside
    with pytest.raises(ValueError, match="does not sound"):
        hold.mean_hz(PipeRef("another", 1), hold.start_s, hold.end_s)
    with pytest.raises(ValueError, match="must have a length"):
        hold.mean_hz(pipe, hold.end_s + 1.0, hold.end_s + 2.0)


def test_detunings_are_in_the_nominal_frequencies():
    cents = np.array([5.0, -3.0, 0.25])
    keys = (C4, C4.up(9), C4.up(12))
    rendered = render_rank_walk(
        VoiceKind.OPEN, keys, 442.0, cents, DRY, Faults(), np.random.default_rng(1), multiple=2.0
    )
    # equal temperament: 2^(n/12) from A4
    expected = 884.0 * np.array([2.0 ** (-9 / 12), 1.0, 2.0 ** (3 / 12)]) * 2.0 ** (cents / 1200.0)
    assert_allclose([h.pipes[0].hz for h in rendered.holds], expected, rtol=1e-12)
    assert [h.pipes[0].pipe.number for h in rendered.holds] == [1, 2, 3]


def test_the_same_seed_gives_the_same_recording_and_another_one_another():
    noisy: dict[str, Any] = {
        "room": Room(t60_s=1.0),
        "ambience": Ambience(talk_db=-40.0, thump_db=-40.0),
    }
    first, again, other = walk(seed=5, **noisy), walk(seed=5, **noisy), walk(seed=6, **noisy)
    assert_array_equal(first.samples, again.samples)
    assert first.samples.dtype == np.float32
    assert first.samples.shape != other.samples.shape or np.any(first.samples != other.samples)
    assert [h.start_s for h in first.holds] == [h.start_s for h in again.holds]


def test_a_dead_note_is_held_and_silent():
    rendered = walk(faults=Faults(dead=(C4.up(4),)))
    hold = at_key(rendered, C4.up(4))
    assert hold.slips == (Slip.DEAD,)
    assert not hold.sounds
    assert rendered.silent_keys == (C4.up(4),)
    middle = slice(round((hold.start_s + 0.3) * RATE), round(hold.end_s * RATE))
    assert np.abs(rendered.samples[middle]).max() < 1e-6
    with pytest.raises(ValueError, match="dead"):
        hold.pipes[0].mean_hz(hold.start_s, hold.end_s)


def test_a_pipe_off_speech_says_so_and_is_heard_an_octave_up():
    rendered = walk(faults=Faults(off_speech=((C4.up(4), 2),)))
    hold = at_key(rendered, C4.up(4))
    assert hold.slips == (Slip.OFF_SPEECH,)
    assert hold.pipes[0].speaks == 2
    own_hz = hold.pipes[0].hz
    spoken_hz = hold.pipes[0].mean_hz(hold.start_s + 0.5, hold.end_s)
    assert abs(CENTS * np.log(spoken_hz / (2.0 * own_hz))) < 20.0
    assert power_at(rendered, hold, spoken_hz) > 1e5 * power_at(rendered, hold, own_hz)


def test_a_wrong_key_sounds_the_wrong_key():
    rendered = walk(faults=Faults(wrong=(C4.up(4),)))
    (hold,) = [h for h in rendered.holds if h.slips]
    assert hold.wanted == C4.up(4)
    assert hold.key != hold.wanted
    assert rendered.silent_keys == (C4.up(4),)
    wanted_hz = 440.0 * 2.0 ** ((hold.wanted.semitone - 69) / 12)
    assert power_at(rendered, hold, hold.pipes[0].hz) > 1e4 * power_at(rendered, hold, wanted_hz)


def test_several_pipes_sound_at_once_each_with_its_truth():
    keys = (C4, C4.up(12))
    voices = {
        key: tuple(
            PipeVoice(PipeRef(rank, 1), kind, times * 261.6 * 2 ** (i + cents / 1200.0))
            for rank, kind, times, cents in (
                ("a8", VoiceKind.OPEN, 1.0, 0.0),
                ("b4", VoiceKind.FLUTE, 2.0, 7.0),
                ("c3", VoiceKind.STOPPED, 3.0, -6.0),
            )
        )
        for i, key in enumerate(keys)
    }
    rng = np.random.default_rng(2)
    rendered = render_walk(keys, voices, DRY, rng, ambience=SILENCE, microphone=QUIET)
    for hold in rendered.holds:
        assert [p.pipe.rank for p in hold.pipes] == ["a8", "b4", "c3"]
        for pipe in hold.pipes:
            assert power_at(rendered, hold, pipe.hz) > 1e-2 * power_at(
                rendered, hold, hold.pipes[0].hz
            )


def test_the_room_rings_on_after_the_key_is_up():
    def after_db(rendered: RenderedWalk, later_s: float) -> float:
        up = round(rendered.holds[0].end_s * RATE)
        at = up + round(later_s * RATE)
        sounding = np.mean(rendered.samples[up - RATE // 2 : up] ** 2)
        return float(
            10.0 * np.log10(np.mean(rendered.samples[at : at + RATE // 5] ** 2) / sounding)
        )

    room = Room(t60_s=3.0, bass_ratio=1.0, treble_ratio=1.0)
    wet = walk(keys=(C4,), room=room)
    # 60 dB in 3 s; a tone's decay is ragged, so 1.5 s are judged and 6 dB allowed
    assert_allclose(after_db(wet, 1.8) - after_db(wet, 0.3), -30.0, atol=6.0)
    assert after_db(wet, 0.3) > -25.0
    dry = walk(keys=(C4,))
    assert not np.any(dry.samples[round((dry.holds[0].end_s + 0.25) * RATE) :])


def test_hum_is_at_the_mains_harmonics_and_noise_has_its_level():
    calm: dict[str, Any] = {
        "keys": (C4,),
        "level_db": -150.0,
        "holder": KeyHolder(hold_s=4.0, spread=0.0),
    }
    humming = walk(ambience=Ambience(hum_db=-40.0, wind_db=None), **calm).samples[:, 0]
    power = np.abs(np.fft.rfft(humming[:RATE].astype(float))) ** 2
    assert power[[50 * i for i in range(1, 9)]].sum() > 0.9999 * power.sum()
    assert_allclose(10.0 * np.log10(2.0 * np.mean(humming[:RATE] ** 2)), -40.0, atol=0.05)
    windy = walk(ambience=Ambience(hum_db=None, wind_db=-30.0), **calm).samples[:, 0]
    assert_allclose(10.0 * np.log10(2.0 * np.mean(windy**2)), -30.0, atol=0.5)
    hiss = walk(microphone=Microphone(noise_db=-50.0), **calm).samples[:, 0]
    assert_allclose(10.0 * np.log10(2.0 * np.mean(hiss**2)), -50.0, atol=0.1)


def test_sixty_hertz_hum_is_rendered_too():
    calm: dict[str, Any] = {"keys": (C4,), "level_db": -150.0}
    for rate in (48_000, 44_100, 11_000):
        ambience = Ambience(hum_db=-40.0, mains_hz=60.0, wind_db=None)
        humming = walk(ambience=ambience, sample_rate=rate, **calm).samples[:rate, 0]
        power = np.abs(np.fft.rfft(humming.astype(float))) ** 2
        assert power[[60 * i for i in range(1, 9)]].sum() > 0.9999 * power.sum()


def test_talk_is_heard_only_between_the_keys():
    pauses = KeyHolder(hold_s=1.0, pause_every=1, pause_s=4.0)
    calm: dict[str, Any] = {"level_db": -150.0, "holder": pauses, "keys": OCTAVE[:4]}
    rendered = walk(ambience=Ambience(hum_db=None, wind_db=None, talk_db=-30.0), **calm)
    during = [
        np.abs(rendered.samples[round(h.start_s * RATE) : round(h.end_s * RATE)]).max()
        for h in rendered.holds
    ]
    assert max(during) < 1e-4
    assert np.abs(rendered.samples).max() > 0.01


def test_a_microphone_that_is_too_loud_clips():
    loud = walk(keys=(C4,), level_db=6.0)
    assert np.mean(np.abs(loud.samples) >= 1.0) > 0.01
    kept = walk(keys=(C4,), level_db=6.0, microphone=Microphone(noise_db=None, clips=False))
    assert np.abs(kept.samples).max() > 1.5


def test_channels_hear_the_same_pipes_in_different_rooms_at_their_own_level():
    pair = Microphone(noise_db=None, channels=2, balance_db=-12.0)
    rendered = walk(room=Room(t60_s=1.5), microphone=pair)
    assert rendered.samples.shape[1] == 2
    power = np.mean(rendered.samples.astype(float) ** 2, axis=0)
    assert_allclose(10.0 * np.log10(power[1] / power[0]), -12.0, atol=2.0)
    assert abs(np.corrcoef(rendered.samples[:, 0], rendered.samples[:, 1]).item(1)) < 0.95


def test_a_phone_loses_the_bass_by_6_db_an_octave():
    # first-order high-pass: −3.01 dB at its corner, −12.3 dB two octaves below (1/√(1+16))
    keys = (Key.parse("C2"),)
    flat = walk(keys=keys, kind=VoiceKind.FLUTE)
    cut = walk(
        keys=keys, kind=VoiceKind.FLUTE, microphone=Microphone(noise_db=None, low_cut_hz=264)
    )
    hz = flat.holds[0].pipes[0].hz
    change = power_at(cut, cut.holds[0], hz) / power_at(flat, flat.holds[0], hz)
    expected_db = -10.0 * np.log10(1.0 + (264.0 / hz) ** 2)
    assert_allclose(10.0 * np.log10(change), expected_db, atol=0.1)


def test_the_order_of_a_wrong_request_is_refused():
    with pytest.raises(ValueError, match="shorter"):
        render_rank_walk(
            VoiceKind.OPEN, OCTAVE, 440.0, [0.0], DRY, Faults(), np.random.default_rng(1)
        )
