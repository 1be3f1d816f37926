"""What the book keeps, as frozen types; database rows never leave the book.

Records are superseded, not edited: a correction is a new record that names the one it replaces.
Instants are time-zone aware; the book gives them back in UTC. Floats come back as the same number,
bit for bit, but that a negative zero comes back as zero.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from types import MappingProxyType

from walkboard.organ.model import PipeRef
from walkboard.planning.plan import Plan, PlanItem
from walkboard.planning.value.use import EventUse
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Reading


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
        Time-zone aware; None until the book keeps them and notes its own time.
    id : int or None
        In the book; names them when they are corrected.
    """

    air_celsius: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    humidity: float | None = None
    wind_mm: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    noted_at: datetime | None = None
    id: int | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class KeptOrgan:
    """One organ in the book; `description` is the TOML text as it was given.

    Attributes
    ----------
    id : int
        Of the organ; the same for every version of its description.
    name, description : str
        As the newest version has them.
    added_at : datetime
        When this version was kept.
    version : int
        Of the description, from 1.
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
    """What a visit's purpose and minutes were corrected to, and why.

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
        Of the description that held when the visit was opened.
    conditions : tuple of Conditions
        In the order in which they were noted, a corrected one in its old place.
    notes : tuple of KeptNote
        In the order in which they were added.
    corrections : tuple of VisitCorrection
        Of purpose and minutes, oldest first; the first is what the visit was opened with. Empty
        where nothing was corrected.
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


class HearingChange(StrEnum):
    """Why a hearing takes the place of the one before it."""

    NONE = ""
    RELABELLED = "relabelled"  # the user said anew what was recorded
    WITHDRAWN = "withdrawn"  # the recording no longer counts


@dataclass(frozen=True, slots=True)
class KeptRecording:
    """One recording, kept by the hash of its content, with its newest hearing.

    Attributes
    ----------
    walk : HeardWalk
        As `program_version` heard it.
    kept_at : datetime
        When the recording was first kept.
    recorded_at : datetime or None
        When it was made, where that is known.
    hearing_id : int
        Of the hearing that `walk` is; taking in again makes a new one.
    heard_at : datetime or None
        When that hearing was kept.
    change : HearingChange
        Why it took the place of the one before. A withdrawn recording keeps the label that it had;
        its walk has no holds.
    words : str
        The user's reason; may be empty.
    organ_version : int
        Of the description that it was heard by.
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
    """What a recording is said to be: its file's name, the stops drawn, the air [°C]."""

    file_name: str
    drawn: tuple[str, ...]
    air_celsius: float | None


@dataclass(frozen=True, slots=True)
class KeptReading:
    """One reading, knowing its recording, its time in it, and the program that made it.

    Attributes
    ----------
    superseded_by : int or None
        The reading of the same pipe, nearest in the recording, that a newer hearing put in its
        place; None while it is current, and where the newer hearing read that pipe no more.
    superseded_in : int or None
        The hearing that took the place of this reading's own; None while it is current.
    visit_id, hearing_id : int
    hold : int
        Number of its hold in the walk.
    key : Key or None
        That was held.
    sounded_at : datetime or None
        When the recording was made, or else when it was kept.
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
        """Whether no newer hearing has taken its place."""
        return self.superseded_in is None


@dataclass(frozen=True, slots=True)
class KeptPlan:
    """A plan as made for a visit; a new plan supersedes the last.

    Attributes
    ----------
    outdated_at : datetime or None
        When a recording that it may rest on was labelled anew or withdrawn; None where none was.
    organ_version : int or None
        Of the description that it was made by; None in books from before 0.2.0, where it was the
        visit's.
    """

    id: int
    visit_id: int
    plan: Plan
    event_air_celsius: float | None
    made_at: datetime
    superseded_by: int | None = None
    outdated_at: datetime | None = None
    organ_version: int | None = None


class TickState(StrEnum):
    """What a tick says of its pipe."""

    DONE = "done"
    SKIPPED = "skipped"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class Tick:
    """One pipe of the worklist dealt with (or skipped, or undone); the last one counts.

    Attributes
    ----------
    uid : str
        Given by whoever ticks, so that sending it twice keeps it once.
    state : str
        ``done``, ``skipped`` or ``open``.
    at : datetime
        When it was made, by the clock of whoever ticked.
    device : str
        Who ticked, where that matters.
    received_at : datetime or None
        When the book got it; left out when ticks are compared.
    """

    uid: str
    visit_id: int
    pipe: PipeRef
    state: str
    note: str
    at: datetime
    device: str = ""
    received_at: datetime | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class KeptSettling:
    """How a pipe was heard settling after a hand was on it.

    Attributes
    ----------
    visit_id : int
    pipe : PipeRef
    tuned_by : str
        What was moved, one of `organ.model.TunedBy`.
    log_tau, log_tau_sigma : float
        ln(τ/s) of its cooling, with one standard deviation.
    offset_cents, offset_sigma_cents : float
        How far the hand left it above where it settled, with one standard deviation [cents].
    heard_at : datetime
        When it was called done.
    """

    visit_id: int
    pipe: PipeRef
    tuned_by: str
    log_tau: float
    log_tau_sigma: float
    offset_cents: float
    offset_sigma_cents: float
    heard_at: datetime


@dataclass(frozen=True, slots=True)
class WorklistLine:
    """One line of the worklist with the tick that counts; `tick` is None where there is none."""

    item: PlanItem
    tick: Tick | None

    @property
    def state(self) -> TickState:
        """``open`` until ticked otherwise."""
        return TickState.OPEN if self.tick is None else TickState(self.tick.state)


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
    """A fault of a pipe, key or part; `mended_at` is None while it stands.

    Attributes
    ----------
    kind : str
        A word of `FaultKind`.
    stop, key, pipe
        What it is linked to, by the newest link.
    words : str
        As it was reported.
    uid : str or None
        Given by whoever reports, so that sending it twice keeps it once.
    reporter : str
        Who reported it, where they said so.
    double_of : int or None
        The fault that it is another report of.
    again_of : int or None
        The mended fault that came back as this one.
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
        """Whether it is neither mended nor a double of another."""
        return self.mended_at is None and self.double_of is None


@dataclass(frozen=True, slots=True)
class KeptEvent:
    """A service, recital or rehearsal that the organ must be ready for.

    Attributes
    ----------
    uid : str
        The calendar's own name for it (RFC 5545, UID), or one given by hand; a changed event keeps
        its uid and becomes a new record that supersedes the old.
    starts_at : datetime
    title : str
    stops : tuple of str
        Stops that it is known to use; empty where nothing is known.
    air_celsius : float or None
        Air temperature expected at the organ [°C].
    kept_at : datetime
    cancelled : bool
    superseded_by : int or None
    use : EventUse
        Registrations and keys that its music exposes; empty where nothing is known.
    air_by_division : mapping of division id to °C
        Where the air expected differs from `air_celsius`.
    """

    id: int
    organ_id: int
    uid: str
    starts_at: datetime
    title: str
    stops: tuple[str, ...]
    air_celsius: float | None
    kept_at: datetime
    cancelled: bool = False
    superseded_by: int | None = None
    use: EventUse = field(default_factory=EventUse)
    air_by_division: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class KeptWeight:
    """A weight that the tuner changed.

    Attributes
    ----------
    subject : str
        A stop's or rank's id, or a pipe as ``rank:number``.
    factor : float
        1 undoes the change.
    words : str
        Why.
    """

    id: int
    organ_id: int
    subject: str
    factor: float
    words: str
    kept_at: datetime
    superseded_by: int | None = None


@dataclass(frozen=True, slots=True)
class Found:
    """One record that a search found.

    Attributes
    ----------
    kind : str
        ``fault``, ``note``, ``visit``, ``tick`` or ``event``.
    id : int
        Of the record in its own kind; of the visit for a tick.
    organ_id : int
    visit_id : int or None
    at : datetime
    words : str
        The text that matched.
    """

    kind: str
    id: int
    organ_id: int
    visit_id: int | None
    at: datetime
    words: str


@dataclass(frozen=True, slots=True)
class BookProblem:
    """One thing that `Book.check` found wrong: where, what, and how to fix it."""

    where: str
    what: str
    fix: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what} {self.fix}"
