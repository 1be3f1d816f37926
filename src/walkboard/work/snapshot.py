"""What pages see of a book, worked out once for each change: organs, conditions, standings.

Light to import, so that a desk opens at once: what computes is loaded when it is first asked.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard.book.records import KeptOrgan, KeptVisit
from walkboard.condition.gather import told_celsius
from walkboard.condition.state import Condition, DivisionState, PipeCents
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.work.open_book import now
from walkboard.work.pipe_offsets import latest_air, standing_pipes

if TYPE_CHECKING:
    from walkboard.book.seen import SeenBook


def opened_to_see(path: Path) -> SeenBook:
    """Open a book that remembers what it was asked; BookError where it cannot be used."""
    from walkboard.book.seen import open_seen

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


def standing(book: SeenBook, visit: KeptVisit) -> Mapping[PipeRef, PipeCents]:
    """Where each pipe stands, as far as a visit tells."""
    marks = book.marks(visit.id)
    key = ("standing", visit.id, marks.hearings, marks.ticks)

    def work_out() -> Mapping[PipeRef, PipeCents]:
        return {p.pipe: p for p in standing_pipes(book, organ_at(book, visit), visit)}

    return book.memory.get(key, work_out)


def told_air(book: SeenBook, visit: KeptVisit) -> Mapping[str, float]:
    """The air that each division's readings of a visit are given at [°C]."""
    marks = book.marks(visit.id)
    key = ("told", visit.id, marks.hearings, marks.ticks)

    def work_out() -> Mapping[str, float]:
        organ = organ_at(book, visit)
        heard = _by_division(book, visit, organ)
        return {division: told_celsius(organ, pipes) for division, pipes in heard.items()}

    return book.memory.get(key, work_out)


def _by_division(book: SeenBook, visit: KeptVisit, organ: Organ) -> dict[str, list[PipeCents]]:
    heard: dict[str, list[PipeCents]] = {}
    for pipe in standing(book, visit).values():
        heard.setdefault(organ.rank(pipe.pipe.rank).division, []).append(pipe)
    return heard


def divisions(book: SeenBook, visit: KeptVisit) -> Mapping[str, DivisionState]:
    """How each division stood at a visit, without the temperament: fast.

    A division whose pipes are as they were is not worked out again.
    """
    marks = book.marks(visit.id)
    key = ("divisions", visit.id, marks.hearings, marks.ticks, marks.conditions)

    def work_out() -> Mapping[str, DivisionState]:
        from walkboard.condition.assess import division_states

        organ, told = organ_at(book, visit), latest_air(visit).celsius
        found: dict[str, DivisionState] = {}
        for division, pipes in _by_division(book, visit, organ).items():
            thermometer = {division: told[division]} if division in told else {}
            own = (
                visit.organ_id,
                visit.organ_version,
                division,
                tuple(pipes),
                *thermometer.items(),
            )
            found |= book.memory.get(own, partial(division_states, organ, pipes, thermometer))
        return found

    return book.memory.get(key, work_out)


def condition(book: SeenBook, visit: KeptVisit) -> Condition:
    """Each division's shift and air, and the temperament, from a visit's readings."""
    marks = book.marks(visit.id)
    key = ("condition", visit.id, marks.hearings, marks.ticks, marks.conditions)

    def work_out() -> Condition:
        from walkboard.condition.assess import assess

        pipes = tuple(standing(book, visit).values())
        return assess(organ_at(book, visit), pipes, latest_air(visit).celsius)

    return book.memory.get(key, work_out)
