"""Practice beside the server: an invented organ sounds live and reacts to moves.

It uses a separate book in a temporary folder, so nothing reaches the desk's book. One runs at a
time; it ends after a minute without viewers.
"""

from __future__ import annotations

import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from walkboard.book.records import Conditions
from walkboard.desk.live.session import Ended, LiveRun
from walkboard.desk.text.catalogue import say
from walkboard.errors import InputError
from walkboard.organ.model import PipeRef
from walkboard.work.live.values import Shown

if TYPE_CHECKING:
    from walkboard.demo.practice.lesson import Lesson
    from walkboard.demo.practice.organ import PracticeOrgan
    from walkboard.desk.live.hub import Hub
    from walkboard.organ.model import Organ

TOPIC = "practice"
MOVES_CENTS = {"touch": 0.4, "little": 1.5, "more": 6.0}
_HANDLED_S = 1.2  # time a hand stays on a pipe for one move
_ALONE_S = 60.0


@dataclass(eq=False)
class _Running:
    """A practice that runs."""

    run: LiveRun
    sounding: PracticeOrgan
    lesson: Lesson
    folder: tempfile.TemporaryDirectory[str]
    book: Any
    at: PipeRef | None
    is_held: bool = False
    looked_s: float = field(default_factory=time.monotonic)
    hand: threading.Timer | None = None


class Practising:
    """The practice of a desk, or none."""

    def __init__(self) -> None:
        self._running: _Running | None = None
        self._lock = threading.RLock()
        self._hub: Hub | None = None

    @property
    def lesson(self) -> Lesson | None:
        """The practice organ; None while nothing runs."""
        running = self._running
        return None if running is None or running.run.is_over else running.lesson

    @property
    def is_held(self) -> bool:
        """Whether the key holder holds the keys."""
        return self._running is not None and self._running.is_held

    def start(self, hub: Hub) -> None:
        """Start a new lesson, unless one is running."""
        with self._lock:
            if self.lesson is not None:
                return
            self._hub = hub
            self._running = self._made(hub)
            self._running.run.start()

    def stop(self) -> None:
        """End and discard it."""
        with self._lock:
            running = self._running
        if running is not None:
            running.run.stop()

    def hold(self, is_held: bool) -> None:
        """Make the key holder hold the current pipe's key and follow, or release."""
        running = self._surely()
        with self._lock:
            running.is_held = is_held
            if is_held and running.at is not None:
                running.sounding.hold(running.at)
            else:
                running.sounding.release()

    def move(self, cents: float) -> None:
        """Move the pipe at hand, + is sharper, with a hand on it for a second."""
        running = self._surely()
        pipe = running.at
        if pipe is None:
            return
        with self._lock:
            if running.hand is not None:
                running.hand.cancel()
            running.sounding.touch(pipe)
            running.sounding.move_cents(pipe, cents)
            running.hand = threading.Timer(_HANDLED_S, running.sounding.let_go, (pipe,))
            running.hand.daemon = True
            running.hand.start()

    def skip(self) -> None:
        """Leave the pipe at hand for later."""
        self._surely().run.skip()

    def undo(self) -> None:
        """Undo the last thing reported about a pipe."""
        self._surely().run.undo()

    def _surely(self) -> _Running:
        running = self._running
        if running is None or running.run.is_over:
            raise InputError(say("practice.not_running"), fix=say("practice.not_running_fix"))
        return running

    def _made(self, hub: Hub) -> _Running:
        import numpy as np  # noqa: PLC0415 - the whole of practice is loaded when it is asked for

        from walkboard.capture.playing import RealTime  # noqa: PLC0415
        from walkboard.demo.practice.lesson import make_lesson  # noqa: PLC0415
        from walkboard.demo.practice.organ import PracticeOrgan  # noqa: PLC0415
        from walkboard.work import open_book  # noqa: PLC0415
        from walkboard.work.live.flow import TOLERANCE_CENTS  # noqa: PLC0415
        from walkboard.work.live.session import Place, TuningSession  # noqa: PLC0415
        from walkboard.work.live.values import Task  # noqa: PLC0415

        rng = np.random.default_rng()
        lesson = make_lesson(rng)
        folder = tempfile.TemporaryDirectory(prefix="walkboard-practice-")
        book = open_book.new(Path(folder.name) / "book")
        kept = book.add_organ(lesson.organ.name, lesson.description)
        visit = book.open_visit(
            kept.id,
            say("practice.purpose"),
            minutes=60.0,
            conditions=Conditions(air_celsius=lesson.air_celsius),
        )
        sounding = PracticeOrgan(lesson.pipes, RealTime(), rng)
        organ = lesson.organ
        tasks = [
            Task(ref, organ.rank(ref.rank).key_of(ref.number), _stop_of(organ, ref), pipe.target_hz)
            for ref, pipe in lesson.pipes.items()
        ]
        session = TuningSession(Place(book, kept, organ, visit), sounding, tasks)
        run = LiveRun(
            session,
            hub,
            "practice",
            tolerance_cents=TOLERANCE_CENTS,
            topic=TOPIC,
            seen=self._see,
            ended=self._over,
        )
        return _Running(run, sounding, lesson, folder, book, tasks[0].pipe)

    def _see(self, shown: Shown) -> None:
        """Follow the worklist as a key holder does; end when nobody is watching."""
        running, hub = self._running, self._hub
        if running is None or hub is None:
            return
        pipe = None if shown.task is None else shown.task.pipe
        if pipe != running.at:
            with self._lock:
                running.at = pipe
                if running.is_held and pipe is not None:
                    running.sounding.hold(pipe)
                elif running.is_held:
                    running.sounding.release()
        now_s = time.monotonic()
        if hub.followers(TOPIC):
            running.looked_s = now_s
        elif now_s - running.looked_s > _ALONE_S:
            running.sounding.close()

    def _over(self, _: Ended) -> None:
        running = self._running
        if running is not None:
            if running.hand is not None:
                running.hand.cancel()
            running.book.close()
            running.folder.cleanup()


def _stop_of(organ: Organ, ref: PipeRef) -> str:
    """A stop that plays a pipe's rank."""
    return next(s.id for s in organ.stops if any(p.rank == ref.rank for p in s.plays))
