"""The worklist as it is drawn."""

from __future__ import annotations

from dataclasses import dataclass

from walkboard.sheets.values.given import TickState
from walkboard.sheets.values.head import SheetHead
from walkboard.sheets.values.passages import Fact


@dataclass(frozen=True, slots=True)
class CautionLine:
    """One caution with its source."""

    topic: str
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class CurvePlace:
    """The badness that a number of minutes leaves."""

    minutes: float
    cost: float


@dataclass(frozen=True, slots=True)
class PlanCurve:
    """The badness left against the minutes, with this visit marked.

    Attributes
    ----------
    heading, caption : str
        ``caption`` says the same in words.
    points : tuple of CurvePlace
    minutes, cost : float
        Minutes and cost of this visit.
    words : str
        Beside its place.
    """

    heading: str
    caption: str
    points: tuple[CurvePlace, ...]
    minutes: float
    cost: float
    words: str


@dataclass(frozen=True, slots=True)
class WorkRow:
    """One pipe to tune.

    Attributes
    ----------
    order : int
    key, pipe : str
        What the key holder holds, and which pipe of the rank that is.
    stands : str
        ``7.2 flat``, in cents.
    move : str
        ``sharper`` or ``flatter``.
    hand : str
        What the hand does, as ``slide down, about 0.45 mm``.
    target : str
        Where to leave it today [Hz].
    beats : str
        Beats a second against the reference stop, now and at the target, as ``3.1 → 0``; empty
        where they meet in no partial that is heard.
    minutes : str
    state : TickState
    note : str
    """

    order: int
    key: str
    pipe: str
    stands: str
    move: str
    hand: str
    target: str
    beats: str
    minutes: str
    state: TickState = TickState.OPEN
    note: str = ""


@dataclass(frozen=True, slots=True)
class RankGroup:
    """Pipes of one rank that follow one another in the order of work.

    Attributes
    ----------
    heading : str
    draw : str
        For the key holder: what to draw.
    keys : str
        For the key holder: the keys, in order.
    beside : str
        The reference stop that is drawn with it to count beats; empty if there is none.
    device : str
        What is moved, and what each way does.
    why : str
        Why these pipes are on the list, and what their minutes buy.
    minutes : str
    rows : tuple of WorkRow
    event : str
        For reeds that are set for another air than today's: both figures, and why; else empty.
    """

    heading: str
    draw: str
    keys: str
    beside: str
    device: str
    why: str
    minutes: str
    rows: tuple[WorkRow, ...]
    event: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorklistSheet(SheetHead):
    """The worklist of a visit.

    Attributes
    ----------
    facts : tuple of Fact
    references : tuple of Fact
        Each division and the pitch that it is tuned to today.
    cautions : tuple of CautionLine
    deference : str
    groups : tuple of RankGroup
    nothing : str
        What to say where there are no groups.
    curve : PlanCurve or None
        What further minutes would buy; None where the plan holds none.
    """

    facts: tuple[Fact, ...]
    references: tuple[Fact, ...]
    cautions: tuple[CautionLine, ...]
    deference: str
    groups: tuple[RankGroup, ...]
    nothing: str
    curve: PlanCurve | None = None
