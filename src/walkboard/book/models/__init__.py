"""The book's tables. Rows stay inside the book; callers get `walkboard.book.records`.

Import the rows from here, so that all tables are known. Rows are never edited or removed: a row is
replaced by a new row whose `supersedes_id` names the old one. That column is unique, so nothing can
be superseded twice.

A few columns only repeat what facts say, and follow them: a visit's `closed_at` and `closing_note`
(its newest closing); and `supersedes_id` and the numbers of descriptions, which a merge sets again
where it puts a fact between two others (`walkboard.book.merging`).
"""

from walkboard.book.models.base import NAMING, Base, fact_tables
from walkboard.book.models.changes import OrganChangeRow, VisitChangeRow
from walkboard.book.models.events import EventRow, WeightChangeRow
from walkboard.book.models.facts import DeviceNameRow, Fact, OwnDeviceRow, Version
from walkboard.book.models.faults import FaultFixRow, FaultLinkRow, FaultRow, FaultTieRow
from walkboard.book.models.people import (
    InvitationRow,
    MembershipRow,
    OpenIdRow,
    PasskeyRow,
    PersonRow,
    RecoveryRow,
    SessionRow,
)
from walkboard.book.models.pipes_now import PipeNowRow, PipesNowRow
from walkboard.book.models.plans import (
    PlanCurveRow,
    PlanItemRow,
    PlanReferenceRow,
    PlanRow,
    SettlingRow,
    TickRow,
)
from walkboard.book.models.recordings import HearingRow, HoldRow, ReadingRow, RecordingRow, SoundRow
from walkboard.book.models.venue import (
    AirLogRow,
    ContactRow,
    FaultCareRow,
    NextVisitRow,
    PhotographRow,
)
from walkboard.book.models.visits import (
    ConditionsRow,
    DescriptionRow,
    DivisionConditionsRow,
    NoteRow,
    OrganRow,
    VisitClosingRow,
    VisitCorrectionRow,
    VisitRow,
)

LEFT_OUT = frozenset(
    row.__tablename__
    for row in (
        OrganChangeRow, VisitChangeRow, PipeNowRow, PipesNowRow, OwnDeviceRow,
        PasskeyRow, RecoveryRow, InvitationRow, OpenIdRow, SessionRow,
    )
)  # fmt: skip
"""Tables that no export has: derived ones, and private ones."""

__all__ = [
    "LEFT_OUT",
    "NAMING",
    "AirLogRow",
    "Base",
    "ConditionsRow",
    "ContactRow",
    "DescriptionRow",
    "DeviceNameRow",
    "DivisionConditionsRow",
    "EventRow",
    "Fact",
    "FaultCareRow",
    "FaultFixRow",
    "FaultLinkRow",
    "FaultRow",
    "FaultTieRow",
    "HearingRow",
    "HoldRow",
    "InvitationRow",
    "MembershipRow",
    "NextVisitRow",
    "NoteRow",
    "OrganChangeRow",
    "OrganRow",
    "OwnDeviceRow",
    "PersonRow",
    "PhotographRow",
    "PipeNowRow",
    "PipesNowRow",
    "PlanCurveRow",
    "PlanItemRow",
    "PlanReferenceRow",
    "PlanRow",
    "ReadingRow",
    "RecordingRow",
    "SettlingRow",
    "SoundRow",
    "TickRow",
    "Version",
    "VisitChangeRow",
    "VisitClosingRow",
    "VisitCorrectionRow",
    "VisitRow",
    "WeightChangeRow",
    "fact_tables",
]
