"""What two people did to the same thing without knowing of each other."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class ForkKind(StrEnum):
    """What was done on several devices."""

    OPEN_VISITS = "open visits"
    CLOSINGS = "closings"
    MISSED_WORK = "missed work"  # at a visit, by somebody who did not know that it was closed
    FIXES = "fixes"
    HEARINGS = "hearings"
    DESCRIPTIONS = "descriptions"
    PLANS = "plans"
    CONDITIONS = "conditions"
    CORRECTIONS = "corrections"
    EVENTS = "events"
    WEIGHTS = "weights"
    LINKS = "links"
    CARES = "cares"
    CONTACTS = "contacts"
    NEXT_VISITS = "next visits"
    AIR_LOGS = "air logs"
    NAMES = "names"  # two organs of one name

    @property
    def is_settled(self) -> bool:
        """Whether it is done and nobody has to decide anything."""
        return self in {ForkKind.CLOSINGS, ForkKind.FIXES}


@dataclass(frozen=True, slots=True)
class ForkSide:
    """One of the things done.

    Attributes
    ----------
    device : str
        Name of the device it was done on.
    id : int
        Id of its record here.
    words : str
        What it says, in short; may be empty.
    noted_at : datetime
        By the clock of its device.
    arrived_at : datetime or None
        When this book received it; None if it was noted here.
    counts : bool
        Whether it is the one that counts now.
    """

    device: str
    id: int
    words: str
    noted_at: datetime
    arrived_at: datetime | None
    counts: bool


@dataclass(frozen=True, slots=True)
class Fork:
    """Several things done to one, none of which was done knowing of the others; all are kept.

    Attributes
    ----------
    kind : ForkKind
    about : str
        What they were done to, as "visit 3"; empty for the organ itself.
    sides : tuple of ForkSide
        In the order of facts.
    visit_id : int or None
        The visit to look at, of work that its closing missed.
    """

    kind: ForkKind
    about: str
    sides: tuple[ForkSide, ...]
    visit_id: int | None = None
