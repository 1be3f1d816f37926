"""Sound sent by a browser block by block, as a live source."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterator

import numpy as np

from walkboard.capture.source import Block, Samples
from walkboard.errors import InputError

LOWEST_RATE, HIGHEST_RATE = 8_000, 384_000
_MOST_WAITING = 150  # blocks; what a browser sends is 20 ms or a few of them
_LOOK_S = 0.1


class HandedSound:
    """A microphone whose samples come by `put`.

    Parameters
    ----------
    sample_rate : int
        Sample rate of the coming sound [Hz].
    name : str

    Raises
    ------
    InputError
        If no microphone runs at such a rate.
    """

    channels = 1

    def __init__(self, sample_rate: int, name: str) -> None:
        if not LOWEST_RATE <= sample_rate <= HIGHEST_RATE:
            raise InputError(f"A microphone does not run at {sample_rate} Hz.")
        self.name = name
        self.sample_rate = sample_rate
        self._queue: queue.Queue[tuple[int, Samples]] = queue.Queue(_MOST_WAITING)
        self._stop = threading.Event()

    def put(self, first: int, data: bytes) -> None:
        """Add samples; from any thread. If the queue is full they are lost, and counted as such.

        Parameters
        ----------
        first : int
            Number of the first sample since the start.
        data : bytes
            float32, little-endian.

        Raises
        ------
        InputError
            If it is not valid sound.
        """
        if first < 0 or len(data) % 4:
            raise InputError("What was sent is no sound.")
        samples = np.frombuffer(data, dtype="<f4").astype(np.float32)
        try:
            self._queue.put_nowait((first, samples))
        except queue.Full:
            return  # the next block's number shows how much is missing

    def blocks(self) -> Iterator[Block]:
        """Blocks as they arrive; repeated or late ones are dropped."""
        due = 0
        while not self._stop.is_set():
            try:
                first, samples = self._queue.get(timeout=_LOOK_S)
            except queue.Empty:
                continue
            if first < due:
                samples = samples[due - first :]
                first = due
            if len(samples) == 0:
                continue
            yield Block(samples[:, np.newaxis], first / self.sample_rate, first - due)
            due = first + len(samples)

    def close(self) -> None:
        """End it."""
        self._stop.set()
