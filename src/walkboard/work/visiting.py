"""A visit from arrival to closing: recordings in, readings, plan, ticks."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard import __version__
from walkboard.book.records import (
    Conditions,
    KeptPlan,
    KeptRecording,
    KeptVisit,
    Tick,
    TickState,
)
from walkboard.condition.assessing import assess
from walkboard.condition.state import Condition
from walkboard.errors import BookError, InputError
from walkboard.organ.model import Organ, PipeRef
from walkboard.planning.planning import make_plan
from walkboard.survey.heard import HeardWalk
from walkboard.survey.hearing import Progress
from walkboard.work.keeping import now
from walkboard.work.listening import hear_file
from walkboard.work.standing import latest_air, standing_pipes

if TYPE_CHECKING:
    from walkboard.book.keeping import Book


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
    organ: Organ,
    visit: KeptVisit,
    path: Path,
    drawn: Sequence[str],
    *,
    air_celsius: float | None = None,
    progress: Progress | None = None,
) -> KeptRecording:
    """Hear a recording and keep it with its readings, all of it or nothing.

    Parameters
    ----------
    air_celsius : float or None
        The air of these pipes [°C]; None takes what the visit noted.
    """
    if not visit.is_open:
        raise BookError(f"Visit {visit.id} is closed.", mend="Open a new one.")
    air = air_of_stops(organ, visit, drawn) if air_celsius is None else air_celsius
    walk = hear_file(path, organ, drawn, air, progress=progress)
    return keep_heard(book, visit, path, walk)


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
) -> KeptPlan:
    """Plan what is left of a visit and keep the plan.

    Raises
    ------
    InputError
        When no minutes are known, or nothing was heard yet.
    """
    minutes = visit.minutes if minutes is None else minutes
    if minutes is None or minutes < 0.0:
        raise InputError("The visit's minutes are not known.", mend="Give --minutes.")
    pipes = standing_pipes(book, organ, visit)
    if not pipes:
        raise InputError(
            "There is no usable reading to plan with.",
            mend="Take in a recording with 'walkboard visit take' first.",
        )
    condition = assess(organ, pipes, latest_air(visit).celsius)
    plan = make_plan(organ, condition, pipes, minutes, event_air_celsius=event_air_celsius)
    return book.keep_plan(visit.id, plan, event_air_celsius=event_air_celsius)


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
