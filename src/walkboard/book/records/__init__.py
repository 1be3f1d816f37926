"""The book's records as frozen types; database rows never leave the book.

Records are superseded, not edited: a correction is a new record that names the one it replaces.
Instants are time-zone aware; the book returns them in UTC. Floats come back bit for bit, except
that negative zero comes back as zero.
"""

from walkboard.book.records.events import KeptEvent, KeptWeight
from walkboard.book.records.faults import FaultKind, KeptFault
from walkboard.book.records.findings import BookProblem, Found
from walkboard.book.records.forks import Fork, ForkKind, ForkSide
from walkboard.book.records.plans import KeptPlan, KeptSettling, Tick, TickState, WorklistLine
from walkboard.book.records.recordings import (
    HearingChange,
    KeptReading,
    KeptRecording,
    RecordingLabel,
)
from walkboard.book.records.visits import (
    Conditions,
    KeptNote,
    KeptOrgan,
    KeptVisit,
    VisitCorrection,
)

__all__ = [
    "BookProblem",
    "Conditions",
    "FaultKind",
    "Fork",
    "ForkKind",
    "ForkSide",
    "Found",
    "HearingChange",
    "KeptEvent",
    "KeptFault",
    "KeptNote",
    "KeptOrgan",
    "KeptPlan",
    "KeptReading",
    "KeptRecording",
    "KeptSettling",
    "KeptVisit",
    "KeptWeight",
    "RecordingLabel",
    "Tick",
    "TickState",
    "VisitCorrection",
    "WorklistLine",
]
