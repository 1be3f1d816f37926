"""The census of an organ: its pipes by division, by family and by tuning method."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from walkboard.organ.model import Family, Organ, Rank, TunedBy


@dataclass(frozen=True, slots=True)
class Count:
    """The counts of one division, or of the whole organ.

    Attributes
    ----------
    id, name : str
        Id and name of the division; empty and ``all`` for the whole.
    keys : int or None
        None for the whole.
    stops, ranks, pipes : int
        A borrowed rank counts as a stop where it is drawn, as rank and pipes where its pipes are.
    by_family, by_tuning : tuple of (str, int)
        Pipes of every family and tuning method, in their usual order; zero included.
    historic : int
        Pipes left to the organ's adviser.
    """

    id: str
    name: str
    keys: int | None
    stops: int
    ranks: int
    pipes: int
    by_family: tuple[tuple[str, int], ...]
    by_tuning: tuple[tuple[str, int], ...]
    historic: int

    def to_json(self) -> dict[str, object]:
        """The counts as plain values."""
        return {
            "stops": self.stops,
            "ranks": self.ranks,
            "pipes": self.pipes,
            "families": dict(self.by_family),
            "tuned_by": dict(self.by_tuning),
            "historic": self.historic,
        }


@dataclass(frozen=True, slots=True)
class Census:
    """The census of one organ, by division and in total."""

    organ: str
    pitch: str
    divisions: tuple[Count, ...]
    total: Count

    def to_json(self) -> dict[str, object]:
        """The census as plain values, for JSON."""
        return {
            "organ": self.organ,
            "divisions": [
                {"id": d.id, "name": d.name, "keys": d.keys, **d.to_json()} for d in self.divisions
            ],
            "total": self.total.to_json(),
        }

    def text(self) -> str:
        """The census as two small tables in plain text."""
        rows = (*self.divisions, self.total)
        size = [
            [
                r.name,
                "" if r.keys is None else str(r.keys),
                *map(str, (r.stops, r.ranks, r.pipes)),
                *_cells(r.by_family, self.total.by_family),
            ]
            for r in rows
        ]
        ways = [[r.name, *_cells(r.by_tuning, self.total.by_tuning)] for r in rows]
        lines = [
            self.organ,
            self.pitch,
            "",
            *_table(["", "keys", "stops", "ranks", "pipes", *_heads(self.total.by_family)], size),
            "",
            "Pipes by way of tuning",
            *_table(["", *_heads(self.total.by_tuning)], ways),
        ]
        if self.total.historic:
            lines += ["", f"{self.total.historic} pipes are historic: left to the organ's adviser."]
        return "\n".join(lines)


def census(organ: Organ) -> Census:
    """Count the pipes of an organ."""
    divisions = tuple(
        _count(
            division.id,
            division.name,
            division.keys,
            sum(stop.division == division.id for stop in organ.stops),
            [rank for rank in organ.ranks if rank.division == division.id],
        )
        for division in organ.divisions
    )
    return Census(
        organ=organ.name,
        pitch=f"A4 = {organ.pitch.a4_hz:g} Hz at {organ.pitch.at_celsius:g} °C, "
        f"temperament {organ.temperament.name}",
        divisions=divisions,
        total=_count("", "all", None, len(organ.stops), organ.ranks),
    )


def _count(id_: str, name: str, keys: int | None, stops: int, ranks: Sequence[Rank]) -> Count:
    families: Counter[Family] = Counter()
    ways: Counter[TunedBy] = Counter()
    for rank in ranks:
        families[rank.family] += rank.pipes
        ways[rank.tuned_by] += rank.pipes
    return Count(
        id=id_,
        name=name,
        keys=keys,
        stops=stops,
        ranks=len(ranks),
        pipes=families.total(),
        by_family=tuple((family.value, families[family]) for family in Family),
        by_tuning=tuple((way.value, ways[way]) for way in TunedBy),
        historic=sum(rank.pipes for rank in ranks if rank.historic),
    )


def _heads(total: Iterable[tuple[str, int]]) -> list[str]:
    return [name for name, pipes in total if pipes]


def _cells(row: Iterable[tuple[str, int]], total: Iterable[tuple[str, int]]) -> list[str]:
    """Counts of one row in the columns that the whole organ needs; zero is blank."""
    wanted = set(_heads(total))
    return [str(pipes) if pipes else "" for name, pipes in row if name in wanted]


def _table(head: list[str], rows: list[list[str]]) -> list[str]:
    """Lines of a table: the first column to the left, the others to the right."""
    widths = [max(map(len, column)) for column in zip(head, *rows, strict=True)]
    return [
        "  ".join(
            cell.ljust(width) if i == 0 else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in [head, *rows]
    ]
