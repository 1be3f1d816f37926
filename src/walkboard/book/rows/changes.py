"""A cheap way to see whether the book, or part of it, has changed, by any program."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select

from walkboard.book.files.folder import Clock
from walkboard.book.models import OrganChangeRow, VisitChangeRow
from walkboard.book.rows.counting import OF_A_VISIT, Part
from walkboard.book.rows.storing import Storing
from walkboard.book.rows.viewing import current_view


@dataclass(frozen=True, slots=True)
class VisitMarks:
    """How often each part of a visit's records has changed: equal marks, equal records."""

    visits: int
    conditions: int
    hearings: int
    ticks: int
    plans: int

    def of(self, parts: tuple[Part, ...]) -> tuple[int, ...]:
        """The counters of some of the parts."""
        return tuple(getattr(self, part.value) for part in parts)


_PLACES = {part: place for place, part in enumerate(Part)}
NO_MARKS = VisitMarks(-1, -1, -1, -1, -1)
"""Of a visit that is not in the book."""


@dataclass(frozen=True, slots=True)
class Counters:
    """How often each part of each organ's records has changed, at one moment of the book."""

    of_organ: Mapping[int, tuple[int, ...]]  # in the order of `Part`

    def of(self, organ_id: int, parts: tuple[Part, ...]) -> tuple[int, ...]:
        """The counters of some parts of an organ; empty if it is not in the book."""
        found = self.of_organ.get(organ_id)
        return () if found is None else tuple(found[_PLACES[part]] for part in parts)

    def total(self, organ_id: int) -> int:
        """Grows with every change of an organ; -1 if it is not in the book."""
        found = self.of_organ.get(organ_id)
        return -1 if found is None else sum(found)

    def of_all(self, part: Part) -> int:
        """Grows with every change of a part of any organ."""
        place = _PLACES[part]
        return sum(found[place] for found in self.of_organ.values())


class Changes(Storing):
    """Noticing that something changed."""

    def __init__(self, path: Path, *, clock: Clock, wait_s: float) -> None:
        super().__init__(path, clock=clock, wait_s=wait_s)
        self._watch = self.database.watch(self._engine, wait_s=wait_s)

    def change(self) -> int:
        """A number that differs after every change of the book; valid only while this book is open.

        Raises
        ------
        BookError
            When the database cannot be read.
        """
        self.refuse_moved()
        view = current_view(self._read_engine)
        with self._telling():
            return self._watch.number() if view is None else view.change(self._watch.number)

    def counters(self) -> Counters:
        """The counters of every organ, in one question."""
        with self._reading() as session:
            rows = session.execute(_ORGANS)
            return Counters({row[0]: tuple(row[1:]) for row in rows})

    def organ_marks(self, organ_id: int) -> dict[int, VisitMarks]:
        """The marks of every visit to an organ, by the visit's id, in one question."""
        with self._reading() as session:
            rows = session.execute(_VISITS.where(VisitChangeRow.organ_id == organ_id))
            return {row[0]: VisitMarks(*row[1:]) for row in rows}

    def organ_of_visit(self, visit_id: int) -> int | None:
        """The organ of a visit; None if there is no such visit."""
        with self._reading() as session:
            query = select(VisitChangeRow.organ_id).where(VisitChangeRow.visit_id == visit_id)
            return session.scalar(query)

    def close(self) -> None:
        """Close the watching connection too."""
        self._watch.close()


_ORGANS = select(OrganChangeRow.organ_id, *(getattr(OrganChangeRow, part.value) for part in Part))
_VISITS = select(
    VisitChangeRow.visit_id, *(getattr(VisitChangeRow, part.value) for part in OF_A_VISIT)
)
