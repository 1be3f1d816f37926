"""Damaged FLAC files: undamaged parts come back bit for bit. Judge: libFLAC, through soundfile."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from walkboard.capture.flac_frames import find_headers, silent_frame, stream_info, whole_frames
from walkboard.capture.recording import HEADER_BYTES, Recorder, repair_recording
from walkboard.capture.source import Block
from walkboard.errors import SoundError

RATES = [(48_000, 1), (44_100, 2), (8_000, 1), (96_000, 2), (11_025, 1), (50_000, 3), (22_050, 8)]


def sound(rate: int, channels: int, seconds: float = 2.0) -> np.ndarray:
    random = np.random.default_rng(rate + channels)
    at_s = np.arange(int(rate * seconds))[:, None] / rate
    clean = 0.3 * np.sin(2.0 * np.pi * 262.0 * (1 + np.arange(channels)) * at_s)
    steps = np.round((clean + 1e-3 * random.standard_normal(clean.shape)) * 2.0**23)
    return np.asarray(steps / 2.0**23, np.float32)


@pytest.fixture
def recorded(tmp_path: Path) -> Path:
    path = tmp_path / "live.flac"
    write(path, 48_000, 2)
    return path


def write(path: Path, rate: int, channels: int, seconds: float = 2.0) -> None:
    with Recorder(path, rate, channels) as recorder:
        recorder.take(Block(sound(rate, channels, seconds), 0.0))


@pytest.mark.parametrize(("rate", "channels"), RATES)
def test_every_frame_is_found_without_the_header(tmp_path: Path, rate: int, channels: int) -> None:
    path = tmp_path / "live.flac"
    write(path, rate, channels)
    whole = path.read_bytes()
    path.write_bytes(bytes(HEADER_BYTES) + whole[HEADER_BYTES:])
    repaired = repair_recording(path)
    assert (repaired.sample_rate, repaired.channels, repaired.lost_s) == (rate, channels, 0.0)
    assert repaired.seconds == pytest.approx(2.0)
    back, judged_rate = soundfile.read(path, dtype="float32", always_2d=True)
    assert judged_rate == rate
    np.testing.assert_array_equal(back, sound(rate, channels))
    assert repaired.aside is not None
    assert repaired.aside.read_bytes()[HEADER_BYTES:] == whole[HEADER_BYTES:]


def test_no_flipped_bit_of_the_header_is_believed(tmp_path: Path) -> None:
    recorded = tmp_path / "short.flac"
    write(recorded, 48_000, 2, seconds=0.3)
    whole = recorded.read_bytes()
    for bit in range(8 * HEADER_BYTES):
        flipped = bytearray(whole)
        flipped[bit // 8] ^= 1 << bit % 8
        recorded.write_bytes(flipped)
        repaired = repair_recording(recorded)
        assert (repaired.seconds, repaired.sample_rate, repaired.channels) == (0.3, 48_000, 2), bit
        if bit < 8 * 26:  # the rest is the MD5 sum, which no decoder asks for
            assert soundfile.info(recorded).duration == 0.3
        recorded.with_suffix(".damaged").unlink(missing_ok=True)
    recorded.write_bytes(whole)
    assert repair_recording(recorded).aside is None


def test_a_damaged_frame_is_silence_and_the_others_keep_their_times(recorded: Path) -> None:
    whole = recorded.read_bytes()
    frames = find_headers(np.frombuffer(whole, np.uint8))
    damaged = bytearray(whole)
    damaged[frames[5].at + 900] ^= 0x40
    damaged[20] ^= 0x01  # and the header, or nobody would look at the frames
    recorded.write_bytes(damaged)
    repaired = repair_recording(recorded)
    block = frames[0].samples
    assert repaired.lost_s == pytest.approx(block / 48_000)
    back, _ = soundfile.read(recorded, dtype="float32")
    expected = sound(48_000, 2)
    expected[5 * block : 6 * block] = 0.0
    np.testing.assert_array_equal(back, expected)


@pytest.mark.parametrize("kept", [0.35, 0.8])
def test_a_file_cut_off_anywhere_keeps_its_whole_frames(recorded: Path, kept: float) -> None:
    whole = recorded.read_bytes()
    recorded.write_bytes(whole[: int(kept * len(whole))])
    repaired = repair_recording(recorded)
    assert 0.9 * kept < repaired.seconds / 2.0 < 1.02 * kept
    back, _ = soundfile.read(recorded, dtype="float32")
    assert len(back) == round(repaired.seconds * 48_000)
    np.testing.assert_array_equal(back, sound(48_000, 2)[: len(back)])


def test_a_file_of_noise_holds_no_frame(tmp_path: Path) -> None:
    path = tmp_path / "live.flac"
    path.write_bytes(np.random.default_rng(3).bytes(400_000))
    with pytest.raises(SoundError, match="no whole frame"):
        repair_recording(path)


def test_a_header_by_chance_inside_a_frame_ends_no_frame(recorded: Path) -> None:
    data = np.fromfile(recorded, np.uint8)
    headers = find_headers(data)
    inside = headers[3].at + 40
    false = [*headers[:4], type(headers[0])(inside, 9, 4096, 48_000, 2, 24), *headers[4:]]
    assert [frame.number for frame, _ in whole_frames(data, false)] == list(range(len(headers)))


@pytest.mark.parametrize("number", [0, 127, 128, 2_047, 2_048, 65_535, 65_536, 2_000_000])
def test_a_silent_frame_is_read_by_another_decoder(tmp_path: Path, number: int) -> None:
    write(tmp_path / "a.flac", 44_100, 2)
    like = find_headers(np.fromfile(tmp_path / "a.flac", np.uint8))[0]
    frame = silent_frame(like, number, 4_096)
    (read,) = find_headers(np.frombuffer(frame + bytes(20), np.uint8))
    assert (read.number, read.samples, read.kind) == (number, 4_096, like.kind)
    if number == 0:
        path = tmp_path / "silent.flac"
        path.write_bytes(stream_info(like, 4_096, 4_096) + frame)
        back, rate = soundfile.read(path)
        assert (back.shape, rate) == ((4_096, 2), 44_100)
        assert not back.any()
