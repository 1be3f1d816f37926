"""What the book keeps, as frozen types; database rows never leave the book.

Records are superseded, not edited: a correction is a new record that names the one it replaces.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType

from walkboard.organ.model import PipeRef
from walkboard.planning.plan import Plan
from walkboard.survey.heard import HeardWalk, Reading


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
        Time-zone aware.
    """

    air_celsius: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    humidity: float | None = None
    wind_mm: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    noted_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class KeptOrgan:
    """One organ in the book; `description` is the TOML text as it was given."""

    id: int
    name: str
    description: str
    added_at: datetime


@dataclass(frozen=True, slots=True)
class KeptVisit:
    """One visit; `closed_at` is None while it is open."""

    id: int
    organ_id: int
    purpose: str
    minutes: float | None
    opened_at: datetime
    closed_at: datetime | None
    conditions: tuple[Conditions, ...]
    closing_note: str = ""


@dataclass(frozen=True, slots=True)
class KeptRecording:
    """One recording, kept by the hash of its content."""

    id: int
    visit_id: int
    sha256: str
    file_name: str
    bytes: int
    walk: HeardWalk
    kept_at: datetime
    program_version: str


@dataclass(frozen=True, slots=True)
class KeptReading:
    """One reading, knowing its recording, its time in it, and the program that made it."""

    id: int
    recording_id: int
    reading: Reading
    program_version: str
    superseded_by: int | None


@dataclass(frozen=True, slots=True)
class KeptPlan:
    """A plan as made for a visit; a new plan supersedes the last."""

    id: int
    visit_id: int
    plan: Plan
    event_air_celsius: float | None
    made_at: datetime


@dataclass(frozen=True, slots=True)
class Tick:
    """One pipe of the worklist dealt with (or skipped, or undone); the last one counts.

    Attributes
    ----------
    uid : str
        Given by whoever ticks, so that sending it twice keeps it once.
    state : str
        ``done``, ``skipped`` or ``open``.
    """

    uid: str
    visit_id: int
    pipe: PipeRef
    state: str
    note: str
    at: datetime


@dataclass(frozen=True, slots=True)
class KeptFault:
    """A fault of a pipe, key or part; `mended_at` is None while it stands."""

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
