"""Plain values of the printed sheets: every word and number as it will be read, nothing to compute.

Builders (`walkboard.sheets.worklist`, `walkboard.sheets.report`) make them from the organ, the plan
and the readings; typesetting only draws them. Texts are plain text, never markup.
"""

from walkboard.sheets.values.given import Fault, Ticked, TickState, VisitFacts, Work
from walkboard.sheets.values.head import SheetHead
from walkboard.sheets.values.passages import Fact, Passage
from walkboard.sheets.values.report import (
    ChartLine,
    ChartPoint,
    FaultRow,
    FlagRow,
    Mark,
    Picture,
    RankChart,
    VisitReport,
)
from walkboard.sheets.values.worklist import (
    CautionLine,
    CurvePlace,
    PlanCurve,
    RankGroup,
    WorklistSheet,
    WorkRow,
)

__all__ = [
    "CautionLine",
    "ChartLine",
    "ChartPoint",
    "CurvePlace",
    "Fact",
    "Fault",
    "FaultRow",
    "FlagRow",
    "Mark",
    "Passage",
    "Picture",
    "PlanCurve",
    "RankChart",
    "RankGroup",
    "SheetHead",
    "TickState",
    "Ticked",
    "VisitFacts",
    "VisitReport",
    "Work",
    "WorkRow",
    "WorklistSheet",
]
