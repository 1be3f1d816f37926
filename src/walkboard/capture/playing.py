"""Plays a recording or an array as a live source: in real time, or as fast as possible.

The clock is an argument (`Pace`): real time for practice, none for tests.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from walkboard.capture.source import Block
from walkboard.errors import InputError, SoundError

BLOCK_S = 0.02


class Pace(Protocol):
    """Decides when a block may be delivered."""

    def wait_until(self, seconds: float, stop: threading.Event) -> None:
        """Wait until so many seconds after the first call, or until stopped."""
        ...


class RealTime:
    """Real time."""

    def __init__(self) -> None:
        self._began: float | None = None

    def wait_until(self, seconds: float, stop: threading.Event) -> None:
        """Wait until so many seconds after the first call, or until stopped."""
        if self._began is None:
            self._began = time.monotonic() - seconds
        left = self._began + seconds - time.monotonic()
        if left > 0.0:
            stop.wait(left)


class NoWait:
    """No clock: every block at once, for tests."""

    def wait_until(self, seconds: float, stop: threading.Event) -> None:
        """Do not wait."""


class PlayedSound:
    """An array as a live source.

    Parameters
    ----------
    samples : ndarray, shape (n,) or (n, channels)
    sample_rate : int
        [Hz]
    pace : Pace
    name : str
    """

    def __init__(
        self, samples: NDArray[np.floating], sample_rate: int, pace: Pace, name: str = "sound"
    ) -> None:
        array = np.asarray(samples, dtype=np.float32)
        self._samples = array[:, np.newaxis] if array.ndim == 1 else array
        self._pace = pace
        self._stop = threading.Event()
        self.name = name
        self.sample_rate = sample_rate
        self.channels = int(self._samples.shape[1])

    def blocks(self) -> Iterator[Block]:
        """Blocks of 20 ms, each delivered when its last sample would have been heard."""
        size = max(1, round(BLOCK_S * self.sample_rate))
        for first in range(0, len(self._samples), size):
            if self._stop.is_set():
                return
            part = self._samples[first : first + size]
            self._pace.wait_until((first + len(part)) / self.sample_rate, self._stop)
            yield Block(part, first / self.sample_rate)

    def close(self) -> None:
        """End it."""
        self._stop.set()


def play_file(path: Path, pace: Pace) -> PlayedSound:
    """A recording as a live source.

    Raises
    ------
    SoundError
        If it is not a readable recording.
    InputError
        When the file cannot be opened.
    """
    from walkboard.listening.sound.recording import open_sound  # noqa: PLC0415 - decoders load late

    try:
        if path.exists() and not path.is_file():
            raise OSError("it is not a file")  # opening a pipe would wait forever
        with path.open("rb") as stream:
            sound = open_sound(stream, path.name)
            blocks = list(sound.blocks())
            rate = sound.info.sample_rate
    except OSError as error:
        raise InputError(
            f"The recording cannot be opened: {error.strerror or error}.", where=str(path)
        ) from None
    if not blocks:
        raise SoundError("The recording is empty.", where=str(path))
    return PlayedSound(np.concatenate(blocks), rate, pace, path.name)
