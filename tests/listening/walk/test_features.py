"""What is kept of a recording: lines at their place and level, in little memory."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from walkboard.listening.walk.bands import cents_of_hz, hz_of_cents
from walkboard.listening.walk.features import gather_features


def tone(hz: float, rate_hz: int, seconds: float = 4.0, size: float = 0.1) -> np.ndarray:
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    noise = 1e-5 * np.random.default_rng(2).standard_normal(len(time_s))
    return (size * np.sin(2 * np.pi * hz * time_s) + noise)[:, np.newaxis]


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 44_100, 48_000, 96_000, 192_000])
@pytest.mark.parametrize("hz", [16.35, 32.7, 139.5, 261.6, 559.0, 3_000.0, 8_372.0])
def test_a_sine_is_one_line_at_its_place_and_level(hz, rate_hz):
    if hz > 0.4 * rate_hz:
        pytest.skip("beyond this sample rate")
    features = gather_features([tone(hz, rate_hz, seconds=2.0)], rate_hz)
    middle = features.frames // 2
    inside = slice(features.first[middle], features.first[middle + 1])
    level, cents = features.level_db[inside], features.cents[inside]
    loud = level > level.max() - 40.0
    assert loud.sum() == 1
    # The parabola's 0.02 bin: 0.02/1.2 s is 1.8 cents at 16 Hz, and less above.
    assert_allclose(cents[loud], cents_of_hz(hz), atol=2.0)
    assert_allclose(level[loud], -20.0, atol=0.3)


def test_places_and_frequencies_are_inverse():
    assert_allclose(hz_of_cents(cents_of_hz(440.0)), 440.0, rtol=1e-12)


@pytest.mark.parametrize("size", [999, 48_000, 10**9])
def test_the_lengths_of_the_blocks_make_no_difference(size):
    sound = np.concatenate([tone(440.0, 48_000), tone(220.0, 48_000)])
    whole = gather_features([sound], 48_000)
    parts = gather_features((sound[i : i + size] for i in range(0, len(sound), size)), 48_000)
    assert whole.frames == parts.frames
    for one, other in ((whole, parts), (parts, whole)):
        loud = one.level_db > -60.0  # what the noise adds may fall either side of its limit
        place = other.frame * 20_000.0 + other.cents
        found = np.abs(place - (one.frame * 20_000.0 + one.cents)[loud][:, np.newaxis]).min(axis=1)
        assert found.max() < 0.3  # a step of the stored code


def test_a_frame_is_at_the_time_of_its_number():
    """A step at 2 s is half as high (6 dB down) in the frame centred there."""
    sound = np.concatenate([np.zeros((2 * 48_000, 1)), tone(1_000.0, 48_000)])
    features = gather_features([sound], 48_000)
    assert_allclose(features.hop_s, 0.04, rtol=1e-6)
    near = np.abs(features.cents - cents_of_hz(1_000.0)) < 20.0
    rising = features.frame[near & (features.level_db > -26.1)][0]
    assert_allclose(rising * features.hop_s, 2.0, atol=0.041)


def test_channels_out_of_phase_do_not_cancel():
    sound = tone(440.0, 48_000)
    features = gather_features([np.hstack([sound, -sound])], 48_000)
    assert_allclose(features.level_db.max(), -17.0, atol=0.3)  # two channels: 3 dB more


def test_values_that_are_no_numbers_count_as_silence():
    sound = tone(440.0, 48_000)
    sound[1_000:1_010] = np.nan
    sound[2_000] = np.inf
    features = gather_features([sound], 48_000)
    assert np.isfinite(features.level_db).all()
    assert_allclose(features.level_db.max(), -20.0, atol=0.3)


def test_an_hour_takes_a_few_megabytes():
    """The bound is 44 lines a frame; noise and one tone keep far fewer."""
    features = gather_features([tone(440.0, 24_000, seconds=30.0)], 24_000)
    kept = features.cents_code.nbytes + features.level_code.nbytes + features.first.nbytes
    assert kept / 30.0 * 3_600.0 < 12e6


def test_progress_is_reported_in_seconds_of_sound():
    reported: list[float] = []
    sound = tone(440.0, 8_000, seconds=25.0)
    blocks = (sound[i : i + 8_000] for i in range(0, len(sound), 8_000))
    gather_features(blocks, 8_000, progress=reported.append)
    assert reported == [10.0, 20.0]


def test_nothing_gives_no_frames():
    assert gather_features([], 48_000).frames == 0
    assert gather_features([np.zeros((0, 1))], 48_000).frames == 0
