"""A book that remembers its answers, for pages that ask the same again and again.

`walkboard.book.cache.remembering` has the memory; here is what each question depends on.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from functools import wraps
from pathlib import Path
from typing import Any

from walkboard.book.cache.noting import note, noting
from walkboard.book.cache.remembering import Remembering
from walkboard.book.files.folder import WAIT_S, Clock
from walkboard.book.keeping import Book
from walkboard.book.opening import open_book
from walkboard.book.readings.readings import best_of
from walkboard.book.records import KeptOrgan, KeptReading, KeptSettling, KeptVisit, TickState
from walkboard.book.rows.changes import Changes
from walkboard.book.rows.counting import OF_A_VISIT, Part
from walkboard.organ.model import PipeRef

VISIT = (Part.VISITS, Part.CONDITIONS)


class SeenBook(Remembering, Book):
    """A book with a memory. `open_seen` gives one.

    Its answers are the same as a `Book`'s; do not modify them. To cache more that is calculated
    from a book, use `seen`. `memory` is for what depends on its key alone.
    """

    def close(self) -> None:
        """Close the database; a book may be closed twice."""
        Changes.close(self)
        Book.close(self)

    def organs(self) -> tuple[KeptOrgan, ...]:
        """As `Book.organs`."""
        return self._of_all("organs", (Part.DESCRIPTIONS,), super().organs)

    def newest_visits(self) -> dict[int, KeptVisit]:
        """As `Book.newest_visits`."""
        return self._of_all("newest visits", VISIT, super().newest_visits)

    def settlings(self, organ_id: int | None = None) -> tuple[KeptSettling, ...]:
        """As `Book.settlings`."""
        ask = super().settlings
        if organ_id is None:
            return self._of_all("settlings", (Part.OTHERS,), ask)
        parts = (Part.OTHERS,)
        return self._of_organ(("settlings", organ_id), organ_id, parts, lambda: ask(organ_id))

    def visit(self, visit_id: int) -> KeptVisit:
        """As `Book.visit`; one query for all visits to an organ, instead of one per visit."""
        organ_id = self._organ_id_of(visit_id)
        found = None if organ_id is None else self._visit_of(organ_id, visit_id)
        if organ_id is None or found is None:
            return super().visit(visit_id)
        note(("visit", visit_id), {organ_id}, lambda: self._visit_of(organ_id, visit_id), found)
        return found

    def _visit_of(self, organ_id: int, visit_id: int) -> KeptVisit | None:
        key = ("visits by id", organ_id)
        with noting(None):
            visits = self._of_organ(
                key, organ_id, VISIT, lambda: {v.id: v for v in self.visits(organ_id)}
            )
        return visits.get(visit_id)

    def best_readings(
        self, visit_id: int, *, as_of: datetime | None = None
    ) -> dict[PipeRef, KeptReading]:
        """As `Book.best_readings`; a tick costs no new reading of the database."""

        def work_out() -> dict[PipeRef, KeptReading]:
            tuned_at = {
                pipe: min(tick.at, tick.received_at or tick.at)
                for pipe, tick in self.pipe_states(visit_id).items()
                if tick.state == TickState.DONE
            }
            return best_of(self.readings(visit_id, as_of=as_of), tuned_at)

        return self.seen(("best", visit_id, as_of), work_out)


QUESTIONS_OF_AN_ORGAN: Mapping[str, tuple[Part, ...]] = {
    "organ": (Part.DESCRIPTIONS,),
    "organ_versions": (Part.DESCRIPTIONS,),
    "visits": VISIT,
    "visit_in_progress": VISIT,
    "visit_summaries": (Part.VISITS, Part.HEARINGS, Part.TICKS, Part.PLANS),
    "last_heard": (Part.VISITS, Part.HEARINGS),
    "recording_counts": (Part.VISITS, Part.HEARINGS),
    "count_readings": (Part.VISITS, Part.HEARINGS),
    "readings_of_pipe": (Part.VISITS, Part.HEARINGS),
    "every_reading_of_pipe": (Part.VISITS, Part.HEARINGS),
    "states_of_pipe": (Part.VISITS, Part.TICKS),
    "pipes_now": (Part.VISITS, Part.HEARINGS, Part.TICKS),
    "faults": (Part.FAULTS,),
    "fault_cares": (Part.FAULTS,),
    "events": (Part.EVENTS,),
    "event_versions": (Part.EVENTS,),
    "weights": (Part.OTHERS,),
    "weight_versions": (Part.OTHERS,),
    "next_visit": (Part.OTHERS,),
    "contacts": (Part.OTHERS,),
    "photographs": (Part.OTHERS,),
    "air_logs": (Part.OTHERS,),
}
"""Questions whose first argument is an organ, and what of it they depend on."""

QUESTIONS_OF_A_VISIT: Mapping[str, tuple[Part, ...]] = {
    "recordings": (Part.HEARINGS,),
    "withdrawn_recordings": (Part.HEARINGS,),
    "recording_airs": (Part.HEARINGS,),
    "recording_clocks": (Part.HEARINGS,),
    "recording_labels": (Part.HEARINGS,),
    "readings": (Part.HEARINGS,),
    "every_reading": (Part.HEARINGS,),
    "ranks_heard": (Part.HEARINGS,),
    "pipe_states": (Part.TICKS,),
    "ticks": (Part.TICKS,),
    "tuned_at": (Part.TICKS,),
    # Relabelling or withdrawing a recording outdates a plan, closing the visit keeps it.
    "current_plan": (Part.PLANS, Part.HEARINGS, Part.VISITS),
    "plans": (Part.PLANS, Part.HEARINGS),
    "worklist": (Part.PLANS, Part.HEARINGS, Part.VISITS, Part.TICKS),
    # Names of people never change, and a merge brings them before the facts.
    "recorded_at_visit": OF_A_VISIT,
}
"""Questions whose first argument is a visit, and what of it they depend on."""


def _remembering(name: str, parts: tuple[Part, ...], *, is_of_visit: bool) -> Callable[..., Any]:
    asked = getattr(Book, name)

    @wraps(asked)
    def ask(self: SeenBook, of: int, /, *args: Any, **named: Any) -> Any:
        key = (name, of, args, tuple(sorted(named.items())))
        answer = self._of_visit if is_of_visit else self._of_organ
        return answer(key, of, parts, lambda: asked(self, of, *args, **named))

    return ask


for _name, _parts in QUESTIONS_OF_AN_ORGAN.items():
    setattr(SeenBook, _name, _remembering(_name, _parts, is_of_visit=False))
for _name, _parts in QUESTIONS_OF_A_VISIT.items():
    setattr(SeenBook, _name, _remembering(_name, _parts, is_of_visit=True))


def open_seen(path: Path, *, clock: Clock, wait_s: float = WAIT_S) -> SeenBook:
    """Open a book that remembers; as `open_book` otherwise.

    Raises
    ------
    BookError
        When there is no book, or it cannot be used.
    """
    with open_book(path, clock=clock, wait_s=wait_s) as checked:
        place = checked.path
    return SeenBook(place, clock=clock, wait_s=wait_s)
