"""Which pipe a reading of an earlier year belongs to, after ranks were replaced or moved."""

from __future__ import annotations

from collections.abc import Callable

from walkboard.organ.kinds import ChangeKind
from walkboard.organ.model import Organ, PipeRef


def pipe_today(organ: Organ, pipe: PipeRef, year: int) -> PipeRef | None:
    """The pipe of today that was called so in an earlier year.

    Parameters
    ----------
    organ : Organ
        As described today.
    pipe : PipeRef
        As it was called in that year.
    year : int
        Year of the reading. A change counts for readings of earlier years, not of its own.

    Returns
    -------
    PipeRef or None
        None where the pipe is gone: its rank was replaced since, or what is left of it has fewer
        pipes.
    """
    changes = sorted(
        ((change, rank) for rank in organ.ranks for change in rank.changes if change.year > year),
        key=lambda pair: pair[0].year,
    )
    at: PipeRef = pipe
    for change, rank in changes:
        if change.kind is ChangeKind.REPLACED and at.rank == rank.id:
            return None
        if change.kind is ChangeKind.MOVED and at.rank == change.was:
            number = at.number - change.was_first + 1
            if not 1 <= number <= rank.pipes:
                return None
            at = PipeRef(rank.id, number)
    known = {rank.id: rank.pipes for rank in organ.ranks}
    return at if at.number <= known.get(at.rank, 0) else None


def compared_with_today(organ: Organ, year: int) -> Callable[[PipeRef], PipeRef | None]:
    """As `pipe_today` for one year, where a pipe's pitch then can be compared with today's.

    None also where its rank has been revoiced since, or moved to sound another note.
    """
    since = {
        rank.id: [change for change in rank.changes if change.year > year] for rank in organ.ranks
    }
    pipes = {rank.id: rank.pipes for rank in organ.ranks}
    if not any(since.values()):
        return lambda pipe: pipe if pipe.number <= pipes.get(pipe.rank, 0) else None
    apart = {
        rank
        for rank, changes in since.items()
        if any(c.kind is ChangeKind.REVOICED or c.was_first != 1 for c in changes)
    }

    def today(pipe: PipeRef) -> PipeRef | None:
        found = pipe_today(organ, pipe, year)
        return None if found is None or found.rank in apart else found

    return today


def names_over_years(organ: Organ, pipe: PipeRef) -> tuple[tuple[PipeRef, int | None], ...]:
    """What a pipe of today was called, newest first, each with the first year of that name.

    Parameters
    ----------
    organ : Organ
        As described today.
    pipe : PipeRef
        One of its pipes.

    Returns
    -------
    tuple of (PipeRef, int or None)
        The last one's year is None where the pipe has been there for ever, and the year in which it
        was made where its rank was replaced.
    """
    names: list[tuple[PipeRef, int | None]] = []
    at = pipe
    for change in reversed(organ.rank(pipe.rank).changes):
        if change.kind is ChangeKind.REPLACED:
            return (*names, (at, change.year))
        if change.kind is ChangeKind.MOVED and change.was is not None:
            names.append((at, change.year))
            number = at.number + change.was_first - 1
            if number < 1:
                return tuple(names)
            at = PipeRef(change.was, number)
    return (*names, (at, None))
