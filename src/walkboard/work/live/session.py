"""A live session at the pipes, connected to the book; driven by a page or a script.

The session records the sound continuously and logs each pipe beside it. On closing, the recording
goes into the book, even if nothing was done, with a hold for each pipe done; the pitch before is in
the tick's note. How pipes settled is stored too, for the next session. `live.leftovers` recovers
what a killed session left. Ticks go into the book at once.
"""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from walkboard.book.records import KeptFault, KeptOrgan, KeptRecording, KeptVisit, Tick, TickState
from walkboard.capture.recording import Recorder
from walkboard.capture.source import Block, Meter, Source
from walkboard.errors import BookError, InputError
from walkboard.listening.live.tracker import UPDATE_S
from walkboard.listening.types import Comb
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.sounding import held_key
from walkboard.planning.plan import PlanItem
from walkboard.work import faults
from walkboard.work.live.flow import TOLERANCE_CENTS, TuningFlow
from walkboard.work.live.leftovers import Berth, take_in
from walkboard.work.live.log import Head, Line, SessionLog, line_of
from walkboard.work.live.values import Outcome, Result, Shown, Task
from walkboard.work.live.warmth import learned_warmth
from walkboard.work.open_book import now
from walkboard.work.pipe_offsets import latest_air

if TYPE_CHECKING:
    from walkboard.book.keeping import Book


@dataclass(frozen=True, slots=True)
class Place:
    """The book, organ and visit of a session.

    Attributes
    ----------
    book : Book
    kept : KeptOrgan
    organ : Organ
    visit : KeptVisit
        Open.
    """

    book: Book
    kept: KeptOrgan
    organ: Organ
    visit: KeptVisit


def tasks_of(organ: Organ, items: Sequence[PlanItem]) -> tuple[Task, ...]:
    """The pipes of a worklist with the stop and key that sound each; drops those without a stop.

    Parameters
    ----------
    organ : Organ
    items : sequence of PlanItem
        In the order of work.
    """
    tasks = []
    for item in sorted(items, key=lambda one: one.order):
        held = held_key(organ, item.pipe)
        if held is not None:
            tasks.append(Task(item.pipe, held.key, held.stop.id, item.target_hz, item.why))
    return tuple(tasks)


class TuningSession:
    """A session: blocks in, updates out, everything stored.

    Parameters
    ----------
    place : Place
    source : Source
    tasks : sequence of Task or None
        None: the visit's plan, without pipes already ticked as done.
    tolerance_cents : float
    update_s : float
        Between two updates [s].
    clock : callable
        Returns the current time, time-zone aware.

    Raises
    ------
    BookError
        If the visit is closed, or it has no plan and no tasks are given.
    InputError
        If the recording cannot be written.
    """

    def __init__(  # noqa: PLR0917
        self,
        place: Place,
        source: Source,
        tasks: Sequence[Task] | None = None,
        tolerance_cents: float = TOLERANCE_CENTS,
        update_s: float = UPDATE_S,
        clock: Callable[[], datetime] = now,
    ) -> None:
        if not place.visit.is_open:
            raise BookError(f"Visit {place.visit.id} is closed.", fix="Open a new one.")
        self.place = place
        self.source = source
        self.meter = Meter()
        self._clock = clock
        self._lock = threading.RLock()
        chosen = _open_tasks(place) if tasks is None else tuple(tasks)
        air = latest_air(place.visit).celsius
        divisions = {place.organ.rank(task.pipe.rank).division for task in chosen}
        airs = {air.get(division) for division in divisions}
        self.flow = TuningFlow(
            place.organ,
            chosen,
            source.sample_rate,
            air,
            tolerance_cents,
            learned_warmth(
                place.organ, place.book.settlings(), place.book.settlings(place.kept.id)
            ),
            update_s,
        )
        self._berth = Berth(place.book.path)
        one_air = airs.pop() if len(airs) == 1 else None
        head = Head(
            visit_id=place.visit.id,
            recorded_at=clock(),
            air_celsius=one_air,
            stop=chosen[0].stop if chosen else "",
        )
        try:
            self._recorder = Recorder(self._berth.sound, source.sample_rate, source.channels)
            self._log = SessionLog(self._berth.log, head)
        except BaseException:
            self._berth.give_up()
            raise
        self._closed = False

    def run(self, tell: Callable[[Shown], None]) -> None:
        """Process the source until it ends, reporting every update; call it in its own thread.

        Raises
        ------
        InputError
            If the disk is full; what was recorded stays.
        """
        for block in self.source.blocks():
            if self._closed:
                return
            for shown in self.hear(block):
                tell(shown)

    def hear(self, block: Block) -> tuple[Shown, ...]:
        """Process one block."""
        with self._lock:
            if self._closed:
                return ()
            self._recorder.take(block)
            self.meter.take(block, self.source.sample_rate)
            shown = self.flow.take(block.samples, block.start_s)
            for one in shown:
                if one.finished is not None:
                    self._keep_done(one.finished)
                if one.withdrawn is not None:
                    self._take_back(one.withdrawn)
            return shown

    def skip(self) -> Shown:
        """Leave the current pipe for later."""
        with self._lock:
            task = self.flow.task
            self.flow.skip()
            if task is not None:
                self._tick(task.pipe, TickState.SKIPPED, "", self._clock())
            return self.flow.show()

    def come_back(self, pipe: PipeRef) -> Shown:
        """Take up a pipe again; UnknownNameError if it is not on the worklist."""
        with self._lock:
            was = {result.task.pipe: result for result in self.flow.results}.get(pipe)
            self.flow.come_back(pipe)
            self._take_back(was)
            return self.flow.show()

    def undo(self) -> Shown:
        """Undo the last result, in the book too."""
        with self._lock:
            last = self.flow.results[-1] if self.flow.results else None
            self.flow.undo()
            self._take_back(last)
            return self.flow.show()

    def note_fault(self, kind: str, words: str) -> KeptFault:
        """Note a fault of the current pipe.

        Raises
        ------
        InputError
            If there is no current pipe, or the kind is not one of the book's.
        """
        with self._lock:
            task = self.flow.task
            if task is None:
                raise InputError("The worklist is finished.", fix="Note it on the faults page.")
            return faults.report(
                self.place.book,
                self.place.kept,
                self.place.organ,
                kind,
                words,
                stop=task.stop,
                key=task.key.name,
                pipe=task.pipe,
            )

    def hear_beside(self, reference: Comb | None) -> None:
        """Expect a reference pipe to sound with the current pipe, or none."""
        with self._lock:
            self.flow.hear_beside(reference)

    def close(self) -> KeptRecording | None:
        """End the session and store its recording; None if nothing was heard in it."""
        with self._lock:
            if self._closed:
                return None
            self._closed = True
        self.source.close()
        with self._lock:
            self._recorder.close()
            try:
                kept = take_in(self.place.book, self.place.organ, self._berth.sound, self._log.path)
            finally:
                self._berth.release()
            self._berth.give_up()
            return kept

    def _keep_done(self, result: Result) -> None:
        self._log.add(line_of(result))
        after = result.after
        began_s = result.handled_s
        if began_s is None:
            began_s = 0.0 if after is None else after.at_s - after.window_s
        at = self._log.head.recorded_at + timedelta(seconds=began_s)
        self._tick(result.task.pipe, TickState.DONE, _note(result), at)

    def _take_back(self, result: Result | None) -> None:
        if result is None:
            return
        if result.outcome is Outcome.DONE:
            pipe = str(result.task.pipe)
            self._log.add(Line(pipe=pipe, stop=result.task.stop, undone=True))
        self._tick(result.task.pipe, TickState.OPEN, "", self._clock())

    def _tick(self, pipe: PipeRef, state: TickState, note: str, at: datetime) -> None:
        self.place.book.set_tick(
            Tick(uuid.uuid4().hex, self.place.visit.id, pipe, state.value, note, at, "at the pipe")
        )


def _open_tasks(place: Place) -> tuple[Task, ...]:
    plan = place.book.current_plan(place.visit.id)
    if plan is None:
        raise BookError(
            f"Visit {place.visit.id} has no plan.", fix="Make one with 'walkboard visit plan'."
        )
    states = place.book.pipe_states(place.visit.id)
    left = [
        item
        for item in plan.plan.items
        if item.pipe not in states or states[item.pipe].state != TickState.DONE
    ]
    return tasks_of(place.organ, left)


def _note(result: Result) -> str:
    """``before −7.3, after +0.1 cents``, for the tick."""
    before = result.before.cents if result.before is not None else None
    parts = [] if before is None else [f"before {_signed(before)}"]
    if result.settled_cents is not None:
        parts.append(f"after {_signed(result.settled_cents)}")
    return f"{', '.join(parts)} cents" if parts else ""


def _signed(cents: float) -> str:
    return f"{cents:+.1f}".replace("-", "−")
