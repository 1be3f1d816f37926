"""Recordings as users have them: every format, rate and width gives the same sound and times."""

from __future__ import annotations

import io
import json
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from tests.listening.recordings import (
    FORMATS,
    ONSETS_S,
    RATE_HZ,
    bursts,
    onsets_s,
    phoned,
    written,
    written_plainly,
)
from tests.shared_files import shared
from walkboard.listening.sound.recording import BLOCK_FRAMES, LONGEST_SPAN_S, Sound, open_sound


def opened(data: bytes, name: str = "walk.wav") -> Sound:
    return open_sound(io.BytesIO(data), name)


def whole(sound: Sound, frames: int = 10_000) -> np.ndarray:
    return np.concatenate(list(sound.blocks(frames)))


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("name", FORMATS)
def test_every_format_keeps_length_and_times(name: str, channels: int) -> None:
    sound = opened(written(bursts(channels=channels), name), name)
    assert sound.info.sample_rate == RATE_HZ
    assert sound.info.channels == channels
    assert_allclose(sound.info.seconds, 3.0, atol=0.001)
    samples = whole(sound)
    assert samples.dtype == np.float32
    assert samples.shape == (3 * RATE_HZ, channels)
    assert_allclose(onsets_s(samples, RATE_HZ), ONSETS_S, atol=0.0002)
    assert sound.inspect().warnings == ()


@pytest.mark.parametrize("index_first", [False, True], ids=["index last", "index first"])
@pytest.mark.parametrize(
    ("codec", "rate_hz", "channels"), [("aac", 48_000, 1), ("aac", 44_100, 2), ("alac", 44_100, 1)]
)
def test_a_phones_m4a_keeps_length_and_times(
    tmp_path: Path, codec: str, rate_hz: int, channels: int, index_first: bool
) -> None:
    made = bursts(rate_hz=rate_hz, channels=channels)
    data = phoned(made, tmp_path, codec=codec, rate_hz=rate_hz, index_first=index_first)
    sound = opened(data, "memo.m4a")
    assert sound.info.format == f"M4A, {codec.upper()}"
    samples = whole(sound)
    assert samples.shape == made.shape
    assert_allclose(onsets_s(samples, rate_hz), ONSETS_S, atol=0.005)
    assert sound.inspect().warnings == ()


def test_a_bare_aac_stream_is_late_by_at_most_its_unstated_encoder_delay(
    tmp_path: Path,
) -> None:
    sound = opened(phoned(bursts(), tmp_path, container="adts"), "memo.aac")
    late_s = np.asarray(onsets_s(whole(sound), RATE_HZ)) - ONSETS_S
    assert_allclose(late_s, 1024 / RATE_HZ, atol=0.001)  # this encoder's delay: one AAC frame


@pytest.mark.parametrize("bytes_a_sample", [2, 3, 4])
@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 96_000, 192_000])
def test_samples_are_those_that_the_standard_library_wrote(
    rate_hz: int, bytes_a_sample: int
) -> None:
    # Outside check: Python's own `wave` writes the file; libsndfile has no part in it.
    made = bursts(1.0, rate_hz, 2)
    sound = opened(written_plainly(made, rate_hz, bytes_a_sample))
    assert sound.info.format == f"WAV, {8 * bytes_a_sample} bit"
    step = 2.0 ** (1 - 8 * bytes_a_sample) + 2.0**-24  # half a code, and float32's own step
    assert_allclose(whole(sound), made, atol=step)


def test_lossless_formats_agree_to_the_last_bit() -> None:
    made = (np.round(bursts() * 2**23) / 2**23).astype(np.float32)  # codes of 24 bits
    for name in ("walk24.wav", "walk32.wav", "walk.flac", "walk.aiff", "long.wav", "float.wav"):
        assert_array_equal(whole(opened(written(made, name))), made, err_msg=name)


def test_a_recording_is_read_again_from_its_start() -> None:
    sound = opened(written(bursts(), "walk.flac"))
    assert_array_equal(whole(sound, 4_096), whole(sound, 65_536))


def test_a_second_reading_ends_the_first_one_aloud() -> None:
    sound = opened(written(bursts()))
    first = sound.blocks(1_000)
    next(first)
    next(sound.blocks(1_000))
    with pytest.raises(RuntimeError, match="another reading"):
        next(first)


@pytest.mark.parametrize("name", ["walk.flac", "walk.mp3", "memo.m4a"])
def test_spans_are_cut_from_one_pass(tmp_path: Path, name: str) -> None:
    data = phoned(bursts(), tmp_path) if name == "memo.m4a" else written(bursts(), name)
    sound = opened(data, name)
    samples = whole(sound)
    spans = [(0.0, 0.5), (0.4, 1.9), (0.4, 0.6), (1.0, 1.0), (2.9, 3.4), (3.5, 4.0)]
    cut = list(sound.spans(spans))
    assert len(cut) == len(spans)
    for (start_s, end_s), piece in zip(spans, cut, strict=True):
        assert_array_equal(piece, samples[round(start_s * RATE_HZ) : round(end_s * RATE_HZ)])


@pytest.mark.parametrize("beyond", [-1, 0, 1])
def test_a_span_that_ends_at_a_blocks_border_is_whole(beyond: int) -> None:
    sound = opened(written_plainly(bursts(3.0), RATE_HZ, 2))
    samples = whole(sound)
    border = BLOCK_FRAMES + beyond
    (piece,) = sound.spans([(1.0, border / RATE_HZ)])
    assert_array_equal(piece, samples[RATE_HZ:border])


@settings(max_examples=30, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 30_000), st.integers(0, 9_000)).map(
            lambda s: (s[0] / 8_000, (s[0] + s[1]) / 8_000)
        ),
        max_size=8,
    ).map(sorted)
)
def test_any_sorted_spans_are_slices_of_the_whole(spans: list[tuple[float, float]]) -> None:
    ramp = (np.arange(24_000) / 32_768).astype(np.float32)[:, None]
    sound = opened(written(ramp, rate_hz=8_000))
    samples = whole(sound)
    for (start_s, end_s), piece in zip(spans, sound.spans(spans), strict=True):
        assert_array_equal(piece, samples[round(start_s * 8_000) : round(end_s * 8_000)])


@pytest.mark.parametrize(
    ("spans", "match"),
    [
        ([(1.0, 2.0), (0.5, 2.0)], "sorted"),
        ([(2.0, 1.0)], "run forward"),
        ([(-1.0, 1.0)], "from 0 s"),
        ([(0.0, LONGEST_SPAN_S + 1.0)], "at most"),
    ],
)
def test_impossible_spans_are_refused(spans: list[tuple[float, float]], match: str) -> None:
    with pytest.raises(ValueError, match=match):
        next(opened(written(bursts())).spans(spans))


def test_sound_is_decoded_as_it_is_read_and_never_held() -> None:
    """Only what was asked for has been taken from the stream."""
    data = written_plainly(np.zeros((3_000_000, 1), np.float32) + 0.1, RATE_HZ, 2)

    class Counting(io.BytesIO):
        taken = 0

        def read(self, size: int | None = -1) -> bytes:
            piece = super().read(size)
            Counting.taken += len(piece)
            return piece

        def readinto(self, buffer: object) -> int:
            count = super().readinto(buffer)  # type: ignore[arg-type]
            Counting.taken += count
            return count

    sound = open_sound(Counting(data), "walk.wav")
    Counting.taken = 0
    next(sound.blocks(10_000))
    assert 20_000 <= Counting.taken < 200_000 < len(data)


def test_ffmpegs_files_keep_length_and_times(tmp_path: Path) -> None:
    # Outside check: containers written by the ffmpeg program, as converters on phones and desks do.
    if shutil.which("ffmpeg") is None:
        pytest.skip("ffmpeg is not installed; its containers were not tried")
    source = tmp_path / "made.wav"
    source.write_bytes(written(bursts(), "float.wav"))
    kinds = {
        "aac.m4a": ["-c:a", "aac"],
        "video.mov": ["-c:a", "aac", "-b:a", "64k"],
        "vbr.mp3": ["-c:a", "libmp3lame", "-q:a", "4"],
        "opus.webm": ["-c:a", "libopus"],
        "opus.ogg": ["-c:a", "libopus"],
        "vorbis.ogg": ["-c:a", "libvorbis"],
        "piped.flac": ["-c:a", "flac"],
    }
    for name, options in kinds.items():
        command = ["ffmpeg", "-v", "error", "-i", str(source), *options]
        if name.startswith("piped"):  # a pipe cannot go back to write its length
            piped = subprocess.run([*command, "-f", "flac", "-"], check=True, capture_output=True)
            data = piped.stdout
        else:
            subprocess.run([*command, str(tmp_path / name)], check=True)
            data = (tmp_path / name).read_bytes()
        sound = opened(data, name)
        assert_allclose(sound.info.seconds, 3.0, atol=0.005, err_msg=name)
        assert_allclose(onsets_s(whole(sound), RATE_HZ), ONSETS_S, atol=0.005, err_msg=name)
        assert sound.inspect().warnings == ()


def test_eight_channels_of_aac_are_read(tmp_path: Path) -> None:
    """PyAV's own conversion reads a ninth plane that does not exist, and the process dies."""
    if shutil.which("ffmpeg") is None:
        pytest.skip("ffmpeg is not installed; only it writes eight channels of AAC here")
    source, made = tmp_path / "made.wav", tmp_path / "eight.m4a"
    source.write_bytes(written(bursts(channels=8), "float.wav"))
    options = ["-c:a", "aac", "-b:a", "512k"]
    subprocess.run(["ffmpeg", "-v", "error", "-i", str(source), *options, str(made)], check=True)
    sound = opened(made.read_bytes(), "eight.m4a")
    samples = whole(sound)
    assert samples.shape == (3 * RATE_HZ, 8)
    assert_allclose(onsets_s(samples, RATE_HZ), ONSETS_S, atol=0.005)


def test_an_mp3_without_a_length_is_read_to_its_end(tmp_path: Path) -> None:
    """libsndfile alone guesses the length from a quiet beginning and leaves the rest out."""
    if shutil.which("ffmpeg") is None:
        pytest.skip("ffmpeg is not installed; only it leaves the length out of an MP3 here")
    source = tmp_path / "made.wav"
    source.write_bytes(written(bursts(), "float.wav"))
    options = ["-c:a", "libmp3lame", "-q:a", "4", "-write_xing", "0"]
    made = tmp_path / "unstated.mp3"
    subprocess.run(["ffmpeg", "-v", "error", "-i", str(source), *options, str(made)], check=True)
    data = made.read_bytes()
    assert sf.SoundFile(io.BytesIO(data)).frames < 2.5 * RATE_HZ
    sound = opened(data, "unstated.mp3")
    assert_allclose(sound.info.seconds, 3.0, atol=0.05)
    late_s = np.asarray(onsets_s(whole(sound), RATE_HZ)) - ONSETS_S
    assert_allclose(late_s, 1105 / RATE_HZ, atol=0.001)  # LAME 576 + decoder 529 samples, unstated


def test_recorded_pipes_open_with_their_true_length() -> None:
    recordings = sorted(shared("sounds").glob("*.flac"))
    assert recordings
    for path in recordings:
        truth = json.loads(path.with_suffix(".json").read_text())
        with path.open("rb") as stream:
            sound = open_sound(stream, path.name)
            assert sound.inspect().warnings == ()
            assert sound.info.sample_rate == truth["sample_rate"]
            assert_allclose(sound.info.seconds, truth["duration_s"], atol=0.01)
