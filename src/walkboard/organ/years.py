"""Which pipe a reading of an earlier year belongs to, after ranks were replaced or moved."""

from __future__ import annotations

from collections.abc import Callable

from walkboard.organ.kinds import ChangeKind
from walkboard.organ.model import Organ, PipeRef


def pipe_today(organ: Organ, pipe: PipeRef, year: int) -> PipeRef | None:
    """Today's pipe that had this name in an earlier year.

    Parameters
    ----------
    organ : Organ
        Today's description.
    pipe : PipeRef
        Its name in that year.
    year : int
        Year of the reading. A change counts for readings of earlier years, not of its own.

    Returns
    -------
    PipeRef or None
        None if the pipe is gone: its rank has been replaced, or what is left of it has fewer pipes.
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
    """Like `pipe_today`, but only if the pipe's pitch then can be compared with today's.

    Also None if its rank has been revoiced since, or moved to sound another note.
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
    """The names that today's pipe has had, newest first, each with its first year.

    Parameters
    ----------
    organ : Organ
        Today's description.
    pipe : PipeRef
        One of its pipes.

    Returns
    -------
    tuple of (PipeRef, int or None)
        The last one's year is None if the pipe has always been there, or the year it was made if
        its rank was replaced.
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
