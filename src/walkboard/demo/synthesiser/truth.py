"""What is true of a recording: what readings are compared with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.demo.synthesiser.key_holder import Slip
from walkboard.demo.synthesiser.pitch import FrequencyTrack
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key

Samples = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class PipeTruth:
    """One pipe that a hold should sound.

    Attributes
    ----------
    pipe : PipeRef
    hz : float
        Its own fundamental, before wander [Hz].
    speaks : int
        1: its own pitch; 2, 3 …: that overtone; 0: dead.
    level_db : float
        Level of its direct sound in the recording's first channel; a full-scale sine is 0 dB.
    track : FrequencyTrack or None
        True frequency of the fundamental; None if the note is dead.
    """

    pipe: PipeRef
    hz: float
    speaks: int
    level_db: float
    track: FrequencyTrack | None

    def mean_hz(self, from_s: float, to_s: float) -> float:
        """Exact mean of what it speaks over a window of the recording [Hz].

        Raises
        ------
        ValueError
            When it is dead, or the window lies outside its sound.
        """
        if self.track is None:
            raise ValueError(f"{self.pipe} is dead")
        return self.track.mean_hz(from_s, to_s)


@dataclass(frozen=True, eq=False)
class HoldTruth:
    """One held key.

    Attributes
    ----------
    key : Key
        The key that was down.
    wanted : Key
        The key that should have been.
    start_s, end_s : float
        Key down and key up in the recording [s].
    pipes : tuple of PipeTruth
    slips : tuple of Slip
    """

    key: Key
    wanted: Key
    start_s: float
    end_s: float
    pipes: tuple[PipeTruth, ...]
    slips: tuple[Slip, ...]

    @property
    def sounds(self) -> bool:
        """Whether any pipe spoke."""
        return any(p.track is not None for p in self.pipes)

    def mean_hz(self, pipe: PipeRef, from_s: float, to_s: float) -> float:
        """Exact mean of what a pipe speaks over the part of a window while the key is down [Hz].

        What is left of a window past the key's going up is a pitch that drops as the wind leaves;
        no reading means that.

        Raises
        ------
        ValueError
            When the hold does not sound the pipe, or the window lies outside the hold.
        """
        for truth in self.pipes:
            if truth.pipe == pipe:
                return truth.mean_hz(max(from_s, self.start_s), min(to_s, self.end_s))
        raise ValueError(f"{self.key} does not sound {pipe}")


@dataclass(frozen=True, eq=False)
class WalkTruth:
    """The truth about a recording, without its sound.

    Attributes
    ----------
    seconds : float
        Length of the recording [s].
    sample_rate : int
        [Hz].
    holds : tuple of HoldTruth
        In time, dead ones too.
    asked : tuple of Key
        The keys that the walk should hold, in order.
    """

    seconds: float
    sample_rate: int
    holds: tuple[HoldTruth, ...]
    asked: tuple[Key, ...]

    @property
    def silent_keys(self) -> tuple[Key, ...]:
        """Keys asked for at which nothing was heard, upward."""
        heard = {h.key for h in self.holds if h.sounds}
        return tuple(sorted(set(self.asked) - heard))


@dataclass(frozen=True, eq=False)
class RenderedWalk:
    """A recording and the truth about it.

    Attributes
    ----------
    samples : ndarray of float32, shape (n, channels)
    truth : WalkTruth
    """

    samples: Samples
    truth: WalkTruth

    @property
    def sample_rate(self) -> int:
        """Samples a second [Hz]."""
        return self.truth.sample_rate

    @property
    def seconds(self) -> float:
        """Length of the recording [s]."""
        return self.truth.seconds

    @property
    def holds(self) -> tuple[HoldTruth, ...]:
        """Every held key in time, dead ones too."""
        return self.truth.holds

    @property
    def asked(self) -> tuple[Key, ...]:
        """The keys that the walk should hold, in order."""
        return self.truth.asked

    @property
    def silent_keys(self) -> tuple[Key, ...]:
        """Keys asked for at which nothing was heard, upward."""
        return self.truth.silent_keys
