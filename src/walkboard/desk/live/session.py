"""A live session beside the server: one thread listens, updates the pages, and handles their
requests.

The thread owns the session, so there is no concurrent access: a page's request waits until the next
block. Every update goes to the hub, where the newest wins; a slow phone delays nothing.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from walkboard.book.records import TickState
from walkboard.desk.live.block_queue import GatheredBlocks
from walkboard.desk.live.messages import key_state, live_message
from walkboard.errors import InputError, WalkboardError
from walkboard.organ.model import PipeRef
from walkboard.work.live.values import Outcome, Shown, Step

if TYPE_CHECKING:
    from walkboard.capture.source import Source
    from walkboard.desk.live.bearings import Laying
    from walkboard.desk.live.hub import Hub
    from walkboard.listening.types import Comb
    from walkboard.work.live.session import TuningSession

TOPIC = "listening"
_CLOSING_S = 20.0
_NEWS_S = 20.0
_AGAIN_S = 1.0  # interval at which an unchanged state is sent again to the key holder

BesideOf = Callable[["PipeRef"], "Comb | None"]


@dataclass(frozen=True, slots=True)
class Ended:
    """How a session ended: its file in the book, and what went wrong."""

    file: str = ""
    trouble: str = ""


class LiveRun:
    """A session that runs.

    Parameters
    ----------
    session : TuningSession
    hub : Hub
    kind : str
        Kind of source: ``microphone``, ``browser``, ``file``, ``practice``.
    tolerance_cents : float
        Tolerance of the session; sent to the pages, which draw it.
    topic : str
        Topic on which it is sent.
    seen : callable
        Called with every update, from its thread.
    passes : callable, optional
        Whether to skip the next pipe; default: if it is ticked in the book.
    laying : Laying, optional
        Its bearings.
    ended : callable
        Called once, from its thread, when it is over and stored.

    Attributes
    ----------
    reference : str
        Id of the reference stop; empty if there is none.
    """

    def __init__(
        self,
        session: TuningSession,
        hub: Hub,
        kind: str,
        *,
        tolerance_cents: float,
        topic: str = TOPIC,
        seen: Callable[[Shown], None] = lambda _: None,
        passes: Callable[[PipeRef], bool] | None = None,
        laying: Laying | None = None,
        ended: Callable[[Ended], None] = lambda _: None,
    ) -> None:
        self.session = session
        self.kind = kind
        self._hub = hub
        self._topic = topic
        self._tolerance = tolerance_cents
        self._seen = seen
        self._passes = passes or self._is_ticked
        self.laying = laying
        self._ended = ended
        self._asked: deque[Callable[[], object]] = deque()
        self._blocks = GatheredBlocks(session.source)
        self._number = 0
        self._sent_key: tuple[object, float] = (None, 0.0)
        self._finished: dict[str, Any] | None = None
        self._finished_s = 0.0
        self._withdrawn: dict[str, Any] | None = None
        self._withdrawn_s = 0.0
        self.reference = ""
        self._beside: BesideOf | None = None
        self._beside_pipe: PipeRef | None = None
        self._thread = threading.Thread(target=self._run, daemon=True, name="live session")

    @property
    def source(self) -> Source:
        """What is heard."""
        return self.session.source

    @property
    def visit_id(self) -> int:
        """Whose worklist it is."""
        return self.session.place.visit.id

    @property
    def is_over(self) -> bool:
        """Whether it is over."""
        return not self._thread.is_alive()

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def stop(self) -> None:
        """End it and wait until it is stored."""
        self.source.close()
        if threading.current_thread() is not self._thread:
            self._thread.join(_CLOSING_S)

    def turn_to(self, pipe: PipeRef, *, is_open: bool) -> None:
        """Go to a pipe; one that was called done stays done unless it is open again."""
        self._asked.append(lambda: self._turn(pipe, is_open))

    def skip(self) -> None:
        """Leave the pipe at hand for later."""
        self._asked.append(self.session.skip)

    def undo(self) -> None:
        """Undo the last thing reported about a pipe."""
        self._asked.append(self.session.undo)

    def hear_beside(self, beside: BesideOf | None, reference: str = "") -> None:
        """From now on a reference sounds with each pipe: which, `beside` says; None for none.

        `reference` is the id of its stop, so that a page that is loaded again shows it.
        """
        self.reference = reference

        def do() -> None:
            self._beside, self._beside_pipe = beside, None
            if beside is None:
                self.session.hear_beside(None)

        self._asked.append(do)

    def _turn(self, pipe: PipeRef, is_open: bool) -> None:
        flow = self.session.flow
        if flow.task is not None and flow.task.pipe == pipe:
            return
        result = next((r for r in flow.results if r.task.pipe == pipe), None)
        if result is not None and result.outcome is Outcome.DONE:
            if is_open:
                self.session.come_back(pipe)
            return
        flow.come_back(pipe)

    def _run(self) -> None:
        trouble = ""
        try:
            for block in self._blocks:
                self._do_asked()
                self._see_beside()
                for shown in self.session.hear(block):
                    self._tell(shown, block.start_s + len(block.samples) / self.source.sample_rate)
        except WalkboardError as error:
            trouble = str(error)
        file = ""
        try:
            kept = self.session.close()
            file = "" if kept is None else kept.walk.file
        except WalkboardError as error:
            trouble = trouble or str(error)
        self._hub.tell(
            self._topic,
            {"on": False, "visit": self.visit_id, "file": file, "trouble": trouble},
        )
        self._ended(Ended(file, trouble))

    def _do_asked(self) -> None:
        while self._asked:
            try:
                self._asked.popleft()()
            except WalkboardError:
                continue  # the pipe is not on the session's worklist any more

    def _see_beside(self) -> None:
        """Set the reference that sounds with the current pipe in the tracker."""
        task = self.session.flow.task
        if self._beside is None or task is None or task.pipe == self._beside_pipe:
            return
        self._beside_pipe = task.pipe
        self.session.hear_beside(self._beside(task.pipe))

    def _tell(self, shown: Shown, heard_s: float) -> None:
        session = self.session
        if shown.finished is not None:
            shown = self._past_ticked(shown)
        at_s = heard_s if shown.reading is None else shown.reading.at_s
        self._number += 1
        value: dict[str, Any] = {
            "on": True,
            "n": self._number,
            "visit": self.visit_id,
            "kind": self.kind,
            "source": self.source.name,
            "tolerance": self._tolerance,
            "heard_ms": round(1e3 * (self._blocks.zero_s + at_s), 1),
            **live_message(shown, session.place.organ, session.meter),
        }
        if value["finished"] is not None:
            self._finished, self._finished_s = {**value["finished"], "n": self._number}, heard_s
        elif heard_s - self._finished_s > _NEWS_S:
            self._finished = None
        if value["withdrawn"] is not None:
            self._withdrawn = {**value["withdrawn"], "n": self._number}
            self._withdrawn_s, self._finished = heard_s, None
        elif heard_s - self._withdrawn_s > _NEWS_S:
            self._withdrawn = None
        # Repeated for a while: only a topic's newest value is sent, and these must not be missed.
        value["finished"], value["withdrawn"] = self._finished, self._withdrawn
        self._hub.tell(self._topic, value)
        self._seen(shown)
        if self._topic == TOPIC:
            self._tell_holder(shown)

    def _past_ticked(self, shown: Shown) -> Shown:
        """Skip pipes ticked in the meantime."""
        flow = self.session.flow
        while flow.task is not None and self._passes(flow.task.pipe):
            flow.skip()
        here = flow.show()
        step = Step.DONE if here.task is not None else Step.END
        return Shown(
            step,
            here.task,
            here.next_task,
            shown.reading,
            None,
            shown.forecast,
            shown.words,
            here.done,
            here.total,
            shown.finished,
        )

    def _is_ticked(self, pipe: PipeRef) -> bool:
        place = self.session.place
        state = place.book.pipe_states(place.visit.id).get(pipe)
        return state is not None and state.state != TickState.OPEN.value

    def _tell_holder(self, shown: Shown) -> None:
        state = key_state(shown)
        now_s = time.monotonic()
        before, at_s = self._sent_key
        if state is not None and (state != before or now_s - at_s > _AGAIN_S):
            self._sent_key = (state, now_s)
            self._hub.tell(f"holds.{self.visit_id}", state)
        is_elsewhere = shown.finished is not None or shown.withdrawn is not None
        if is_elsewhere and shown.task is not None:
            self._hub.tell(f"at.{self.visit_id}", {"pipe": str(shown.task.pipe)})


@dataclass(slots=True)
class LiveListening:
    """The one live session of a desk, or none.

    Attributes
    ----------
    last : Ended
        How the session before ended.
    """

    last: Ended = Ended()
    _run: LiveRun | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def run(self) -> LiveRun | None:
        """The session that runs, or None."""
        run = self._run
        return None if run is None or run.is_over else run

    def start(self, make: Callable[[Callable[[Ended], None]], LiveRun]) -> LiveRun:
        """Make a session and start it.

        Parameters
        ----------
        make : callable
            Called with the end callback; returns the session, not yet started.

        Raises
        ------
        InputError
            When one runs already, or what `make` raises.
        """
        with self._lock:
            if self.run is not None:
                raise InputError("A live session runs already.", fix="Stop it first.")
            run = make(self._over)
            self._run = run
            self.last = Ended()
            run.start()
            return run

    def stop(self) -> None:
        """End and store the session, if one is running."""
        run = self.run
        if run is not None:
            run.stop()

    def _over(self, ended: Ended) -> None:
        self.last = ended
