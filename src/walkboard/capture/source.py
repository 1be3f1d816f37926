"""The interface of a live sound source: blocks of samples with time stamps.

Conventions. Samples are float32, full scale ±1, shape (n, channels). Times are seconds of the
source's own clock from its start; if a block starts later than the previous one ended, samples were
lost between them; `Block.lost` counts them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """A stretch of sound.

    Attributes
    ----------
    samples : ndarray of float32, shape (n, channels)
    start_s : float
        Time of the first sample [s].
    lost : int
        Samples lost before this block.
    """

    samples: Samples
    start_s: float
    lost: int = 0


class Source(Protocol):
    """A live source.

    Attributes
    ----------
    name : str
        Name shown to the tuner.
    sample_rate, channels : int
    """

    @property
    def name(self) -> str: ...  # noqa: D102
    @property
    def sample_rate(self) -> int: ...  # noqa: D102
    @property
    def channels(self) -> int: ...  # noqa: D102

    def blocks(self) -> Iterator[Block]:
        """Blocks as they arrive, waiting for each; ends when the source ends or is closed."""
        ...

    def close(self) -> None:
        """End the source; from any thread, any number of times."""
        ...


@dataclass(slots=True)
class Meter:
    """The source's level and clipping, so the tuner can set the gain.

    Attributes
    ----------
    peak_db : float
        Highest sample of the last half second or so, falling 20 dB a second after; full scale is 0.
    clipped : int
        Samples at full scale since the start, in runs of three or more.
    lost : int
        Samples lost since the start.
    """

    peak_db: float = -120.0
    clipped: int = 0
    lost: int = 0

    def take(self, block: Block, sample_rate: int) -> None:
        """Add a block."""
        self.lost += block.lost
        if len(block.samples) == 0:
            return
        size = np.abs(np.nan_to_num(block.samples)).max(axis=1)
        top = float(size.max())
        seconds = len(block.samples) / sample_rate
        self.peak_db = max(20.0 * float(np.log10(max(top, 1e-6))), self.peak_db - 20.0 * seconds)
        if top >= _FULL:
            full = size >= _FULL
            runs = full[2:] & full[1:-1] & full[:-2]
            self.clipped += int(runs.sum())

    @property
    def words(self) -> str:
        """What to do about the gain; empty if it is right."""
        if self.clipped and self.peak_db > -1.0:
            return "The input clips: turn the gain down."
        if self.peak_db < -50.0:
            return "The input is very quiet: turn the gain up, or check the microphone."
        return ""


_FULL = 0.999
