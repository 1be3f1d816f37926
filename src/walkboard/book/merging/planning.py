"""Which facts one copy lacks, and where in its series each belongs. Pure: uids in, uids out."""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

Facts = Mapping[str, Mapping[str, int]]
"""The facts of one organ in one copy: for each table, the number of each row by its uid."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a new fact belongs in its series.

    Attributes
    ----------
    before, after : str or None
        The facts just before and just after it; None at an end.
    """

    before: str | None
    after: str | None


@dataclass(slots=True)
class Series:
    """The versions of one thing, in the order of their uids."""

    uids: list[str] = field(default_factory=list)

    def put(self, uid: str) -> Place:
        """Put one in, and say between which two."""
        at = bisect_left(self.uids, uid)
        found = Place(
            before=self.uids[at - 1] if at else None,
            after=self.uids[at] if at < len(self.uids) else None,
        )
        insort(self.uids, uid)
        return found


def missing(there: Facts, here: Facts) -> dict[str, tuple[str, ...]]:
    """The uids of the facts that are there and not here, by table, each in their order."""
    found = {
        table: tuple(sorted(uids.keys() - here.get(table, {}).keys()))
        for table, uids in there.items()
    }
    return {table: uids for table, uids in found.items() if uids}


def numbers(uids: Iterable[str]) -> dict[str, int]:
    """The versions of a description numbered from 1, in the order of their uids."""
    return {uid: number for number, uid in enumerate(sorted(uids), start=1)}
