"""The temperaments an organ may be tuned to: every known one on every root, equal ones merged."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from walkboard.scales.keys import Key
from walkboard.scales.temperament import NOTES, Temperament, known, names

SAME_CENTS = 0.05  # two tables no farther apart than this at any note count as one
_OCTAVE = tuple(Key(60 + note) for note in range(12))


@dataclass(frozen=True, slots=True)
class Candidate:
    """Twelve candidate pitches.

    Attributes
    ----------
    names : tuple of str
        Names of every table that gives these pitches; those not on C say so, as ``young 2 on F``.
    root : int
        Semitones above C by which the first of them is turned.
    offsets_cents : tuple of 12 floats
        From equal temperament, A at zero.
    chance : float
        The prior: each temperament equally likely, and each of its roots.
    table_chance : float
        Chance of one temperament on all its roots.
    """

    names: tuple[str, ...]
    root: int
    offsets_cents: tuple[float, ...]
    chance: float
    table_chance: float


def candidates(described: Temperament | None) -> tuple[Candidate, ...]:
    """All candidates, including a description's own temperament if it has no known name."""
    if described is None:
        return _every_known()
    offsets = _offsets(described)
    if min(_apart(offsets, other.offsets_cents) for other in _every_known()) <= SAME_CENTS:
        return _every_known()
    return _merged([*(known(name) for name in names()), described])


@cache
def _every_known() -> tuple[Candidate, ...]:
    return _merged([known(name) for name in names()])


def _merged(tables: list[Temperament]) -> tuple[Candidate, ...]:
    merged: list[Candidate] = []
    for table in tables:
        for root, note in enumerate(NOTES):
            _add(merged, table.rotated(note), root, 1.0 / (12.0 * len(tables)), 1.0 / len(tables))
    return tuple(merged)


def _add(
    merged: list[Candidate], table: Temperament, root: int, chance: float, table_chance: float
) -> None:
    offsets = _offsets(table)
    for index, other in enumerate(merged):
        if _apart(offsets, other.offsets_cents) <= SAME_CENTS:
            plain = table.name.partition(" on ")[0]
            there = {name.partition(" on ")[0] for name in other.names}
            names_there = other.names if plain in there else (*other.names, table.name)
            merged[index] = Candidate(
                names_there, other.root, other.offsets_cents, other.chance + chance, table_chance
            )
            return
    merged.append(Candidate((table.name,), root, offsets, chance, table_chance))


def _offsets(table: Temperament) -> tuple[float, ...]:
    return tuple(table.offset_cents(key) for key in _OCTAVE)


def _apart(one: tuple[float, ...], other: tuple[float, ...]) -> float:
    return float(np.max(np.abs(np.subtract(one, other))))
