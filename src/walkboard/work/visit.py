"""A visit from arrival to closing: recordings in, readings, plan, ticks."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard import __version__
from walkboard.book.files.sounds import sha256_of
from walkboard.book.records import (
    Conditions,
    KeptOrgan,
    KeptRecording,
    KeptVisit,
    Tick,
    TickState,
)
from walkboard.condition.assess import assess
from walkboard.condition.state import Condition
from walkboard.errors import BookError, InputError, SoundError
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.plausible import AIR_CELSIUS, HUMIDITY_PERCENT, WIND_MM
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.work.hear_recordings import ToHear, hear_files
from walkboard.work.open_book import now
from walkboard.work.pipe_offsets import latest_air, pipe_cents_of_visit
from walkboard.work.processes import ProgressOfEach
from walkboard.work.remembered import besides, earlier_sounds

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
        If the organ has no such division.
    InputError
        When a figure is out of range.
    """
    for division in (*air_celsius, *wind_mm):
        organ.division(division)
    AIR_CELSIUS.check_each(air_celsius)
    WIND_MM.check_each(wind_mm)
    if humidity is not None:
        HUMIDITY_PERCENT.check(100.0 * humidity)
    return Conditions(dict(air_celsius), humidity, dict(wind_mm))


def air_of_stops(organ: Organ, visit: KeptVisit, drawn: Sequence[str]) -> float | None:
    """The air noted for some stops: that of their ranks' division [°C]."""
    celsius = latest_air(visit).celsius
    divisions = {
        organ.rank(plays.rank).division for stop in organ.stops_among(drawn) for plays in stop.plays
    }
    known = [celsius[division] for division in sorted(divisions) if division in celsius]
    return sum(known) / len(known) if known else None


def take_in(
    book: Book,
    kept: KeptOrgan,
    visit: KeptVisit,
    paths: Sequence[Path],
    drawn: Sequence[str],
    *,
    taken: Callable[[KeptRecording], None],
    air_celsius: float | None = None,
    sure: bool = False,
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
    sure : bool
        Whether the tuner is sure that these stops were drawn.
    processes, progress : see `walkboard.work.hear_recordings.hear_files`

    Raises
    ------
    BookError
        When the visit is closed.
    InputError
        When some cannot be heard, after the others were kept.
    """
    if not visit.is_open:
        raise BookError(f"Visit {visit.id} is closed.", fix="Open a new one.")
    organ = read_organ(kept.description)
    if air_celsius is None:
        air_celsius = air_of_stops(organ, visit, drawn)
    earlier = earlier_sounds(book, kept.id, organ, drawn)
    recordings = [
        ToHear(
            path,
            kept.description,
            tuple(drawn),
            air_celsius,
            before=besides(earlier, sha256_of(path)) if earlier and path.is_file() else {},
            sure=sure,
        )
        for path in paths
    ]

    def keep(number: int, walk: HeardWalk) -> None:
        taken(keep_heard(book, visit, paths[number], walk))

    hear_files(recordings, keep, processes=processes, progress=progress)


def keep_heard(book: Book, visit: KeptVisit, path: Path, walk: HeardWalk) -> KeptRecording:
    """Keep a recording that was heard already.

    Raises
    ------
    SoundError
        If it is not a walk, or is of a different stop than stated; nothing is stored then.
    """
    refuse_nothing_heard(walk)
    return book.keep_recording(visit.id, path, walk, program_version=__version__)


def refuse_nothing_heard(walk: HeardWalk) -> None:
    """SoundError if it is not a walk, or is of a different stop than stated."""
    if walk.heard is not None and not walk.holds:
        raise SoundError(
            walk.heard.sentence, fix="Say which stops were drawn, or leave the recording out."
        )


def condition_of(book: Book, organ: Organ, visit: KeptVisit) -> Condition:
    """Each division's shift and air, and the temperament, from a visit's readings."""
    return assess(organ, pipe_cents_of_visit(book, organ, visit), latest_air(visit).celsius)


def tick(
    book: Book, organ: Organ, visit: KeptVisit, pipe: PipeRef, *, state: TickState, note: str
) -> Tick:
    """Tick one pipe.

    Raises
    ------
    UnknownNameError
        If the organ has no such rank.
    InputError
        If the rank has no such pipe.
    """
    rank = organ.rank(pipe.rank)
    if pipe.number > rank.pipes:
        raise InputError(f"{rank.id} has {rank.pipes} pipes, so there is no {pipe}.")
    return book.set_tick(Tick(uuid.uuid4().hex, visit.id, pipe, state.value, note, now()))
