"""A recording with what was heard in it, and its readings."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Reading


class HearingChange(StrEnum):
    """Why a hearing replaces the one before it."""

    NONE = ""
    RELABELLED = "relabelled"  # the user changed the label
    WITHDRAWN = "withdrawn"  # the recording no longer counts


@dataclass(frozen=True, slots=True)
class KeptRecording:
    """One recording, stored by the hash of its content, with its newest hearing.

    Attributes
    ----------
    walk : HeardWalk
        As `program_version` heard it.
    kept_at : datetime
        When the recording was first kept.
    recorded_at : datetime or None
        When it was made, if known.
    hearing_id : int
        Id of the hearing in `walk`; hearing the recording again makes a new one.
    heard_at : datetime or None
        When that hearing was kept.
    change : HearingChange
        Why it replaced the one before. A withdrawn recording keeps its label; its walk has no
        holds.
    words : str
        The user's reason; may be empty.
    organ_version : int
        Version of the description it was heard with.
    """

    id: int
    visit_id: int
    sha256: str
    file_name: str
    bytes: int
    walk: HeardWalk
    kept_at: datetime
    program_version: str
    recorded_at: datetime | None = None
    hearing_id: int = 0
    heard_at: datetime | None = None
    change: HearingChange = HearingChange.NONE
    words: str = ""
    organ_version: int = 1

    @property
    def is_withdrawn(self) -> bool:
        """Whether it no longer counts."""
        return self.change is HearingChange.WITHDRAWN


@dataclass(frozen=True, slots=True)
class RecordingLabel:
    """A recording's label: its file's name, the stops drawn, the air [°C]."""

    file_name: str
    drawn: tuple[str, ...]
    air_celsius: float | None


@dataclass(frozen=True, slots=True)
class KeptReading:
    """One reading, knowing its recording, its time in it, and the program that made it.

    Attributes
    ----------
    superseded_by : int or None
        The reading of the same pipe, nearest in the recording, that replaced it in a newer hearing;
        None while it is current, and if the newer hearing did not read that pipe.
    superseded_in : int or None
        The hearing that replaced this reading's own; None while it is current.
    visit_id, hearing_id : int
    hold : int
        Number of its hold in the walk.
    key : Key or None
        The key held.
    sounded_at : datetime or None
        When the recording was made, or else stored.
    """

    id: int
    recording_id: int
    reading: Reading
    program_version: str
    superseded_by: int | None
    superseded_in: int | None = None
    visit_id: int = 0
    hearing_id: int = 0
    hold: int = 0
    key: Key | None = None
    sounded_at: datetime | None = None

    @property
    def is_current(self) -> bool:
        """Whether no newer hearing has replaced it."""
        return self.superseded_in is None
