"""Input of page 1: plain facts about one visit, gathered elsewhere."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum


class Question(StrEnum):
    """The fifteen questions a churchwarden asks (common practice, no source)."""

    READY = "Is the organ ready for the next event?"
    WHICH_EVENT = "Which event is that, and when?"
    WHAT_HEARD = "What might people hear if it is not ready?"
    NOT_HEARD = "Which of the stops it needs were not listened to?"
    DONE = "What did you do?"
    LEFT = "What did you leave?"
    WHY_LEFT = "Why?"
    WRONG = "What is wrong with it?"
    AROUND = "Can we play around it?"
    WHO = "Who puts it right?"
    BEFORE = "Has this happened before?"
    HEATING = "What should we do about the heating?"
    CARE = "What else should we look after: doors, humidity?"
    NEXT = "When do you come again?"
    WHY_NEXT = "Why then?"


@dataclass(frozen=True, slots=True)
class EventNews:
    """The next event of the calendar.

    Attributes
    ----------
    title : str
    at : datetime
        In the venue's own time.
    celsius : float or None
        The event's air in the calendar [°C].
    is_ready : bool or None
        Whether its stops are likely to be in tune; None if that is not known.
    weakest : tuple of str
        Names of the stops that may not be, the least certain first.
    not_heard : tuple of str
        Names of its stops that were not listened to at this visit.
    is_faulty : bool
        Whether one of its stops has an open fault.
    """

    title: str
    at: datetime
    celsius: float | None = None
    is_ready: bool | None = None
    weakest: tuple[str, ...] = ()
    not_heard: tuple[str, ...] = ()
    is_faulty: bool = False


@dataclass(frozen=True, slots=True)
class FaultNews:
    """An open fault.

    Attributes
    ----------
    kind : str
        A fault word of the trade; page 1 says it in plain words.
    stop : str
        Name of the stop, with its division; empty if it is not known.
    key : str
        As ``D#3``; empty if it is not known.
    times : int
        How often it was reported at this place, including this time.
    since : int
        Year of the first report.
    who, meanwhile : str
        Who fixes it, and how to play until then; empty if not known.
    """

    kind: str
    stop: str = ""
    key: str = ""
    times: int = 1
    since: int = 0
    who: str = ""
    meanwhile: str = ""


@dataclass(frozen=True, slots=True)
class NextVisitNews:
    """When the tuner comes next, in the venue's own time."""

    at: datetime
    hours: float | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class VenueNews:
    """All input of page 1.

    Attributes
    ----------
    organ : str
    day : date
        Day of the visit.
    event : EventNews or None
    tuned : int
        Pipes tuned at this visit.
    tuned_stops : tuple of str
        Where they were, most pipes first.
    left : int
        Pipes that were planned and not tuned.
    left_reason : str
        The tuner's reason for most of them; empty if time ran out.
    was_planned : bool
        Whether there was a plan at all.
    is_open : bool
        Whether the visit is still open.
    faults : tuple of FaultNews
        Open faults, the newest first.
    tuned_for_celsius : float or None
        The air that the plan was made for [°C].
    enclosed : tuple of str
        Names of the divisions behind shutters.
    humidity : float or None
        Relative, 0 to 1.
    next_visit : NextVisitNews or None
    visit_by : tuple of (date, date) or None
        First and last day of a visit that would make the event's stops ready.
    contact : str
        Contact and how to reach them; may be empty.
    """

    organ: str
    day: date
    event: EventNews | None = None
    tuned: int = 0
    tuned_stops: tuple[str, ...] = ()
    left: int = 0
    left_reason: str = ""
    was_planned: bool = False
    is_open: bool = False
    faults: tuple[FaultNews, ...] = ()
    tuned_for_celsius: float | None = None
    enclosed: tuple[str, ...] = ()
    humidity: float | None = None
    next_visit: NextVisitNews | None = None
    visit_by: tuple[date, date] | None = None
    contact: str = ""


class Language(StrEnum):
    """The languages of page 1."""

    ENGLISH = "en"
    GERMAN = "de"
    FRENCH = "fr"


@dataclass(frozen=True, slots=True)
class Answer:
    """One or two sentences of page 1, and the questions they answer.

    Attributes
    ----------
    questions : tuple of Question
    words : str
    is_known : bool
        False if the text says that the answer is not known.
    """

    questions: tuple[Question, ...]
    words: str
    is_known: bool = True


@dataclass(frozen=True, slots=True)
class Section:
    """A heading of page 1 and its answers."""

    heading: str
    answers: tuple[Answer, ...]


@dataclass(frozen=True, slots=True)
class FrontPage:
    """Page 1 of the report.

    Attributes
    ----------
    language : Language
    title : str
    day : date
        Day of the visit.
    organ : str
    sections : tuple of Section
    """

    language: Language
    title: str
    day: date
    organ: str
    sections: tuple[Section, ...]

    @property
    def answers(self) -> tuple[Answer, ...]:
        """Every answer, in the order of the page."""
        return tuple(answer for section in self.sections for answer in section.answers)

    @property
    def words(self) -> str:
        """The page as one text."""
        parts = [self.title]
        for section in self.sections:
            parts += [section.heading, *(answer.words for answer in section.answers)]
        return "\n".join(parts)
