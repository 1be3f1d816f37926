"""Faults as reported, and their state."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from walkboard.organ.model import PipeRef


class FaultKind(StrEnum):
    """The fault words of the trade (common practice, no source)."""

    CIPHER = "cipher"  # sounds without a key
    DEAD_NOTE = "dead note"
    SLOW_SPEECH = "slow speech"
    OFF_SPEECH = "off speech"  # speaks an octave or another partial, or coughs
    OVERBLOWN = "overblown"  # flies off
    OUT_OF_TUNE = "out of tune"
    OUT_OF_REGULATION = "out of regulation"
    DIRTY_TONGUE = "dirty tongue"
    BENT_PIPE = "bent pipe"  # or a leaning one
    CHIFF = "chiff"
    WOLF = "wolf"
    FLUTTER = "flutter"  # or shake
    RATTLE = "rattle"  # or buzz
    RUNNING = "running"  # murmurs: wind leaks into neighbours through the soundboard
    ROBBING = "robbing"  # pitch or speech dips when more stops are drawn
    PULL = "pull"  # neighbours draw each other's pitch
    WIND_SAG = "wind sag"
    TREMULANT_LEAK = "tremulant leak"
    STICKING_KEY = "sticking key"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class KeptFault:
    """A fault of a pipe, key or part; `mended_at` is None while it is open.

    Attributes
    ----------
    kind : str
        A word of `FaultKind`.
    stop, key, pipe
        What it is linked to, by the newest link.
    words : str
        As reported.
    uid : str or None
        Chosen by the reporter's device, so that a report sent twice is stored once.
    reporter : str
        Who reported it, if they said so.
    double_of : int or None
        The fault it is another report of.
    again_of : int or None
        The fixed fault that came back as this one.
    """

    id: int
    organ_id: int
    kind: str
    stop: str | None
    key: str | None
    pipe: PipeRef | None
    words: str
    reported_at: datetime
    mended_at: datetime | None
    mended_in_visit: int | None
    mended_note: str = ""
    uid: str | None = None
    reporter: str = ""
    double_of: int | None = None
    again_of: int | None = None

    @property
    def stands(self) -> bool:
        """Whether it is neither fixed nor a double of another."""
        return self.mended_at is None and self.double_of is None
