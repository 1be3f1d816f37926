"""One pipe in one hold, against an independent phase method and the textbook's spectra."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.demo.synthesiser.phase import frequency_hz
from walkboard.demo.synthesiser import PipeVoice, VoiceKind, partial_levels_db
from walkboard.demo.synthesiser.tone import Tone, render_tone
from walkboard.organ.model import PipeRef

RATE = 48_000
PIPE = PipeRef("study.rank", 1)
CENTS = 1200.0 / np.log(2.0)


def steady(kind: VoiceKind, hz: float, **changes: Any) -> PipeVoice:
    """A pipe without wander, swell or wind."""
    still: dict[str, Any] = {
        "wander_cents": 0.0,
        "swell_db": 0.0,
        "wind_db": -300.0,
        "level_db": -6.0,
    }
    return PipeVoice(PIPE, kind, hz, **(still | changes))


def tone(voice: PipeVoice, seconds: float = 4.0, rate: int = RATE, seed: int = 1) -> Tone:
    return render_tone(voice, 0, round(seconds * rate), rate, np.random.default_rng(seed))


@pytest.mark.parametrize(
    "hz", [16.3516, 32.7032, 65.4064, 130.8128, 261.6256, 1046.502, 4186.009, 8372.018]
)
@pytest.mark.parametrize("kind", [VoiceKind.OPEN, VoiceKind.STOPPED, VoiceKind.REED])
def test_a_steady_pipe_is_at_its_nominal_frequency(kind, hz):
    voice = steady(kind, hz)
    samples = tone(voice).samples
    wide_s = max(0.25, 16.0 / hz)
    # past the attack, in which the pitch rises as it was asked to
    read_hz = frequency_hz(samples, RATE, hz, 2.2, 3.8 - 0.5 * wide_s, wide_s)
    assert abs(CENTS * np.log(read_hz / hz)) < 1e-3


@pytest.mark.parametrize("kind", list(VoiceKind))
def test_every_partial_is_strictly_harmonic_even_while_the_pipe_wanders(kind):
    voice = steady(kind, 220.0, wander_cents=3.0)
    rendered = tone(voice)
    wide_s = 0.15
    truth_hz = rendered.track.mean_hz(1.5, 3.5)
    level_db = partial_levels_db(kind, 220.0, 8)
    numbers = 1 + np.flatnonzero(level_db > -45.0)
    assert numbers.size >= 2
    for number in numbers:
        read_hz = frequency_hz(rendered.samples, RATE, number * truth_hz, 1.5, 3.5, wide_s)
        # 0.01 cent is what the curve of the phase within the window itself leaves
        assert abs(CENTS * np.log(read_hz / (number * truth_hz))) < 0.01


def test_no_sound_lies_between_the_partials():
    # whole cycles in the window: an FFT without leakage shows what is not harmonic
    hz = 200.0
    samples = tone(steady(VoiceKind.REED, hz)).samples[2 * RATE : 3 * RATE]
    power = np.abs(np.fft.rfft(samples)) ** 2
    harmonic = np.zeros(power.size, dtype=bool)
    harmonic[:: int(hz)] = True
    between = np.sum(power[~harmonic]) / np.sum(power[harmonic])
    assert 10.0 * np.log10(between) < -70.0


def test_nothing_folds_back_from_beyond_half_the_sample_rate():
    hz = 3000.0  # at 11 025 Hz partial 2 would fold back to 5025 Hz
    samples = tone(steady(VoiceKind.REED, hz), rate=11_025).samples[11_025 : 2 * 11_025]
    power = np.abs(np.fft.rfft(samples * np.hanning(samples.size))) ** 2
    frequency_hz_of_bin = np.arange(power.size)
    beside = np.abs(frequency_hz_of_bin - hz) > 20.0
    assert 10.0 * np.log10(np.sum(power[beside]) / np.sum(power[~beside])) < -70.0
    beyond = tone(steady(VoiceKind.OPEN, 8000.0), rate=11_025)
    assert np.abs(beyond.samples).max() < 1e-12  # the wind noise, at −300 dB


def test_level_is_the_root_of_the_summed_squares_with_a_full_scale_sine_at_0_db():
    samples = tone(steady(VoiceKind.OPEN, 261.6, level_db=-20.0)).samples[2 * RATE : 3 * RATE]
    assert_allclose(10.0 * np.log10(2.0 * np.mean(samples.astype(float) ** 2)), -20.0, atol=0.02)


def test_a_stopped_pipe_is_short_of_even_partials():
    # A tube closed at one end has odd modes only: Fletcher and Rossing, The physics of musical
    # instruments, ch. 8 and 17 (from memory). 10 dB below both neighbours is what is asked here.
    level_db = partial_levels_db(VoiceKind.STOPPED, 130.8, 7)
    for even in (2, 4, 6):
        assert level_db[even - 1] < min(level_db[even - 2], level_db[even]) - 10.0
    open_db = partial_levels_db(VoiceKind.OPEN, 130.8, 7)
    assert open_db[1] > open_db[2]


def test_reeds_and_strings_are_brighter_than_principals_and_these_than_flutes():
    def centroid(kind: VoiceKind) -> float:
        level = 10.0 ** (partial_levels_db(kind, 130.8, 40) / 10.0)
        return float(np.sum(np.arange(1, 41) * level) / np.sum(level))

    assert centroid(VoiceKind.REED) > centroid(VoiceKind.OPEN) > centroid(VoiceKind.FLUTE)
    assert centroid(VoiceKind.STRING) > centroid(VoiceKind.OPEN)


def test_the_attack_starts_flat_and_settles():
    rendered = tone(steady(VoiceKind.OPEN, 261.6, attack_cents=-12.0))
    first = CENTS * np.log(rendered.track.knots_hz[0] / 261.6)
    later = CENTS * np.log(rendered.track.mean_hz(1.0, 2.0) / 261.6)
    assert_allclose(first, -12.0, atol=1e-6)
    assert abs(later) < 1e-4


def test_the_sound_dies_once_the_key_is_up():
    rendered = tone(steady(VoiceKind.OPEN, 261.6))
    held = 4 * RATE
    while_held = np.sqrt(np.mean(rendered.samples[held - 4800 : held] ** 2))
    assert rendered.samples.size > held
    assert np.abs(rendered.samples[-240:]).max() < 1e-3 * while_held


def test_a_pipe_off_speech_sounds_its_overtone_slightly_off():
    voice = steady(VoiceKind.STOPPED, 261.6, speaks=3, off_by_cents=8.0)
    samples = tone(voice).samples
    read_hz = frequency_hz(samples, RATE, 3 * 261.6 * 2.0 ** (8.0 / 1200.0), 2.0, 3.0, 0.1)
    assert_allclose(CENTS * np.log(read_hz / (3 * 261.6)), 8.0, atol=0.01)
    power = np.abs(np.fft.rfft(samples[2 * RATE : 3 * RATE] * np.hanning(RATE))) ** 2
    assert power[250:275].sum() < 1e-6 * power.sum()


def test_wind_noise_has_the_level_asked_for_and_the_chiff_exceeds_it():
    loud = tone(steady(VoiceKind.OPEN, 261.6, wind_db=-20.0, chiff_db=20.0)).samples
    none = tone(steady(VoiceKind.OPEN, 261.6)).samples
    wind = loud.astype(float) - none
    settled = np.sqrt(np.mean(wind[RATE : 3 * RATE] ** 2))
    assert_allclose(20.0 * np.log10(settled), -26.0, atol=0.5)
    assert np.sqrt(np.mean(wind[200:1000] ** 2)) > 5.0 * settled


def test_dead_and_impossible_pipes_are_refused():
    with pytest.raises(ValueError, match="dead"):
        tone(steady(VoiceKind.OPEN, 261.6, speaks=0))
    with pytest.raises(ValueError, match="5 to 20 000 Hz"):
        steady(VoiceKind.OPEN, 0.0)
    with pytest.raises(ValueError, match="speaks partial"):
        steady(VoiceKind.OPEN, 261.6, speaks=9)
