"""The book's records for the venue, as frozen types."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path


@dataclass(frozen=True, slots=True)
class NextVisit:
    """When the tuner comes next.

    Attributes
    ----------
    arrives_at : datetime or None
        None if no date is agreed.
    hours : float or None
        How long the organ is needed [h].
    reason : str
        Why on that date.
    """

    arrives_at: datetime | None
    hours: float | None = None
    reason: str = ""


class Role(StrEnum):
    """What a contact is to the organ."""

    OWNER = "owner"  # the people responsible for the building and the organ
    ADVISER = "adviser"
    TUNER = "tuner"
    BUILDER = "organ builder"
    KEY_HOLDER = "key holder"


@dataclass(frozen=True, slots=True)
class Contact:
    """A contact.

    Attributes
    ----------
    role : Role
    name : str
    reach : str
        Telephone, e-mail or both, as written.
    """

    role: Role
    name: str
    reach: str = ""


@dataclass(frozen=True, slots=True)
class FaultCare:
    """What is being done about a fault.

    Attributes
    ----------
    fault_id : int
    who : str
        Who fixes it.
    parts : str
        What the repair needs.
    meanwhile : str
        How to play until then.
    """

    fault_id: int
    who: str = ""
    parts: str = ""
    meanwhile: str = ""


@dataclass(frozen=True, slots=True)
class Photograph:
    """A photograph in the book.

    Attributes
    ----------
    shows : str
        What it shows; also the text for screen readers.
    rights : str
        Whose it is and who may see it; if empty, not shown outside the book.
    path : Path
        Path of its file in the book's folder.
    """

    id: int
    organ_id: int
    visit_id: int | None
    fault_id: int | None
    file_name: str
    shows: str
    rights: str
    path: Path
    kept_at: datetime


OUTDOORS = "outdoors"


@dataclass(frozen=True, slots=True)
class AirLog:
    """One logger's readings at one place.

    Attributes
    ----------
    place : str
        A division's id, or `OUTDOORS`.
    file_name : str
        The file they came from.
    starts_at : datetime
        Time of the first reading, time-zone aware.
    minutes : tuple of float
        Time of each reading after the first [min].
    celsius : tuple of float
        As long as `minutes` [°C].
    humidity : tuple of float
        Relative, 0 to 1; as long as `minutes`, or empty if it was not logged.
    id : int
        Id in the book; 0 before it is stored.
    """

    place: str
    file_name: str
    starts_at: datetime
    minutes: tuple[float, ...]
    celsius: tuple[float, ...]
    humidity: tuple[float, ...] = ()
    id: int = 0
