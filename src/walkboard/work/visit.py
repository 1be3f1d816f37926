"""A visit from arrival to closing: recordings in, readings, plan, ticks."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard import __version__
from walkboard.book.records import (
    Conditions,
    KeptOrgan,
    KeptPlan,
    KeptRecording,
    KeptVisit,
    Tick,
    TickState,
)
from walkboard.condition.assess import assess
from walkboard.condition.state import Condition
from walkboard.errors import BookError, InputError
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.planning.choose.curve import EVERY_MINUTES
from walkboard.planning.plan import Plan
from walkboard.planning.what_if import EventAir, Prepared, Question, prepare
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.work.hear_recordings import ToHear, hear_files
from walkboard.work.open_book import now
from walkboard.work.pipe_offsets import latest_air, standing_pipes
from walkboard.work.plan_request import Asked, air_courses, changes_of, with_faults
from walkboard.work.processes import ProgressOfEach

if TYPE_CHECKING:
    from walkboard.book.keeping import Book


@dataclass(frozen=True, slots=True)
class Tried:
    """A plan that was tried, beside the one that stands."""

    plan: Plan
    standing: Plan | None

    @property
    def more(self) -> int:
        """Pipes that the standing plan has not."""
        return len(self._pipes(self.plan) - self._pipes(self.standing))

    @property
    def fewer(self) -> int:
        """Pipes of the standing plan that it has not."""
        return len(self._pipes(self.standing) - self._pipes(self.plan))

    def _pipes(self, plan: Plan | None) -> set[PipeRef]:
        return set() if plan is None else {item.pipe for item in plan.items}


def checked_conditions(
    organ: Organ,
    air_celsius: Mapping[str, float],
    humidity: float | None,
    wind_mm: Mapping[str, float],
) -> Conditions:
    """Conditions of divisions that the organ has, within what a church can be.

    Raises
    ------
    UnknownNameError
        When the organ has not such a division.
    InputError
        When a figure cannot be right.
    """
    for division in (*air_celsius, *wind_mm):
        organ.division(division)
    _within(air_celsius.values(), -10.0, 45.0, "Air", "°C")
    _within(wind_mm.values(), 10.0, 3000.0, "Wind", "mm of water")
    if humidity is not None:
        _within([humidity], 0.0, 1.0, "Relative humidity", "as a part of 1 (55 % is 0.55)")
    return Conditions(dict(air_celsius), humidity, dict(wind_mm))


def air_of_stops(organ: Organ, visit: KeptVisit, drawn: Sequence[str]) -> float | None:
    """The air noted for some stops: that of the division in which their ranks stand [°C]."""
    celsius = latest_air(visit).celsius
    divisions = {
        organ.rank(plays.rank).division for stop in drawn for plays in organ.stop(stop).plays
    }
    told = [celsius[division] for division in sorted(divisions) if division in celsius]
    return sum(told) / len(told) if told else None


def take_in(
    book: Book,
    kept: KeptOrgan,
    visit: KeptVisit,
    paths: Sequence[Path],
    drawn: Sequence[str],
    *,
    taken: Callable[[KeptRecording], None],
    air_celsius: float | None = None,
    processes: int | None = None,
    progress: ProgressOfEach | None = None,
) -> None:
    """Hear recordings of the same stops and keep each with its readings, all of it or nothing.

    Parameters
    ----------
    book : Book
    kept : KeptOrgan
    visit : KeptVisit
    paths : sequence of Path
    drawn : sequence of str
    taken : callable
        Called with each as soon as the book has it, in the order of the paths.
    air_celsius : float or None
        The air of these pipes [°C]; None takes what the visit noted.
    processes, progress : see `walkboard.work.hear_recordings.hear_files`

    Raises
    ------
    BookError
        When the visit is closed.
    InputError
        When some cannot be heard, after the others were kept.
    """
    if not visit.is_open:
        raise BookError(f"Visit {visit.id} is closed.", mend="Open a new one.")
    if air_celsius is None:
        air_celsius = air_of_stops(read_organ(kept.description), visit, drawn)
    recordings = [ToHear(path, kept.description, tuple(drawn), air_celsius) for path in paths]

    def keep(number: int, walk: HeardWalk) -> None:
        taken(keep_heard(book, visit, paths[number], walk))

    hear_files(recordings, keep, processes=processes, progress=progress)


def keep_heard(book: Book, visit: KeptVisit, path: Path, walk: HeardWalk) -> KeptRecording:
    """Keep a recording that was heard already."""
    return book.keep_recording(visit.id, path, walk, program_version=__version__)


def condition_of(book: Book, organ: Organ, visit: KeptVisit) -> Condition:
    """Each division's shift and air, and the temperament, from a visit's readings."""
    return assess(organ, standing_pipes(book, organ, visit), latest_air(visit).celsius)


def plan_visit(
    book: Book,
    organ: Organ,
    visit: KeptVisit,
    minutes: float | None,
    event_air_celsius: float | None,
    *,
    asked: Asked | None = None,
    faults_too: bool = False,
) -> KeptPlan:
    """Plan what is left of a visit and keep the plan.

    Parameters
    ----------
    book : Book
    organ : Organ
    visit : KeptVisit
    minutes : float or None
        None: the visit's own.
    event_air_celsius : float or None
        Overrules what is asked.
    asked : Asked, optional
    faults_too : bool
        Whether every pipe with a standing fault must be seen to.

    Raises
    ------
    InputError
        When no minutes are known, nothing was heard yet, or what is asked cannot be.
    NotEnoughMinutesError
        When what must be done does not fit.
    """
    asked = asked or Asked()
    if event_air_celsius is not None:
        asked = replace(asked, event_air_celsius={"": event_air_celsius})
    question = question_of_visit(book, organ, visit, minutes, asked, faults_too=faults_too)
    plan = prepare_visit(book, organ, visit).plan(question)
    return book.keep_plan(visit.id, plan, event_air_celsius=_one_air(question.event_air_celsius))


def question_of_visit(
    book: Book,
    organ: Organ,
    visit: KeptVisit,
    minutes: float | None,
    asked: Asked,
    *,
    faults_too: bool = False,
) -> Question:
    """What is asked of the plan of a visit.

    Raises
    ------
    InputError
        When no minutes are known, or what is asked cannot be.
    """
    minutes = visit.minutes if minutes is None else minutes
    if minutes is None or minutes < 0.0:
        raise InputError("The visit's minutes are not known.", mend="Give --minutes.")
    question = replace(
        asked.question(organ, minutes), curve_every_minutes=EVERY_MINUTES, prove_order=True
    )
    if faults_too:
        standing = book.standing_faults(visit.organ_id)
        question = replace(question, demands=with_faults(organ, question.demands, standing))
    return question


def try_plan(
    book: Book,
    organ: Organ,
    visit: KeptVisit,
    minutes: float | None,
    asked: Asked,
    *,
    faults_too: bool = False,
) -> Tried:
    """The plan that would be, beside the one that stands; nothing is kept.

    Raises
    ------
    InputError, NotEnoughMinutesError
        As `plan_visit`.
    """
    question = question_of_visit(book, organ, visit, minutes, asked, faults_too=faults_too)
    standing = book.current_plan(visit.id)
    return Tried(
        prepare_visit(book, organ, visit).plan(question),
        None if standing is None else standing.plan,
    )


def prepare_visit(book: Book, organ: Organ, visit: KeptVisit) -> Prepared:
    """What the plans of a visit have in common, as it stands now.

    Raises
    ------
    InputError
        When nothing usable was heard yet.
    """
    pipes = standing_pipes(book, organ, visit)
    if not pipes:
        raise InputError(
            "There is no usable reading to plan with.",
            mend="Take in a recording with 'walkboard visit take' first.",
        )
    return prepare(
        organ,
        assess(organ, pipes, latest_air(visit).celsius),
        pipes,
        changes=changes_of(book, visit.organ_id),
        air=air_courses(visit, now()),
    )


def _one_air(air: EventAir) -> float | None:
    """The event's air as one figure: the mean of the divisions'."""
    if air is None or isinstance(air, float | int):
        return air
    return sum(air.values()) / len(air)


def tick(
    book: Book, organ: Organ, visit: KeptVisit, pipe: PipeRef, *, state: TickState, note: str
) -> Tick:
    """Tick one pipe.

    Raises
    ------
    UnknownNameError
        When the organ has not such a rank.
    InputError
        When the rank has not such a pipe.
    """
    rank = organ.rank(pipe.rank)
    if pipe.number > rank.pipes:
        raise InputError(f"{rank.id} has {rank.pipes} pipes, so there is no {pipe}.")
    return book.set_tick(Tick(uuid.uuid4().hex, visit.id, pipe, state.value, note, now()))


def _within(values: Iterable[float], low: float, high: float, what: str, unit: str) -> None:
    for value in values:
        if not low <= value <= high:
            raise InputError(
                f"{what} of {value:g} cannot be right.",
                mend=f"It runs from {low:g} to {high:g} {unit}.",
            )
