"""The report as it is drawn."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from walkboard.sheets.front_page.news import FrontPage
from walkboard.sheets.values.head import SheetHead
from walkboard.sheets.values.passages import Fact, Passage


class Mark(StrEnum):
    """How a reading is drawn; shape shows it, never colour."""

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
        Semitone of its key; its place along the chart.
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
class Picture:
    """A photograph to print.

    Attributes
    ----------
    shows : str
        What is to be seen; also read aloud in its place.
    rights : str
        Whose it is and who may see it; printed under it.
    content : bytes
        Of the file.
    ending : str
        ``png`` or ``jpg``.
    """

    shows: str
    rights: str
    content: bytes
    ending: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitReport(SheetHead):
    """The report of a visit for the venue.

    Attributes
    ----------
    front : FrontPage
        Page 1.
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
    pictures : tuple of Picture
    """

    front: FrontPage
    facts: tuple[Fact, ...]
    summary: tuple[Passage, ...]
    charts: tuple[RankChart, ...]
    flags: tuple[FlagRow, ...]
    faults: tuple[FaultRow, ...]
    nothing: str
    notices: tuple[str, ...] = ()
    pictures: tuple[Picture, ...] = ()
