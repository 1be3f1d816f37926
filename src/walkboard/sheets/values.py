"""Plain values of the printed sheets: every word and number as it will be read, nothing to compute.

Builders (`walkboard.sheets.worklist`, `walkboard.sheets.report`) make them from the organ, the plan
and the readings; typesetting only draws them. Texts are plain text, never markup.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from types import MappingProxyType

from walkboard.organ.model import PipeRef
from walkboard.planning.plan import Plan
from walkboard.sheets.front_page.news import FrontPage

# ------------------------------------------------------------------ what the caller knows


class TickState(StrEnum):
    """What became of a pipe of the worklist."""

    OPEN = "open"
    DONE = "done"
    SKIPPED = "skipped"


@dataclass(frozen=True, slots=True)
class Ticked:
    """One pipe of the worklist as it was ticked last; `note` may be empty."""

    pipe: PipeRef
    state: TickState
    note: str = ""


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault as reported.

    Attributes
    ----------
    kind : str
        As the trade says it: cipher, dead note, off speech …
    place : str
        Stop and key in words; may be empty.
    words : str
        As it was reported.
    reported : date
    mended : date or None
        When it was fixed; None while it stands.
    mended_note : str
    repair : str
        Who fixes it and with what; may be empty.
    """

    kind: str
    place: str
    words: str
    reported: date
    mended: date | None = None
    mended_note: str = ""
    repair: str = ""


@dataclass(frozen=True, slots=True)
class VisitFacts:
    """A visit, as far as a sheet needs it.

    Attributes
    ----------
    day : date
        Of the visit; it is also the date of the document.
    purpose : str
    air_celsius : mapping of division id to °C
        Thermometers.
    humidity : float or None
        Relative, 0 to 1.
    wind_mm : mapping of division id to mm of water
    event_air_celsius : float or None
        Air at the service or recital that the visit tunes for [°C].
    minutes : float or None
        That there were [min].
    closing_note : str
        The tuner's own words.
    """

    day: date
    purpose: str = ""
    air_celsius: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    humidity: float | None = None
    wind_mm: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    event_air_celsius: float | None = None
    minutes: float | None = None
    closing_note: str = ""


@dataclass(frozen=True, slots=True)
class Work:
    """The plan of the visit and what was ticked of it."""

    plan: Plan
    ticks: tuple[Ticked, ...] = ()


# ------------------------------------------------------------------ shared by both sheets


@dataclass(frozen=True, slots=True)
class Fact:
    """A labelled figure: ``Air`` and ``17.2 °C in the Great``."""

    label: str
    value: str


@dataclass(frozen=True, slots=True)
class Passage:
    """A heading and the sentences under it."""

    heading: str
    sentences: tuple[str, ...]


# ------------------------------------------------------------------ the worklist


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
    """The badness left against the minutes, and where this visit stands.

    Attributes
    ----------
    heading, caption : str
        ``caption`` says the same in words.
    points : tuple of CurvePlace
    minutes, cost : float
        Of this visit.
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


@dataclass(frozen=True, slots=True)
class WorklistSheet:
    """The worklist of a visit.

    Attributes
    ----------
    title, heading, organ : str
        ``title`` names the document, ``heading`` stands over its first page.
    day : date
    strip : str
        One line for the head of every page: air and reference pitch.
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
    language : str
        BCP 47.
    """

    title: str
    heading: str
    organ: str
    day: date
    strip: str
    facts: tuple[Fact, ...]
    references: tuple[Fact, ...]
    cautions: tuple[CautionLine, ...]
    deference: str
    groups: tuple[RankGroup, ...]
    nothing: str
    curve: PlanCurve | None = None
    language: str = "en"


# ------------------------------------------------------------------ the visit report


class Mark(StrEnum):
    """How a reading is drawn; the shape tells, never a colour."""

    IN = "in"  # within the stray limit
    SHARP = "sharp"  # beyond it
    FLAT = "flat"
    CARE = "care"  # has a value and a flag


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """One pipe of a chart.

    Attributes
    ----------
    semitone : int
        Of its key; its place along the chart.
    key : str
    cents : float or None
        None where the pipe could not be read.
    two_sigma_cents : float
        Half the length of the error bar.
    mark : Mark
    word : str
        The flag in one word; empty without one.
    left_cents : float or None
        Where it was left, where it was heard again.
    """

    semitone: int
    key: str
    cents: float | None
    two_sigma_cents: float = 0.0
    mark: Mark = Mark.IN
    word: str = ""
    left_cents: float | None = None


@dataclass(frozen=True, slots=True)
class ChartLine:
    """A level across the chart.

    Attributes
    ----------
    cents : float
    words, meaning : str
        In the chart, and in a sentence.
    is_target : bool
        Whether it is the line to tune to.
    """

    cents: float
    words: str
    meaning: str
    is_target: bool


@dataclass(frozen=True, slots=True)
class RankChart:
    """Cents against key for one rank.

    Attributes
    ----------
    heading : str
    caption : str
        The same in words.
    lowest, highest : int
        Semitones of the first and last key.
    points : tuple of ChartPoint
    lines : tuple of ChartLine
    stray_cents : float
        Half the width of the band in which a pipe counts as in tune.
    """

    heading: str
    caption: str
    lowest: int
    highest: int
    points: tuple[ChartPoint, ...]
    lines: tuple[ChartLine, ...]
    stray_cents: float


@dataclass(frozen=True, slots=True)
class FlagRow:
    """One pipe left out or to be taken with care."""

    rank: str
    key: str
    pipe: str
    value: str
    why: str


@dataclass(frozen=True, slots=True)
class FaultRow:
    """One fault: what, where, as reported, whether it is fixed, and who sees to it."""

    kind: str
    place: str
    words: str
    stands: str
    repair: str = ""


@dataclass(frozen=True, slots=True)
class VisitReport:
    """The report of a visit for the venue.

    Attributes
    ----------
    title, heading, organ : str
        ``title`` names the document, ``heading`` stands over the pages for the file.
    day : date
    front : FrontPage
        Page 1.
    strip : str
        One line for the head of every page.
    facts : tuple of Fact
    summary : tuple of Passage
        The measured figures in words, after page 1.
    charts : tuple of RankChart
    flags : tuple of FlagRow
    faults : tuple of FaultRow
    nothing : str
        What to say where nothing was read.
    notices : tuple of str
        About the recordings.
    language : str
        BCP 47.
    """

    title: str
    heading: str
    organ: str
    day: date
    front: FrontPage
    strip: str
    facts: tuple[Fact, ...]
    summary: tuple[Passage, ...]
    charts: tuple[RankChart, ...]
    flags: tuple[FlagRow, ...]
    faults: tuple[FaultRow, ...]
    nothing: str
    notices: tuple[str, ...] = ()
    language: str = "en"
