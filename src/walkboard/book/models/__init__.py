"""The book's tables. Rows stay inside the book; callers get `walkboard.book.records`.

Import the rows from here, so that all tables are known. Rows are never edited or removed, with one
exception: closing a visit writes to its row, once. A row is replaced by a new row whose
`supersedes_id` names the old one. That column is unique, so nothing can be superseded twice.
"""

from walkboard.book.models.base import NAMING, Base, fact_tables
from walkboard.book.models.changes import OrganChangeRow, VisitChangeRow
from walkboard.book.models.events import EventRow, WeightChangeRow
from walkboard.book.models.faults import FaultFixRow, FaultLinkRow, FaultRow, FaultTieRow
from walkboard.book.models.plans import (
    PlanCurveRow,
    PlanItemRow,
    PlanReferenceRow,
    PlanRow,
    SettlingRow,
    TickRow,
)
from walkboard.book.models.recordings import HearingRow, HoldRow, ReadingRow, RecordingRow, SoundRow
from walkboard.book.models.visits import (
    ConditionsRow,
    DescriptionRow,
    DivisionConditionsRow,
    NoteRow,
    OrganRow,
    VisitCorrectionRow,
    VisitRow,
)

DERIVED_TABLES = frozenset({OrganChangeRow.__tablename__, VisitChangeRow.__tablename__})

__all__ = [
    "DERIVED_TABLES",
    "NAMING",
    "Base",
    "ConditionsRow",
    "DescriptionRow",
    "DivisionConditionsRow",
    "EventRow",
    "FaultFixRow",
    "FaultLinkRow",
    "FaultRow",
    "FaultTieRow",
    "HearingRow",
    "HoldRow",
    "NoteRow",
    "OrganChangeRow",
    "OrganRow",
    "PlanCurveRow",
    "PlanItemRow",
    "PlanReferenceRow",
    "PlanRow",
    "ReadingRow",
    "RecordingRow",
    "SettlingRow",
    "SoundRow",
    "TickRow",
    "VisitChangeRow",
    "VisitCorrectionRow",
    "VisitRow",
    "WeightChangeRow",
    "fact_tables",
]
