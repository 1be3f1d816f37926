"""The interface of every decoder of recordings, and how it reports damage in the middle."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum
from typing import Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.types import SoundInfo

Samples: TypeAlias = NDArray[np.float32]
"""Samples of shape (frames, channels); full scale is ±1."""


class Coding(StrEnum):
    """How samples are coded, as far as overload looks different in them."""

    INTEGER = "integer"  # stops at the highest code
    FLOAT = "float"  # may pass full scale unharmed
    LOSSY = "lossy"  # a clipped top comes back uneven


class DamageError(Exception):
    """A decoder cannot go on from the frame it has reached; never leaves `listening`."""


class Decoder(Protocol):
    """One recording, decoded from its start as often as asked."""

    @property
    def info(self) -> SoundInfo:
        """What the header says; its length is nan where the header gives none."""

    @property
    def coding(self) -> Coding:
        """How the samples are coded."""

    @property
    def bits(self) -> int | None:
        """Bits of an integer sample; None for other codings."""

    @property
    def filled(self) -> list[tuple[int, int]]:
        """Frames (from, to) that were lost in the last pass and filled with silence."""

    def blocks(self, frames: int, *, skip: int = 0) -> Iterator[Samples]:
        """Blocks of so many frames (the last may be shorter), after the first `skip` frames.

        Raises
        ------
        DamageError
            Where nothing more can be decoded although the recording should go on.
        """
