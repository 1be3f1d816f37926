"""Recordings that are written as they come."""

import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from walkboard.capture.playing import NoWait, PlayedSound, RealTime, play_file
from walkboard.capture.recording import Recorder, Repaired, repair_recording
from walkboard.capture.source import Block
from walkboard.errors import InputError, SoundError
from walkboard.listening.sound.recording import open_sound

KILLED = """
import os, signal, sys
import numpy as np
from pathlib import Path
from walkboard.capture.recording import Recorder
from walkboard.capture.source import Block
rng = np.random.default_rng(0)
recorder = Recorder(Path(sys.argv[1]), 48_000, 2)
for n in range(400):
    recorder.take(Block(0.1 * rng.standard_normal((960, 2)).astype(np.float32), n * 0.02))
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_what_is_played_comes_back_bit_by_bit(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    samples = (rng.integers(-(2**22), 2**22, (5_000, 2)) / 2.0**23).astype(np.float32)
    with Recorder(tmp_path / "a.flac", 44_100, 2) as recorder:
        for block in PlayedSound(samples, 44_100, NoWait()).blocks():
            recorder.take(block)
    back, rate = soundfile.read(tmp_path / "a.flac", dtype="float32")
    assert rate == 44_100
    np.testing.assert_array_equal(back, samples)


def test_lost_samples_are_silence_so_that_times_stay_true(tmp_path: Path) -> None:
    with Recorder(tmp_path / "a.flac", 48_000, 1) as recorder:
        recorder.take(Block(np.full((480, 1), 0.5, np.float32), 0.0))
        recorder.take(Block(np.full((480, 1), 0.5, np.float32), 0.11, lost=4_800))
        assert recorder.seconds == pytest.approx(0.12)
    back, _ = soundfile.read(tmp_path / "a.flac")
    assert len(back) == 5_760
    assert np.count_nonzero(back) == 960


def test_a_recording_is_whole_after_a_kill(tmp_path: Path) -> None:
    path = tmp_path / "killed.flac"
    done = subprocess.run([sys.executable, "-c", KILLED, str(path)], check=False)
    assert done.returncode == -signal.SIGKILL
    with path.open("rb") as stream:  # the program's own reading needs no repair
        assert open_sound(stream, path.name).info.seconds > 7.8
    seconds = repair_recording(path).seconds
    assert 7.8 < seconds <= 8.0
    assert soundfile.info(path).duration == pytest.approx(seconds)  # nor does anyone else's, now
    expected = 0.1 * np.random.default_rng(0).standard_normal((960, 2))
    back, _ = soundfile.read(path, frames=960)
    np.testing.assert_allclose(back, expected, atol=2.0**-22)
    again = repair_recording(path)
    assert again == Repaired(again.seconds, 48_000, 2)
    assert again.seconds == pytest.approx(seconds)
    assert [p.name for p in tmp_path.iterdir()] == ["killed.flac"]  # nothing was damaged


def test_what_is_no_recording_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "a.flac").write_bytes(b"RIFF" + bytes(100))
    with pytest.raises(SoundError, match="no whole frame"):
        repair_recording(tmp_path / "a.flac")
    with pytest.raises(InputError, match="cannot be repaired"):
        repair_recording(tmp_path / "b.flac")
    assert (tmp_path / "a.flac").read_bytes() == b"RIFF" + bytes(100)


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / "a.flac").write_bytes(b"mine")
    with pytest.raises(InputError, match="already exists"):
        Recorder(tmp_path / "a.flac", 48_000, 1)
    with pytest.raises(InputError, match="cannot be written"):
        Recorder(tmp_path / "none" / "a.flac", 48_000, 1)


def test_a_file_is_played_and_can_be_stopped(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "a.wav", 0.1 * np.ones((4_800, 1)), 48_000)
    source = play_file(tmp_path / "a.wav", NoWait())
    blocks = source.blocks()
    assert next(blocks).start_s == 0.0
    assert next(blocks).start_s == pytest.approx(0.02)
    source.close()
    assert list(blocks) == []
    with pytest.raises(InputError, match="cannot be opened"):
        play_file(tmp_path / "none.wav", NoWait())


def test_real_time_waits_for_the_clock() -> None:
    source = PlayedSound(np.zeros(4_800), 48_000, RealTime())
    assert sum(len(block.samples) for block in source.blocks()) == 4_800
