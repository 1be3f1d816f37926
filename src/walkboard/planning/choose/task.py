"""The choice as arrays: gain and time of each pipe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.planning.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Level:
    """Set-ups of one level: groups of members one level further in.

    Attributes
    ----------
    starts : (groups,) array of int
        Index of each group's first member; members of a group are contiguous, and no group is
        empty.
    steps : (groups,) array of int
        Time to reach the group once, however many of its members are done.
    """

    starts: IntArray
    steps: IntArray

    def sizes(self, members: int) -> IntArray:
        """How many members each group has."""
        return np.diff(np.append(self.starts, members))


@dataclass(frozen=True, slots=True)
class Parts:
    """Parts of the organ with separate references, tied within a limit.

    Attributes
    ----------
    starts : (parts,) array of int
        Index of each part's first group of the outermost level.
    untouched : (k, parts) array
        Badness of each part at each reference with nothing tuned.
    within : int
        How many steps of the references apart any two parts may be tuned.
    """

    starts: IntArray
    untouched: FloatArray
    within: int


@dataclass(frozen=True, slots=True)
class Row:
    """The choice at one reference, or at one for each part.

    Attributes
    ----------
    gain : (n,) array
    untouched : float
    must : (n,) array of bool or None
        Pipes that must be tuned; None if there are none.
    """

    gain: FloatArray
    untouched: float
    must: BoolArray | None

    def cost_of(self, chosen: BoolArray) -> float:
        """Badness left after tuning the chosen pipes."""
        return self.untouched - float(self.gain[chosen].sum())


@dataclass(frozen=True, slots=True)
class Task:
    """Which pipes to tune, and at which reference.

    Attributes
    ----------
    references_cents : (k,) array
        The reference pitches to choose from, above the organ's present pitch [cents].
    untouched : (k,) array
        Badness of everything at each reference with nothing tuned.
    gain : (k, n) array
        Badness removed by tuning each pipe, at each reference; may be negative.
    steps : (n,) array of int
        Time for each pipe, at least 1.
    levels : tuple of Level
        Set-ups, innermost (ranks) first.
    must : (k, n) array of bool or None
        Pipes that have to be tuned at each reference.
    parts : Parts or None
        None for one reference for all.
    """

    references_cents: FloatArray
    untouched: FloatArray
    gain: FloatArray
    steps: IntArray
    levels: tuple[Level, ...]
    must: BoolArray | None = None
    parts: Parts | None = None

    def __post_init__(self) -> None:
        references, pipes = self.gain.shape
        if not (self.references_cents.shape == self.untouched.shape == (references,)):
            raise ValueError("one untouched badness and one row of gains for each reference")
        if self.steps.shape != (pipes,) or (pipes and self.steps.min() < 1):
            raise ValueError("each pipe takes at least one step of time")
        if self.must is not None and self.must.shape != self.gain.shape:
            raise ValueError("what must be tuned is given for each reference and pipe")
        members = pipes
        for level in self.levels:
            if members and (level.starts[0] != 0 or np.any(level.sizes(members) < 1)):
                raise ValueError("groups lie side by side, and each has a member")
            members = len(level.starts)
        if self.parts is not None and self.parts.untouched.shape != (
            references,
            len(self.parts.starts),
        ):
            raise ValueError("one untouched badness for each reference and part")

    @property
    def part_of(self) -> IntArray:
        """The part of each pipe; all 0 if there is one reference for all."""
        pipes = self.gain.shape[1]
        if self.parts is None:
            return np.zeros(pipes, dtype=np.int64)
        of = np.arange(pipes)
        count = pipes
        for level in self.levels:
            of = np.repeat(np.arange(len(level.starts)), level.sizes(count))[of]
            count = len(level.starts)
        sizes = np.diff(np.append(self.parts.starts, count))
        parts: IntArray = np.repeat(np.arange(len(sizes)), sizes)[of]
        return parts

    def time_of(self, chosen: BoolArray) -> int:
        """Steps for tuning the chosen pipes, set-ups included."""
        total = int(self.steps[chosen].sum())
        taken = chosen
        for level in self.levels:
            taken = np.logical_or.reduceat(taken, level.starts)
            total += int(level.steps[taken].sum())
        return total

    def cost_of(self, reference: int, chosen: BoolArray) -> float:
        """Badness left after tuning the chosen pipes to a reference (by index)."""
        return float(self.untouched[reference] - self.gain[reference, chosen].sum())

    def at_reference(self, reference: int) -> Task:
        """The same with only one reference (by index) to choose from."""
        one = [reference]
        return Task(
            self.references_cents[one],
            self.untouched[one],
            self.gain[one],
            self.steps,
            self.levels,
            None if self.must is None else self.must[one],
        )

    def row(self, references: Sequence[int]) -> Row:
        """The choice at one reference (by index) for each part."""
        first = references[0]
        if self.parts is None or all(r == first for r in references):
            must = None if self.must is None else self.must[first]
            return Row(self.gain[first], float(self.untouched[first]), must)
        at = np.asarray(references, dtype=np.int64)
        pipes = np.arange(self.gain.shape[1])
        of_pipe = at[self.part_of]
        return Row(
            self.gain[of_pipe, pipes],
            float(self.parts.untouched[at, np.arange(len(at))].sum()),
            None if self.must is None else self.must[of_pipe, pipes],
        )
