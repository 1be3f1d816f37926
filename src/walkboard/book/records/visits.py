"""An organ, a visit to it, and what was noted there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Conditions:
    """What a visit found on arrival, or later in it.

    Attributes
    ----------
    air_celsius : mapping of division id to °C
    humidity : float or None
        Relative, 0 to 1.
    wind_mm : mapping of division id to mm of water
    noted_at : datetime or None
        Time-zone aware; None until the book stores them with its own time.
    id : int or None
        Id in the book; names them when they are corrected.
    """

    air_celsius: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    humidity: float | None = None
    wind_mm: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    noted_at: datetime | None = None
    id: int | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class KeptOrgan:
    """One organ in the book; `description` is the TOML text as given.

    Attributes
    ----------
    id : int
        Id of the organ; the same for every version of its description.
    name, description : str
        As in the newest version.
    added_at : datetime
        When this version was stored.
    version : int
        Version of the description, from 1.
    """

    id: int
    name: str
    description: str
    added_at: datetime
    version: int = 1


@dataclass(frozen=True, slots=True)
class KeptNote:
    """A note on a visit; it may be added after the visit is closed."""

    id: int
    visit_id: int
    words: str
    noted_at: datetime


@dataclass(frozen=True, slots=True)
class VisitCorrection:
    """A visit's corrected purpose and minutes, and why.

    Attributes
    ----------
    purpose : str
    minutes : float or None
    words : str
        Why it was corrected; may be empty.
    corrected_at : datetime
    """

    purpose: str
    minutes: float | None
    words: str
    corrected_at: datetime


@dataclass(frozen=True, slots=True)
class KeptVisit:
    """One visit; `closed_at` is None while it is open.

    Attributes
    ----------
    purpose, minutes
        As last corrected.
    organ_version : int
        Version of the description when the visit was opened.
    conditions : tuple of Conditions
        In the order noted, a corrected one in its old place.
    notes : tuple of KeptNote
        In the order added.
    corrections : tuple of VisitCorrection
        Corrections of purpose and minutes, oldest first; the first is what the visit was opened
        with. Empty if nothing was corrected.
    """

    id: int
    organ_id: int
    purpose: str
    minutes: float | None
    opened_at: datetime
    closed_at: datetime | None
    conditions: tuple[Conditions, ...]
    closing_note: str = ""
    organ_version: int = 1
    notes: tuple[KeptNote, ...] = ()
    corrections: tuple[VisitCorrection, ...] = ()

    @property
    def is_open(self) -> bool:
        """Whether work can still be added to it."""
        return self.closed_at is None
