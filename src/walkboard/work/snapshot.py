"""What pages see of a book, worked out once for each change: organs, conditions, pipes.

Light to import, so that a desk opens at once: what computes is loaded when it is first asked.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from walkboard.book.records import KeptOrgan, KeptReading, KeptVisit, Tick
from walkboard.condition.gather import stated_celsius
from walkboard.condition.state import Condition, DivisionState, PipeCents
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.work.open_book import now
from walkboard.work.pipe_offsets import latest_air, pipe_cents_of_visit

if TYPE_CHECKING:
    from walkboard.book.cache.seen import SeenBook

T = TypeVar("T")


def opened_to_see(path: Path) -> SeenBook:
    """Open a book that remembers what it was asked; BookError where it cannot be used."""
    from walkboard.book.cache.seen import open_seen

    return open_seen(path, clock=now)


def organ_in(book: SeenBook, organ_id: int) -> tuple[KeptOrgan, Organ]:
    """An organ with its newest description read."""
    kept = book.organ(organ_id)
    return kept, described(book, kept)


def described(book: SeenBook, kept: KeptOrgan) -> Organ:
    """The organ of a kept description."""
    key = ("described", kept.id, kept.version)
    return book.memory.get(key, lambda: read_organ(kept.description, where=kept.name))


def organ_at(book: SeenBook, visit: KeptVisit) -> Organ:
    """The organ as it was described when a visit was opened: its readings are of those ranks."""
    versions = book.organ_versions(visit.organ_id)
    kept = next(v for v in versions if v.version == visit.organ_version)
    return described(book, kept)


@dataclass(frozen=True)
class Snapshot:
    """One visit as the book has it now: everything that pages show of it is worked out here.

    What each answer rests on is noted by the book while it is worked out (`SeenBook.seen`), so
    nothing has to be listed, and nothing that is forgotten can make a page old.

    Attributes
    ----------
    book : SeenBook
    visit_id : int
    """

    book: SeenBook
    visit_id: int

    @property
    def visit(self) -> KeptVisit:
        """The visit."""
        return self.book.visit(self.visit_id)

    @property
    def organ(self) -> Organ:
        """The organ as it was described when the visit was opened."""
        return organ_at(self.book, self.visit)

    @property
    def pipe_cents(self) -> Mapping[PipeRef, PipeCents]:
        """Each pipe's deviation, as far as the visit shows it."""
        return self._seen(
            "pipe cents",
            lambda: {p.pipe: p for p in pipe_cents_of_visit(self.book, self.organ, self.visit)},
        )

    @property
    def by_division(self) -> Mapping[str, tuple[PipeCents, ...]]:
        """The same by division."""

        def work_out() -> Mapping[str, tuple[PipeCents, ...]]:
            heard: dict[str, list[PipeCents]] = {}
            organ = self.organ
            for pipe in self.pipe_cents.values():
                heard.setdefault(organ.rank(pipe.pipe.rank).division, []).append(pipe)
            return {division: tuple(pipes) for division, pipes in heard.items()}

        return self._seen("by division", work_out)

    @property
    def stated_air(self) -> Mapping[str, float]:
        """The air that each division's readings are given at [°C]."""

        def work_out() -> Mapping[str, float]:
            organ, given = self.organ, set(self.book.recording_airs(self.visit_id).values())
            if len(given) > 1:
                return {d: stated_celsius(organ, pipes) for d, pipes in self.by_division.items()}
            # Nearly all visits: one air for all, so that no reading need be looked at.
            heard, usual = self.book.ranks_heard(self.visit_id), organ.pitch.at_celsius
            air = next((celsius for celsius in given if celsius is not None), usual)
            return {rank.division: air for rank in organ.ranks if rank.id in heard}

        return self._seen("stated air", work_out)

    def division(self, division: str) -> DivisionState | None:
        """The state of a division, without the temperament: fast. None if it was not heard.

        A division whose pipes are as they were is not worked out again.
        """

        def pipes() -> tuple[PipeCents, ...]:
            return self.by_division.get(division, ())

        def work_out() -> DivisionState | None:
            from walkboard.condition.assess import division_states

            heard = self._seen(("pipes", division), pipes)
            stated = latest_air(self.visit).celsius
            thermometer = {division: stated[division]} if division in stated else {}
            if not heard:
                return None
            return division_states(self.organ, list(heard), thermometer).get(division)

        return self._seen(("division", division), work_out)

    @property
    def condition(self) -> Condition:
        """Each division's shift and air, and the temperament, from the readings."""

        def work_out() -> Condition:
            from walkboard.condition.assess import assess

            pipes = tuple(self.pipe_cents.values())
            return assess(self.organ, pipes, latest_air(self.visit).celsius)

        return self._seen("condition", work_out)

    @property
    def by_rank(self) -> Mapping[str, Mapping[PipeRef, KeptReading]]:
        """The best readings by rank, of the pipes that the organ had then."""

        def work_out() -> Mapping[str, Mapping[PipeRef, KeptReading]]:
            sizes = {rank.id: rank.pipes for rank in self.organ.ranks}
            found: dict[str, dict[PipeRef, KeptReading]] = {}
            for pipe, reading in self.book.best_readings(self.visit_id).items():
                if pipe.number <= sizes.get(pipe.rank, 0):
                    found.setdefault(pipe.rank, {})[pipe] = reading
            return found

        return self._seen("by rank", work_out)

    def of_rank(self, rank_id: str) -> Mapping[PipeRef, KeptReading]:
        """The best readings of one rank; results from them do not depend on other ranks."""
        return self._seen(("of rank", rank_id), lambda: self.by_rank.get(rank_id, {}))

    def ticks_of_rank(self, rank_id: str) -> Mapping[PipeRef, Tick]:
        """The ticks that count of one rank."""
        return self._seen(
            ("ticks", rank_id),
            lambda: {p: t for p, t in self.book.pipe_states(self.visit_id).items()
                     if p.rank == rank_id},
        )  # fmt: skip

    def _seen(self, what: Hashable, work_out: Callable[[], T]) -> T:
        return self.book.seen((what, self.visit_id), work_out)


def pipe_cents(book: SeenBook, visit: KeptVisit) -> Mapping[PipeRef, PipeCents]:
    """Each pipe's deviation, as far as a visit shows it."""
    return Snapshot(book, visit.id).pipe_cents


def condition(book: SeenBook, visit: KeptVisit) -> Condition:
    """Each division's shift and air, and the temperament, from a visit's readings."""
    return Snapshot(book, visit.id).condition
