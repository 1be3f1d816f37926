"""What the console has besides the stops: couplers, tremulants and toy counters."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class CoupledKeys(StrEnum):
    """Which of the held keys a coupler plays."""

    ALL = "all"
    HIGHEST = "highest"
    """A melody coupler."""
    LOWEST = "lowest"
    """A bass coupler."""


@dataclass(frozen=True, slots=True)
class Coupler:
    """A coupler: brings the stops of one division to the keys of another, or of the same.

    Attributes
    ----------
    id, name : str
    from_division : str
        Id of the division whose stops it makes sound.
    to_division : str
        Id of the division whose keys it is played from.
    semitones : int
        0 at unison, 12 for an octave coupler, -12 for a suboctave coupler.
    keys : CoupledKeys
    unison_off : bool
        Whether it silences the division's own stops at the key itself instead of adding any.
    """

    id: str
    name: str
    from_division: str
    to_division: str
    semitones: int = 0
    keys: CoupledKeys = CoupledKeys.ALL
    unison_off: bool = False


@dataclass(frozen=True, slots=True)
class Tremulant:
    """A tremulant: shakes the wind of some divisions or ranks. No pipe is tuned while it runs.

    Attributes
    ----------
    id, name : str
    divisions : tuple of str
        Ids of the divisions whose wind it shakes.
    ranks : tuple of str
        Ids of the ranks it shakes, if only these; empty: all of `divisions`.
    rate_hz : float or None
        Shakes a second [Hz], if known.
    """

    id: str
    name: str
    divisions: tuple[str, ...]
    ranks: tuple[str, ...] = ()
    rate_hz: float | None = None


class ToyKind(StrEnum):
    """Kinds of toy counters."""

    BELL_STAR = "bell star"
    BIRD = "bird"
    DRUM = "drum"
    BELLS = "bells"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Toy:
    """A toy counter: drawn like a stop, but no key plays it and it is not tuned."""

    id: str
    name: str
    kind: ToyKind
