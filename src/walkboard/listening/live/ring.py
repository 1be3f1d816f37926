"""The last few seconds of sound, one channel: the loudest."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_GAP_S = 0.005


class Ring:
    """Keeps the newest samples.

    Parameters
    ----------
    sample_rate : int
        [Hz]
    seconds : float
        How much to keep, at least [s].
    """

    def __init__(self, sample_rate: int, seconds: float) -> None:
        self.sample_rate = sample_rate
        self._kept = int(seconds * sample_rate)
        self._samples = np.zeros(0, dtype=np.float32)
        self._power: NDArray[np.float64] | None = None
        self.end_s = -np.inf

    def put(self, block: NDArray[np.float32], start_s: float) -> bool:
        """Add a block; returns True if it does not join the last one and all before is dropped.

        Parameters
        ----------
        block : ndarray, shape (n,) or (n, channels)
        start_s : float
            Time of its first sample [s].
        """
        if block.ndim == 1:
            block = block[:, np.newaxis]
        if len(block) == 0 or block.shape[1] == 0:
            return False
        if not np.isfinite(block).all():
            block = np.nan_to_num(block, nan=0.0, posinf=0.0, neginf=0.0)
        one = block[:, self._loudest(block)]
        broken = bool(abs(start_s - self.end_s) > _GAP_S)
        if broken:
            self._samples = np.zeros(0, dtype=np.float32)
        self._samples = np.concatenate([self._samples, one])[-self._kept :]
        self.end_s = start_s + len(one) / self.sample_rate
        return broken

    def _loudest(self, block: NDArray[np.float32]) -> int:
        """The loudest channel so far; it changes only for one that is twice as loud."""
        if block.shape[1] == 1:
            return 0
        power = (block.astype(np.float64) ** 2).mean(axis=0)
        if self._power is None or len(self._power) != len(power):
            self._power, self._channel = power, int(np.argmax(power))
        self._power = 0.9 * self._power + 0.1 * power
        best = int(np.argmax(self._power))
        if self._power[best] > 4.0 * self._power[self._channel]:
            self._channel = best
        return self._channel

    def last(self, seconds: float) -> NDArray[np.float32]:
        """The newest samples, as many as there are."""
        count = max(1, round(seconds * self.sample_rate))
        return self._samples[-count:]

    def since(self, time_s: float) -> NDArray[np.float32]:
        """The samples from a time on, as many as there are."""
        return self.last(self.end_s - time_s)
