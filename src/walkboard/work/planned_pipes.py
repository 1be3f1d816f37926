"""The organ and its pipes as plans see them: by the newest description.

That counts also for a visit that was opened under an older one: a rank that has been marked
historic since is not planned. Light to import.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

from walkboard.book.records import KeptVisit
from walkboard.condition.state import PipeCents
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.quantities import cents_of_ratio
from walkboard.work.open_book import now
from walkboard.work.pipe_offsets import pipe_cents_of_visit

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

T = TypeVar("T")

_AIR_SECONDS = 600.0  # the air's course is taken to be the same for so long; chosen


def organ_to_plan(book: Book, visit: KeptVisit) -> Organ:
    """The organ by its newest description, which every plan uses."""
    kept = book.organ(visit.organ_id)
    key = ("described", kept.id, kept.version)
    return remembered(book, key, lambda: read_organ(kept.description, where=kept.name))


def known_pipes(book: Book, visit: KeptVisit) -> tuple[PipeCents, ...]:
    """Each pipe's deviation by a visit's readings, from the targets of the newest description.

    Pipes that the newest description no longer has are left out.
    """
    organ = organ_to_plan(book, visit)
    before = next(
        v for v in book.organ_versions(visit.organ_id) if v.version == visit.organ_version
    )
    if before.version == book.organ(visit.organ_id).version:
        return pipe_cents_of_visit(book, organ, visit)
    old = read_organ(before.description, where=before.name)
    return against_targets_of(organ, old, pipe_cents_of_visit(book, old, visit))


def against_targets_of(
    organ: Organ, old: Organ, pipes: Sequence[PipeCents]
) -> tuple[PipeCents, ...]:
    """Readings against an older description's targets, restated against another's."""
    there = {rank.id: rank.pipes for rank in organ.ranks}
    return tuple(
        replace(p, cents=p.cents + _cents_between(organ, old, p.pipe, p.air_celsius))
        for p in pipes
        if p.pipe.number <= there.get(p.pipe.rank, 0)
    )


def _cents_between(organ: Organ, old: Organ, pipe: PipeRef, celsius: float) -> float:
    return cents_of_ratio(target_hz(old, pipe, celsius) / target_hz(organ, pipe, celsius))


def remembered(book: Book, key: tuple[Hashable, ...], work_out: Callable[[], T]) -> T:
    """What was worked out for a key, if the book has a memory; else worked out again."""
    from walkboard.book.cache.seen import SeenBook

    return book.memory.get(key, work_out) if isinstance(book, SeenBook) else work_out()


def state_of(book: Book, visit: KeptVisit) -> tuple[Hashable, ...]:
    """What the plans of a visit depend on; the air goes on with time."""
    from walkboard.book.cache.seen import SeenBook

    if not isinstance(book, SeenBook):
        return ()
    marks = book.marks(visit.id)
    since = now().timestamp() // _AIR_SECONDS
    weights = tuple(book.weights(visit.organ_id))
    version = book.organ(visit.organ_id).version
    return visit.id, version, marks.hearings, marks.ticks, marks.conditions, since, weights
