"""What a pass over a recording says of its soundness: levels, overload, dead channels, NaN."""

from __future__ import annotations

import io

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tests.listening.recordings import RATE_HZ, bursts, written
from walkboard.errors import SoundError
from walkboard.listening.sound.quality import SoundQuality
from walkboard.listening.sound.recording import open_sound


def tone(
    amplitude: float, hz: float = 261.6, seconds: float = 2.0, channels: int = 1
) -> NDArray[np.float32]:
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    sound = amplitude * np.sin(2 * np.pi * hz * time_s)
    return np.repeat(sound[:, None], channels, axis=1).astype(np.float32)


def inspected(
    sound: NDArray[np.float32], name: str = "float.wav", subtype: str = ""
) -> SoundQuality:
    return open_sound(io.BytesIO(written(sound, name, subtype=subtype)), name).inspect()


def test_levels_of_a_sine_are_those_of_the_textbook() -> None:
    # A sine of amplitude a peaks at 20 lg a and has a root mean square of a/√2, 3.01 dB lower.
    quality = inspected(tone(0.25))
    assert_allclose(quality.peak_db, 20 * np.log10(0.25), atol=0.01)
    assert_allclose(quality.channel_db, [20 * np.log10(0.25) - 3.0103], atol=0.01)
    assert_allclose(quality.dc_offset, [0.0], atol=1e-4)
    assert quality.warnings == ()


@pytest.mark.parametrize("name", ["walk.wav", "walk24.wav", "float.wav", "walk.mp3", "walk.ogg"])
def test_a_clipped_stretch_is_found_where_it_is(name: str) -> None:
    sound = tone(0.5)
    sound[48_000:72_000] = np.clip(4.0 * sound[48_000:72_000], -1.0, 1.0)
    quality = inspected(sound, name)
    (span,) = quality.clipped
    assert_allclose((span.start_s, span.end_s), (1.0, 1.5), atol=0.02)
    assert "Clipped in 1 place, the first from 1.0" in quality.warnings[0]


def test_only_the_overloaded_channel_is_named() -> None:
    sound = tone(0.5, channels=2)
    sound[:, 1] = np.clip(3.0 * sound[:, 1], -1.0, 1.0)
    assert {span.channel for span in inspected(sound, "walk.wav").clipped} == {1}


def test_a_float_recording_beyond_full_scale_is_not_clipped() -> None:
    assert inspected(tone(1.8)).clipped == ()


@pytest.mark.parametrize("hz", [16.35, 65.4, 1046.5])
def test_one_honest_top_at_full_scale_is_not_clipped(hz: float) -> None:
    """A recording set to full scale touches it once, at its loudest moment."""
    sound = tone(1.0, hz)
    sound *= np.linspace(0.5, 1.0, len(sound))[:, None].astype(np.float32)
    sound *= np.float32(32_767 / 32_768) / np.abs(sound).max()
    assert inspected(sound, "walk.wav").clipped == ()


def test_a_dead_channel_is_reported_and_left_out() -> None:
    sound = tone(0.3, channels=2)
    sound[:, 0] = 1e-6
    quality = inspected(sound)
    assert quality.dead_channels == (0,)
    assert quality.live_channels == (1,)
    assert quality.warnings == ("Channel 1 of 2 is dead; only the others were used.",)


def test_a_distant_channel_is_not_dead() -> None:
    sound = tone(0.3, channels=2)
    sound[:, 0] *= 0.01
    assert inspected(sound).dead_channels == ()


@pytest.mark.parametrize(
    ("sound", "seen"),
    [
        (np.zeros((RATE_HZ, 2), np.float32), "all samples are zero"),
        (np.full((RATE_HZ, 1), 0.2, np.float32), "all samples are zero"),
        (tone(10 ** (-90 / 20)), "is -90 dB of full scale"),
    ],
    ids=["noughts", "offset only", "below any microphone"],
)
def test_a_silent_recording_is_refused_with_the_level_seen(
    sound: NDArray[np.float32], seen: str
) -> None:
    with pytest.raises(SoundError, match=rf"float\.wav: The recording is silent: .*{seen}"):
        inspected(sound)


def test_a_faint_recording_is_usable_with_a_warning() -> None:
    (warning,) = inspected(tone(10 ** (-50 / 20))).warnings
    assert "faint: it peaks at -50 dB" in warning


def test_an_offset_is_reported() -> None:
    quality = inspected(tone(0.3) + np.float32(0.05))
    assert_allclose(quality.dc_offset, [0.05], atol=1e-4)
    assert quality.warnings[0].startswith("The recording has an offset of +5.0 %")


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, 3e38, -2e4])
def test_a_few_samples_that_are_no_numbers_become_silence(bad: float) -> None:
    sound = bursts()
    sound[60_000:60_020] = bad
    recording = open_sound(io.BytesIO(written(sound, "float.wav")), "float.wav")
    samples = np.concatenate(list(recording.blocks()))
    assert np.isfinite(samples).all()
    assert not samples[60_000:60_020].any()
    quality = recording.inspect()
    assert quality.not_numbers == 20
    assert quality.warnings == (
        "20 samples are not numbers, the first at 1.25 s; they were read as silence.",
    )


@pytest.mark.parametrize("start", [0, 96_000])
def test_many_samples_that_are_no_numbers_are_refused_with_the_place(start: int) -> None:
    sound = bursts()
    sound[start:] = np.nan
    with pytest.raises(SoundError, match=f"not numbers, from {start / RATE_HZ:.2f} s on"):
        inspected(sound)


def test_quality_is_free_after_a_whole_reading() -> None:
    stream = io.BytesIO(written(bursts()))
    recording = open_sound(stream, "walk.wav")
    for _ in recording.blocks():
        pass
    stream.close()
    assert_allclose(recording.inspect().seconds, 3.0)
