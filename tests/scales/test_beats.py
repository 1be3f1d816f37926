from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from walkboard.scales.beats import (
    PURE_RATIOS,
    beat_of_cents,
    beat_of_frequencies,
    beat_of_keys,
    cents_of_beat,
    coincident_partials,
    pure_ratio,
)
from walkboard.scales.keys import Key
from walkboard.scales.temperament import known

EQUAL = known("equal")


def heard_beat_hz(lower_hz: float, upper_hz: float, near_hz: float) -> float:
    """What an ear at one place of the spectrum counts: two pipes of eight partials, band-passed."""
    rate, seconds = 8000, 20
    time = np.arange(rate * seconds) / rate
    sound = sum(
        np.cos(2 * np.pi * n * hz * time) for hz in (lower_hz, upper_hz) for n in range(1, 9)
    )
    spectrum = np.fft.rfft(sound * np.hanning(time.size))
    freqs = np.fft.rfftfreq(time.size, 1 / rate)
    band = np.where(np.abs(freqs - near_hz) < 20.0, spectrum, 0.0)
    power = np.fft.irfft(band) ** 2
    slow = np.abs(np.fft.rfft(power, 8 * power.size))
    rates = np.fft.rfftfreq(8 * power.size, 1 / rate)
    window = (rates > 0.4) & (rates < 30.0)
    return float(rates[window][np.argmax(slow[window])])


# Source: the definition itself, beats counted in synthesised sound.
@pytest.mark.parametrize(("upper", "atol"), [("E4", 0.02), ("F4", 0.02), ("G#4", 0.02)])
def test_beats_are_what_is_heard(upper, atol):
    lower, higher = Key.parse("C4"), Key.parse(upper)
    beat = beat_of_keys(lower, higher, 440.0, EQUAL)
    low_hz = 440.0 * 2 ** ((lower.semitone - 69) / 12)
    high_hz = 440.0 * 2 ** ((higher.semitone - 69) / 12)
    np.testing.assert_allclose(
        heard_beat_hz(low_hz, high_hz, beat.at_hz), abs(beat.beat_hz), atol=atol
    )


def test_a_wide_interval_beats_positive():
    assert beat_of_keys(Key.parse("F3"), Key.parse("A3"), 440.0, EQUAL).beat_hz > 0.0
    assert beat_of_keys(Key.parse("F3"), Key.parse("C4"), 440.0, EQUAL).beat_hz < 0.0


def test_octaves_and_unisons_do_not_beat():
    for semitones in (0, 12, 24):
        beat = beat_of_keys(Key.parse("F3"), Key.parse("F3").up(semitones), 440.0, EQUAL)
        np.testing.assert_allclose(beat.beat_hz, 0.0, atol=1e-10)


def test_pure_intervals_of_meantone_do_not_beat():
    for key in ("C4", "D4", "F4", "G4", "Bb3"):
        lower = Key.parse(key)
        beat = beat_of_keys(lower, lower.up(4), 440.0, known("meantone 1/4"))
        np.testing.assert_allclose(beat.beat_hz, 0.0, atol=1e-9)


def test_partials_are_those_of_the_ratio():
    beat = beat_of_frequencies(200.0, 301.0, Fraction(3, 2))
    assert (beat.lower_partial, beat.upper_partial) == (3, 2)
    np.testing.assert_allclose([beat.beat_hz, beat.at_hz], [2.0, 601.0])


def test_pure_ratios_lie_on_their_keys():
    for semitones, ratio in PURE_RATIOS.items():
        np.testing.assert_allclose(1200 * np.log2(float(ratio)), 100 * semitones, atol=32.0)
    assert pure_ratio(19) == 3
    with pytest.raises(ValueError, match="counted upward"):
        pure_ratio(-1)


@given(st.floats(30.0, 4000.0), st.floats(-20.0, 20.0))
def test_beat_and_cents_of_a_unison_go_there_and_back(hz, beat_hz):
    np.testing.assert_allclose(beat_of_cents(hz, cents_of_beat(hz, beat_hz)), beat_hz, atol=1e-8)


def test_a_beat_as_fast_as_the_pipe_is_refused():
    with pytest.raises(ValueError, match="positive and finite"):
        cents_of_beat(2.0, -2.0)


@given(st.floats(60.0, 1000.0), st.floats(1.0, 4.0))
def test_coincident_partials_agree_with_a_search_of_all_pairs(lower_hz, ratio):
    upper_hz = lower_hz * ratio
    found = {
        (b.lower_partial, b.upper_partial)
        for b in coincident_partials(lower_hz, upper_hz, highest_partial=12, within_cents=40.0)
    }
    searched = {
        (i, j)
        for i in range(1, 13)
        for j in range(1, 13)
        if abs(1200 * np.log2(j * upper_hz / (i * lower_hz))) <= 40.0
    }
    assert found == searched


def test_a_fifth_beats_at_the_third_partial_and_its_multiples():
    found = coincident_partials(200.0, 300.5, highest_partial=9, within_cents=10.0)
    assert [(b.lower_partial, b.upper_partial) for b in found] == [(3, 2), (6, 4), (9, 6)]
    np.testing.assert_allclose([b.beat_hz for b in found], [1.0, 2.0, 3.0])
