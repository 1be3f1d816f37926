"""The kinds of pipes, how they are tuned, and how they are built."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from walkboard.scales.keys import Key


class Family(StrEnum):
    """How a pipe makes its sound."""

    OPEN = "open"
    STOPPED = "stopped"
    CHIMNEY = "chimney"
    REED = "reed"

    @property
    def is_flue(self) -> bool:
        """Whether its pitch changes with the air."""
        return self is not Family.REED


class TunedBy(StrEnum):
    """What is moved to tune a pipe."""

    SLIDE = "slide"
    CONE = "cone"
    ROLL = "roll"
    STOPPER = "stopper"
    CAP = "cap"
    EARS = "ears"
    SHADE = "shade"
    SPRING = "spring"


class Build(StrEnum):
    """How a pipe's length relates to its pitch, if that is unusual."""

    PLAIN = "plain"
    HARMONIC = "harmonic"
    """Double length, overblown to the octave: harmonic flutes and trumpets."""
    HALF_LENGTH = "half-length"
    """A reed with a resonator of half the usual length."""
    FREE_REED = "free reed"
    """The tongue swings through its frame instead of beating against it."""


class PipeOrder(StrEnum):
    """The order of a rank's pipes along the chest, from left to right."""

    CHROMATIC = "chromatic"
    SIDES = "sides"
    """C side and C♯ side, in whole tones, with the large pipes outside."""
    SIDES_INWARD = "sides inward"
    """C side and C♯ side with the large pipes in the middle."""
    MINOR_THIRDS = "minor thirds"
    MAJOR_THIRDS = "major thirds"


@dataclass(frozen=True, slots=True)
class Part:
    """How the pipes of a rank are built, from one key upward.

    Attributes
    ----------
    from_key : Key
        The key of its first pipe.
    family : Family
    tuned_by : TunedBy
    build : Build
    name : str
        What the builder calls it, such as ``stopped wood``; may be empty.
    """

    from_key: Key
    family: Family
    tuned_by: TunedBy
    build: Build = Build.PLAIN
    name: str = ""


@dataclass(frozen=True, slots=True)
class Celeste:
    """How a rank is tuned off its partner on purpose; exactly one of `cents`, `beats_hz` is set.

    Attributes
    ----------
    cents : float or None
        The same interval at every key [cents], + is sharp.
    beats_hz : tuple of (Key, float)
        Beats a second at one or more keys, upward [Hz], + is sharp. Interpolated evenly per
        semitone between keys; constant outside.
    partner : str or None
        Id of the rank that it beats with, if it is tuned against that rank.
    """

    cents: float | None = None
    beats_hz: tuple[tuple[Key, float], ...] = ()
    partner: str | None = None

    def offset_hz(self, key: Key, partner_hz: float) -> float:
        """How far above its partner the pipe of a key should be [Hz].

        Parameters
        ----------
        key : Key
            The key of the pipe.
        partner_hz : float
            Frequency of the partner at that key [Hz].
        """
        if self.cents is not None:
            return partner_hz * (math.exp2(self.cents / 1200.0) - 1.0)
        below = [step for step in self.beats_hz if step[0] <= key]
        above = [step for step in self.beats_hz if step[0] > key]
        if not below:
            return above[0][1]
        if not above:
            return below[-1][1]
        (low, low_hz), (high, high_hz) = below[-1], above[0]
        share = (key.semitone - low.semitone) / (high.semitone - low.semitone)
        return low_hz + share * (high_hz - low_hz)


@dataclass(frozen=True, slots=True)
class ChestLayout:
    """Where a rank's pipes are on their chest.

    Attributes
    ----------
    order : PipeOrder or None
        None if the description does not say.
    toe_board : int or None
        Counted from the walkboard: to reach toe board 3 the tuner reaches over 1 and 2.
    front : tuple of (Key, Key) or None
        Lowest and highest key whose pipes are in the case front.
    dumb : int
        Number of dummy pipes in the front.
    """

    order: PipeOrder | None = None
    toe_board: int | None = None
    front: tuple[Key, Key] | None = None
    dumb: int = 0


class ChangeKind(StrEnum):
    """What was done to a rank in some year."""

    REPLACED = "replaced"
    """New pipes: earlier readings belong to pipes that are gone."""
    MOVED = "moved"
    """The same pipes under another id or number: their readings move with them."""
    REVOICED = "revoiced"
    """The same pipes, revoiced: readings are kept, drift starts again."""


@dataclass(frozen=True, slots=True)
class Change:
    """What was done to a rank, and when.

    Attributes
    ----------
    year : int
    kind : ChangeKind
    was : str or None
        Previous id of the rank, if the pipes were moved.
    was_first : int
        Number that today's first pipe had there; below 1 if pipes were added at the bottom.
    """

    year: int
    kind: ChangeKind
    was: str | None = None
    was_first: int = 1
