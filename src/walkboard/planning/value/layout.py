"""Every pipe of an organ as arrays, rank by rank: the basis for the cost."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from walkboard.condition.kinds import Role, roles
from walkboard.organ.model import Organ, PipeRef, Rank
from walkboard.organ.targets import nominal_hz
from walkboard.planning.arrays import BoolArray, FloatArray, IntArray

EIGHTHS = 8  # multiples of the 8′ pitch are counted in eighths: 32′ is 2, 16′ is 4, 8′ is 8


@dataclass(frozen=True, slots=True)
class Layout:
    """Every pipe of an organ.

    Attributes
    ----------
    organ : Organ
    role : mapping of rank id to Role
    starts : mapping of rank id to int
        Index of its first pipe; pipes of a rank follow one another upward.
    rank_of, division_of : (pipes,) arrays of int
        Place of the pipe's rank and division in the organ's lists.
    semitone : (pipes,) array of int
        Semitone of the key at which the rank itself plays the pipe.
    eighths : (pipes,) array of int
        Its multiple of the key's 8′ pitch, in eighths; 0 if not a whole number.
    nominal_hz : (pipes,) array
        Target at the organ's own pitch [Hz].
    """

    organ: Organ
    role: Mapping[str, Role]
    starts: Mapping[str, int]
    rank_of: IntArray
    division_of: IntArray
    semitone: IntArray
    eighths: IntArray
    nominal_hz: FloatArray

    @classmethod
    def of(cls, organ: Organ) -> Layout:
        """Lay out an organ."""
        role = roles(organ)
        division = {d.id: index for index, d in enumerate(organ.divisions)}
        starts: dict[str, int] = {}
        columns: list[tuple[IntArray, IntArray, IntArray, IntArray, FloatArray]] = []
        made = 0
        for index, rank in enumerate(organ.ranks):
            starts[rank.id] = made
            made += rank.pipes
            semitone = np.array([key.semitone for key in rank.keys])
            multiple = _multiples(rank, semitone)
            eighths = np.rint(multiple * EIGHTHS)
            eighths[np.abs(eighths - multiple * EIGHTHS) > 1e-9] = 0.0
            columns.append(
                (
                    np.full(rank.pipes, index),
                    np.full(rank.pipes, division[rank.division]),
                    semitone,
                    eighths.astype(np.int64),
                    np.array([nominal_hz(organ, rank, n + 1) for n in range(rank.pipes)]),
                )
            )
        ranks, divisions, semitones, eighth, hz = (
            np.concatenate(column) for column in zip(*columns, strict=True)
        )
        return cls(organ, role, starts, ranks, divisions, semitones, eighth, hz)

    @property
    def flue(self) -> BoolArray:
        """Whether each pipe is a flue, shape (pipes,)."""
        ranks = self.organ.ranks
        return np.array([r.family_of(n).is_flue for r in ranks for n in range(1, r.pipes + 1)])

    def place(self, pipe: PipeRef) -> int:
        """Index of a pipe in the arrays."""
        return self.starts[pipe.rank] + pipe.number - 1

    def slice_of(self, rank: Rank) -> slice:
        """The pipes of a rank."""
        start = self.starts[rank.id]
        return slice(start, start + rank.pipes)


def _multiples(rank: Rank, semitone: IntArray) -> FloatArray:
    multiple = np.full(len(semitone), float(rank.multiples[0][1]))
    for start, value in rank.multiples:
        multiple[semitone >= start.semitone] = float(value)
    return multiple
