"""The live tracker against sounds whose truth is known."""

import numpy as np
import pytest
import scipy.signal
from numpy.testing import assert_allclose

from tests.listening.live_sounds import BLOCK, RATE, moved, still
from tests.signals import note, room
from walkboard.listening.live.readings import LiveFlag, LiveReading, beats_against
from walkboard.listening.live.tracker import UPDATE_S, Expected, Tracker
from walkboard.listening.types import Comb

KEYS = tuple(Comb(str(k), 261.6 * 2.0 ** (k / 12.0)) for k in range(-13, 14))
C4 = KEYS[13]
OTHERS = tuple(comb for comb in KEYS if comb is not C4)


def follow(
    samples: np.ndarray, expected: Expected, update_s: float = 2.0 * UPDATE_S
) -> list[LiveReading]:
    """What is read of a sound; half as often as live, where that is not what is tested."""
    tracker = Tracker(RATE, expected, update_s)
    readings: list[LiveReading] = []
    for first in range(0, len(samples), BLOCK):
        readings += tracker.take(samples[first : first + BLOCK], first / RATE)
    return readings


@pytest.mark.parametrize(("hz", "kind", "within"), [(65.4, "flue", 0.1), (261.6, "flue", 0.03)])
def test_half_a_second_of_a_realistic_note_is_exact(hz: float, kind: str, within: float) -> None:
    rng = np.random.default_rng([7, round(hz)])
    made = note(hz * 2.0 ** (7.0 / 1200.0), kind, rng, seconds=3.0)
    readings = follow(made.samples[: 2 * RATE], Expected(Comb("", hz)))
    seen = [r for r in readings if 0.45 < r.window_s < 0.65]
    assert len(seen) >= 3
    for reading in seen:
        assert reading.hz is not None
        truth = made.mean_hz(reading.at_s - reading.window_s - 0.16, reading.at_s)
        assert abs(1200.0 * np.log2(reading.hz / truth)) < within


def test_a_reading_comes_within_150_ms_twenty_times_a_second_and_tightens() -> None:
    made = moved(C4.hz, still, "flue", np.random.default_rng(2), seconds=2.5, lead_s=0.5)
    readings = follow(made.samples, Expected(C4), UPDATE_S)
    rate = len(readings) / (readings[-1].at_s - readings[0].at_s)
    assert 18.0 < rate < 22.0
    first = next(r for r in readings if r.hz is not None)
    assert first.at_s < 0.5 + 0.15 + 0.05
    assert first.sigma_cents is not None
    assert readings[-1].sigma_cents is not None
    assert readings[-1].sigma_cents < 0.1 * first.sigma_cents
    assert readings[0].flags == (LiveFlag.SILENT,)


def test_a_pipe_that_is_moved_is_followed_within_three_tenths_of_a_second() -> None:
    made = moved(
        C4.hz,
        lambda t: -12.0 + 10.0 * np.clip(t - 1.5, 0.0, 1.5),
        "flue",
        np.random.default_rng(3),
        seconds=5.0,
        lead_s=0.3,
    )
    readings = follow(made.samples, Expected(C4))
    late = [
        r.at_s - 0.3 - (1.5 + (r.cents + 12.0) / 10.0)
        for r in readings
        if r.cents is not None and 1.9 < r.at_s - 0.3 < 3.0
    ]
    assert len(late) > 8
    assert np.quantile(late, 0.95) < 0.3
    assert any(LiveFlag.MOVING in r.flags for r in readings)
    last = readings[-1]
    assert last.cents == pytest.approx(3.0, abs=0.05)
    assert LiveFlag.MOVING not in last.flags


def test_what_a_room_still_holds_of_a_pipe_pulled_flat_is_no_value() -> None:
    # A hand comes to the mouth of a high pipe within a fifth of a second: 50 cents flat and 12 dB
    # softer. The room holds the old pitch for a second longer, and it falls as one pipe's does.
    hz, at_s = 1396.9, 1.5
    rng = np.random.default_rng(14)
    dry = moved(
        hz,
        lambda t: -50.0 * np.clip((t - at_s) / 0.2, 0.0, 1.0),
        "flue",
        rng,
        seconds=3.0,
        snr_db=50.0,
        reverberation_s=0.0,
        lead_s=0.0,
    ).samples[:, 0]
    times = np.arange(len(dry)) / RATE
    dry *= 10.0 ** (-0.6 * np.clip((times - at_s) / 0.2, 0.0, 1.0))
    sound = scipy.signal.fftconvolve(dry, room(2.0, 0.0, RATE, rng))[: len(dry)]
    readings = follow(sound, Expected(Comb("", hz)))
    stale = [
        r.at_s
        for r in readings
        if r.at_s > at_s + 0.6 and r.cents is not None and r.cents > -45.0 and not r.flags
    ]
    assert stale == []
    assert readings[-1].cents == pytest.approx(-50.0, abs=1.0)


@pytest.mark.parametrize("lost_s", [0.008, 0.02])
def test_samples_that_a_recorder_lost_are_noticed_and_read_around(lost_s: float) -> None:
    made = moved(C4.hz, still, "flue", np.random.default_rng(15), seconds=4.0)
    at, lost = round(2.2 * RATE), round(lost_s * RATE)
    sound = np.concatenate([made.samples[:at], made.samples[at + lost :]])
    readings = follow(sound, Expected(C4))
    said = [r.at_s for r in readings if LiveFlag.GAP in r.flags]
    assert said
    assert 2.2 < said[0] < 3.4
    later = [r for r in readings if r.at_s > said[0] + 1.3]
    assert later
    assert_allclose(np.array([r.cents for r in later], float), 0.0, atol=0.05)
    whole = follow(made.samples, Expected(C4))
    assert not any(LiveFlag.GAP in r.flags for r in whole)


@pytest.mark.parametrize("away", [-12, -1, 7, 12])
def test_another_key_is_named_and_never_read_as_the_pipe(away: int) -> None:
    rng = np.random.default_rng(away + 100)
    made = moved(KEYS[13 + away].hz * 1.002, still, "flue", rng, seconds=1.4)
    readings = [r for r in follow(made.samples, Expected(C4, None, OTHERS)) if r.at_s > 0.7]
    named = [r for r in readings if r.heard == str(away) and LiveFlag.OTHER_KEY in r.flags]
    assert len(named) > 0.9 * len(readings)
    assert all(r.hz is None for r in named)


def test_the_right_key_after_a_slip_is_followed_again() -> None:
    rng = np.random.default_rng(12)
    wrong = moved(KEYS[14].hz, still, "flue", rng, seconds=1.0)
    right = moved(C4.hz * 2.0 ** (5.0 / 1200.0), still, "flue", rng, seconds=1.5)
    readings = follow(np.vstack([wrong.samples, right.samples]), Expected(C4, None, OTHERS))
    assert readings[-1].cents == pytest.approx(5.0, abs=0.1)
    assert readings[-1].flags == ()


def test_a_neighbour_that_sounds_too_is_named_beside_the_reading() -> None:
    rng = np.random.default_rng(5)
    own = moved(C4.hz, still, "flue", rng, seconds=2.0)
    fifth = moved(KEYS[20].hz, still, "flue", rng, seconds=2.0)
    samples = own.samples + 0.5 * fifth.samples
    readings = follow(samples, Expected(C4, None, OTHERS))
    last = readings[-1]
    assert LiveFlag.NEIGHBOUR in last.flags
    assert last.heard == "7"
    assert last.cents == pytest.approx(0.0, abs=0.2)


def test_noise_is_no_pipe_and_silence_is_silence() -> None:
    rng = np.random.default_rng(6)
    quiet = 1e-4 * rng.standard_normal(RATE)
    loud = 0.05 * rng.standard_normal(RATE)
    readings = follow(np.concatenate([quiet, loud]), Expected(C4, None, OTHERS))
    assert all(r.hz is None for r in readings)
    assert readings[6].flags == (LiveFlag.SILENT,)
    assert readings[-1].flags == (LiveFlag.NOISE,)


@pytest.mark.parametrize(("ratio", "off"), [(1.0, 2.0), (2.0, -3.0)])
def test_pipe_and_reference_are_separated(ratio: float, off: float) -> None:
    rng = np.random.default_rng(8)
    reference = moved(C4.hz, still, "flue", rng, seconds=2.6)
    pipe = moved(ratio * C4.hz * 2.0 ** (off / 1200.0), still, "flue", rng, seconds=2.6)
    expected = Expected(Comb("pipe", ratio * C4.hz), Comb("reference", C4.hz * 1.00005))
    readings = [r for r in follow(reference.samples + pipe.samples, expected) if r.at_s > 1.9]
    values = [r for r in readings if r.hz is not None]
    assert len(values) > 0.8 * len(readings)
    assert_allclose(np.array([r.cents for r in values], float), off, atol=0.15)
    references = np.array([r.reference_hz for r in values], float)
    assert_allclose(references, C4.hz, rtol=0.1 / 1731.0)
    beat = ratio * C4.hz * (2.0 ** (off / 1200.0) - 1.0)
    assert_allclose(np.array([r.beats_per_second for r in values], float), beat, atol=0.05)


@pytest.mark.parametrize(("apart", "turn"), [(1.0, 0), (3.0, 0)])
def test_an_octave_is_not_taken_for_its_references_own_partials(apart: float, turn: int) -> None:
    # Every partial of the pipe falls on one of the reference: single updates split them wrongly,
    # by 1 and by 6 cents here, with a σ of hundredths.
    rng = np.random.default_rng([37, turn, 262])
    reference = moved(261.6, still, "flue", rng, seconds=3.0)
    pipe = moved(523.2 * 2.0 ** (apart / 1200.0), still, "stopped", rng, seconds=3.0)
    tracker = Tracker(RATE, Expected(Comb("pipe", 523.2), Comb("reference", 261.6)))
    sound = reference.samples + pipe.samples
    given = [
        reading.cents
        for first in range(0, len(sound), BLOCK)
        for reading in tracker.take(sound[first : first + BLOCK], first / RATE)
        if reading.cents is not None
    ]
    assert len(given) > 5
    assert_allclose(given, apart, atol=0.3)


def test_two_that_do_not_part_by_a_turn_are_merged_within_a_bound() -> None:
    rng = np.random.default_rng(9)
    reference = moved(65.4, still, "stopped", rng, seconds=3.0)
    pipe = moved(65.4 * 2.0 ** (0.05 / 1200.0), still, "stopped", rng, seconds=3.0)
    expected = Expected(Comb("pipe", 65.4), Comb("reference", 65.4))
    merged = [r for r in follow(reference.samples + pipe.samples, expected) if r.at_s > 1.0]
    assert all(r.hz is None and LiveFlag.MERGED in r.flags for r in merged)
    bounded = [r for r in merged if r.near_hz is not None and r.bound_cents is not None]
    assert len(bounded) > len(merged) / 2
    for reading in bounded:
        assert reading.near_hz is not None
        assert reading.bound_cents is not None
        assert abs(1200.0 * np.log2(reading.near_hz / 65.4)) < reading.bound_cents


def test_lost_blocks_begin_the_hold_anew() -> None:
    made = moved(C4.hz, still, "flue", np.random.default_rng(4), seconds=2.0)
    tracker = Tracker(RATE, Expected(C4))
    readings: list[LiveReading] = []
    for first in range(0, len(made.samples), BLOCK):
        lost_s = 0.0 if first < RATE else 0.5
        readings += tracker.take(made.samples[first : first + BLOCK], first / RATE + lost_s)
    widest = [r.window_s for r in readings if r.at_s < 1.0]
    after = [r.window_s for r in readings if 1.5 < r.at_s < 1.75]
    assert max(after) < max(widest)
    assert readings[-1].cents == pytest.approx(0.0, abs=0.1)


def test_stereo_nan_and_clipping_are_survived() -> None:
    made = moved(C4.hz, still, "flue", np.random.default_rng(10), seconds=1.5)
    two = np.column_stack([0.01 * made.samples[:, 0], 12.0 * made.samples[:, 0]])
    two = np.clip(two, -1.0, 1.0)
    two[RATE // 2] = np.nan
    last = follow(two, Expected(C4))[-1]
    assert LiveFlag.CLIPPED in last.flags
    assert last.cents == pytest.approx(0.0, abs=0.2)


@pytest.mark.parametrize(
    ("hz", "reference_hz", "beats"),
    [(440.0, 439.0, 1.0), (659.0, 440.0, -2.0), (880.0, 441.0, -2.0), (440.0, 220.5, -1.0)],
)
def test_beats_are_those_of_the_lowest_partials_that_meet(
    hz: float, reference_hz: float, beats: float
) -> None:
    assert beats_against(hz, reference_hz) == pytest.approx(beats)


def test_an_invalid_sample_rate_is_refused() -> None:
    with pytest.raises(ValueError, match="sample rate"):
        Tracker(0, Expected(C4))
