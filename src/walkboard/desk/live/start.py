"""Makes a live session of a visit: its source, pipes and reference."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from walkboard.book.records import TickState
from walkboard.desk.live.browser_source import HandedSound
from walkboard.desk.live.session import BesideOf, Ended, LiveRun
from walkboard.desk.text.catalogue import say
from walkboard.errors import InputError, UnknownNameError
from walkboard.organ.model import Organ, PipeRef, Stop
from walkboard.organ.targets import target_hz
from walkboard.work.live.values import FOLDER, Task
from walkboard.work.pipe_offsets import latest_air
from walkboard.work.worklist import WorkGroup, work_groups

if TYPE_CHECKING:
    from walkboard.book.cache.seen import SeenBook
    from walkboard.book.keeping import Book
    from walkboard.book.records import KeptOrgan, KeptVisit
    from walkboard.capture.microphone import Device
    from walkboard.capture.source import Source
    from walkboard.desk.live.hub import Hub
    from walkboard.listening.types import Comb


class OpenVisit(Protocol):
    """A visit with the organ as it was described when it was opened."""

    @property
    def book(self) -> SeenBook:
        """The book that it is in."""

    @property
    def hub(self) -> Hub:
        """The live channel."""

    @property
    def kept(self) -> KeptOrgan:
        """The organ in the book."""

    @property
    def organ(self) -> Organ:
        """The organ."""

    @property
    def visit(self) -> KeptVisit:
        """The visit."""


MICROPHONE, BROWSER, FILE = "microphone", "browser", "file"


def devices() -> tuple[tuple[Device, ...], str]:
    """The machine's microphones; if there are none, why."""
    from walkboard.capture.microphone import microphones  # noqa: PLC0415 - slow to load

    try:
        found = microphones()
    except InputError as error:
        return (), str(error)
    return found, "" if found else say("live.no_microphone")


def microphone(name: str) -> Source:
    """The machine's microphone; InputError if it cannot be opened."""
    from walkboard.capture.microphone import Microphone  # noqa: PLC0415 - slow to load

    return Microphone(name or None)


def browser_microphone(sample_rate: int) -> HandedSound:
    """The microphone of the browser on this machine."""
    return HandedSound(sample_rate, say("live.browser_name"))


def played(path: Path, name: str) -> Source:
    """A recording played in real time; SoundError if it cannot be read."""
    from walkboard.capture.playing import RealTime, play_file  # noqa: PLC0415 - slow to load

    source = play_file(path, RealTime())
    source.name = name
    return source


def take_in_killed(book: Book, visit_id: int | None = None) -> None:
    """Store the recordings of killed sessions, of one visit or of all."""
    if not any((book.path / FOLDER).glob("*.jsonl")):
        return
    from walkboard.work.live.leftovers import take_in_left_over  # noqa: PLC0415 - slow to load

    take_in_left_over(book, visit_id)


def make_run(at: OpenVisit, source: Source, kind: str, ended: Callable[[Ended], None]) -> LiveRun:
    """A session of the open visit, over the pipes of its worklist that are not done.

    Raises
    ------
    BookError
        When the visit has no worklist.
    InputError
        If nothing on it is left, or the recording cannot be written.
    """
    from walkboard.work.live.flow import TOLERANCE_CENTS  # noqa: PLC0415 - slow to load
    from walkboard.work.live.session import Place, TuningSession  # noqa: PLC0415 - slow to load

    tasks = tasks_of_groups(work_groups(at.book, at.visit) or ())
    if not tasks:
        raise InputError(say("live.no_work_what"), fix=say("live.no_work_fix"))
    session = TuningSession(Place(at.book, at.kept, at.organ, at.visit), source, tasks)
    return LiveRun(session, at.hub, kind, tolerance_cents=TOLERANCE_CENTS, ended=ended)


def tasks_of_groups(groups: tuple[WorkGroup, ...]) -> tuple[Task, ...]:
    """The pipes not done, in the order of the page at the pipe.

    Skipped ones come last.
    """
    steps = [step for group in groups for step in group.steps if step.state is not TickState.DONE]
    steps.sort(key=lambda step: step.state is TickState.SKIPPED)
    return tuple(
        Task(s.item.pipe, s.held.key, s.held.stop.id, s.item.target_hz, s.item.why)
        for s in steps
        if s.held is not None
    )


def reference_stops(organ: Organ) -> tuple[Stop, ...]:
    """The stops that can sound as a reference: flues of one rank."""
    return tuple(
        stop
        for stop in organ.stops
        if len(stop.plays) == 1 and organ.rank(stop.plays[0].rank).family.is_flue
    )


def beside(at: OpenVisit, stop_id: str) -> BesideOf:
    """Which pipe of a stop sounds with each pipe of the worklist: that of the same key.

    Where it was heard at this visit it is expected there, else at its target.

    Raises
    ------
    UnknownNameError
        When there is no such stop.
    """
    from walkboard.listening.types import Comb  # noqa: PLC0415 - slow to load
    from walkboard.survey.kinds import spectrum_of  # noqa: PLC0415 - slow to load

    stop = at.organ.stop(stop_id)
    keys = {task.pipe: task.key for task in tasks_of_groups(work_groups(at.book, at.visit) or ())}
    air = latest_air(at.visit).celsius

    def of(pipe: PipeRef) -> Comb | None:
        key = keys.get(pipe)
        try:
            found = () if key is None else stop.pipes_at(key)
        except UnknownNameError:
            return None
        if not found or found[0] == pipe:
            return None
        rank = at.organ.rank(found[0].rank)
        heard = at.book.best_readings(at.visit.id).get(found[0])
        hz = None if heard is None else heard.reading.hz_or_none
        if hz is None:
            hz = target_hz(at.organ, found[0], air.get(rank.division))
        return Comb(str(found[0]), hz, spectrum_of(at.organ, found[0]))

    return of
