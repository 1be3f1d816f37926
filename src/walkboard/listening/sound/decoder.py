"""The interface of every decoder, and how it reports damage in the middle of a recording."""

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
    """How samples are coded, as far as it changes how overload looks."""

    INTEGER = "integer"  # stops at the highest value
    FLOAT = "float"  # may exceed full scale without harm
    LOSSY = "lossy"  # clipped peaks are decoded unevenly


class DamageError(Exception):
    """A decoder cannot continue from the frame it has reached; never leaves `listening`."""


class Decoder(Protocol):
    """One recording, decoded from the start as often as needed."""

    @property
    def info(self) -> SoundInfo:
        """What the header says; the length is nan if the header gives none."""

    @property
    def coding(self) -> Coding:
        """How the samples are coded."""

    @property
    def bits(self) -> int | None:
        """Bits per integer sample; None for other codings."""

    @property
    def filled(self) -> list[tuple[int, int]]:
        """Frames (from, to) that were lost in the last pass and filled with silence."""

    def blocks(self, frames: int, *, skip: int = 0) -> Iterator[Samples]:
        """Blocks of `frames` frames (the last may be shorter), after the first `skip` frames.

        Raises
        ------
        DamageError
            If nothing more can be decoded although the recording should continue.
        """
