"""PortAudio itself, over a null sink: heard, unplugged, plugged in again."""

import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.capture.null_sink import PACKAGES, NullSink, missing, null_sink

pytestmark = pytest.mark.long
ROOT = Path(__file__).parents[2]
HZ, CENTS = 262.0, 3.0


@pytest.fixture
def sink(tmp_path: Path) -> Iterator[NullSink]:
    if missing():
        pytest.skip(f"{', '.join(missing())} not installed (Debian: {PACKAGES})")
    with null_sink(tmp_path / "sound") as server:
        yield server


@pytest.fixture
def sounding(tmp_path: Path) -> Path:
    """A minute of a tone with four partials, 3 cents sharp."""
    times = np.arange(60 * 48_000) / 48_000
    turn = 2.0 * np.pi * HZ * 2.0 ** (CENTS / 1200.0) * times
    path = tmp_path / "tone.wav"
    soundfile.write(path, 0.2 * sum(np.sin(n * turn) / n for n in (1, 2, 3, 4)), 48_000)
    return path


class Hearing:
    """The program that hears the microphone, and what it has written so far."""

    def __init__(self, sink: NullSink, log: Path, seconds: float) -> None:
        self._log = log
        with log.open("wb") as stream:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "tests.capture.hear_sink", str(HZ), str(seconds)],
                env=sink.environment,
                cwd=ROOT,
                stdout=stream,
                stderr=subprocess.STDOUT,
            )

    def rows(self) -> list[tuple[float, float | None, int]]:
        """Time, cents and samples lost of every reading."""
        found = []
        for line in self._log.read_text().splitlines():
            words = line.split()
            if len(words) == 3 and words[2].isdigit():
                cents = None if words[1] == "-" else float(words[1])
                found.append((float(words[0]), cents, int(words[2])))
        return found

    def until(self, holds: Callable[[], bool]) -> None:
        ends = time.monotonic() + 40.0
        while not holds():
            assert self.process.poll() is None, self._log.read_text()
            assert time.monotonic() < ends, self._log.read_text()[-2000:]
            time.sleep(0.05)

    def last_cents(self) -> float | None:
        rows = self.rows()
        return rows[-1][1] if rows else None


def is_near(cents: float | None) -> bool:
    return cents is not None and abs(cents - CENTS) < 0.1


def test_a_microphone_is_heard_unplugged_and_plugged_in_again(
    sink: NullSink, sounding: Path, tmp_path: Path
) -> None:
    player = sink.play(sounding)
    hearing = Hearing(sink, tmp_path / "heard.txt", 300.0)
    try:
        hearing.until(lambda: is_near(hearing.last_cents()))
        lost = hearing.rows()[-1][2]
        sink.unplug()
        time.sleep(2.5)  # the gap itself: what is lost in it is counted below
        sink.plug()
        player.terminate()
        player.wait(10)
        player = sink.play(sounding)
        count = len(hearing.rows())
        hearing.until(lambda: len(hearing.rows()) > count + 10 and is_near(hearing.last_cents()))
        assert hearing.rows()[-1][2] > lost + 48_000
    finally:
        for process in (player, hearing.process):
            process.terminate()
            process.wait(10)
