"""The pipes of all organs that are far off, by their newest values: where a visit is needed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from walkboard.book.records import KeptOrgan
from walkboard.organ.reading import read_organ
from walkboard.organ.years import compared_with_today

if TYPE_CHECKING:
    from walkboard.book.keeping import Book
    from walkboard.book.readings.pipes_now import PipeNow

STRAY_CENTS = 5.0  # from a pipe's target, by default. Chosen.


@dataclass(frozen=True, slots=True)
class OrganStrays:
    """An organ's pipes that are far off, the worst first."""

    kept: KeptOrgan
    pipes: tuple[PipeNow, ...]


def strays_of_all(
    book: Book,
    over_cents: float = STRAY_CENTS,
    progress: Callable[[float, float], None] = lambda _done, _total: None,
) -> tuple[OrganStrays, ...]:
    """The organs with pipes that are far off, those with the most first.

    Pipes tuned since their last value are left out, and those that the organ no longer has.

    Parameters
    ----------
    book : Book
    over_cents : float
        From the pipe's target, at the air given for its recording [cents].
    progress : callable
        Called with organs worked out and their total.
    """
    of_organ: dict[int, list[PipeNow]] = {}
    for one in book.pipes_off(over_cents, progress):
        of_organ.setdefault(one.organ_id, []).append(one)
    found = []
    for kept in book.organs():
        pipes = tuple(of_organ.get(kept.id, ()))
        if kept.version > 1 and pipes:  # only a changed description can have lost a pipe
            organ = read_organ(kept.description, where=kept.name)
            pipes = tuple(
                one for one in pipes if compared_with_today(organ, one.sounded_at.year)(one.pipe)
            )
        if pipes:
            found.append(OrganStrays(kept, pipes))
    return tuple(sorted(found, key=lambda organ: -len(organ.pipes)))
