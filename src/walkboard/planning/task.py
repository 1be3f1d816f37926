"""The choice as arrays: what tuning each pipe gains, and what it takes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from walkboard.planning.arrays import BoolArray, FloatArray, IntArray

STEP_MINUTES = 0.05  # time is counted in whole steps of this


@dataclass(frozen=True, slots=True)
class Level:
    """Set-ups of one level: groups of what lies one level further in.

    Attributes
    ----------
    starts : (groups,) array of int
        Index of each group's first member; members of a group stand side by side, and every group
        has one.
    steps : (groups,) array of int
        Time to reach the group once, however many of its members are done.
    """

    starts: IntArray
    steps: IntArray

    def sizes(self, members: int) -> IntArray:
        """How many members each group has."""
        return np.diff(np.append(self.starts, members))


@dataclass(frozen=True, slots=True)
class Task:
    """Which pipes to tune, and at which reference.

    Attributes
    ----------
    references_cents : (k,) array
        The reference pitches to choose from, above where the organ stands [cents].
    untouched : (k,) array
        Badness of everything at each reference if nothing is tuned.
    gain : (k, n) array
        Badness removed by tuning each pipe, at each reference; may be negative.
    steps : (n,) array of int
        Time for each pipe, at least 1.
    levels : tuple of Level
        Set-ups, innermost (ranks) first.
    """

    references_cents: FloatArray
    untouched: FloatArray
    gain: FloatArray
    steps: IntArray
    levels: tuple[Level, ...]

    def __post_init__(self) -> None:
        references, pipes = self.gain.shape
        if not (self.references_cents.shape == self.untouched.shape == (references,)):
            raise ValueError("one untouched badness and one row of gains for each reference")
        if self.steps.shape != (pipes,) or (pipes and self.steps.min() < 1):
            raise ValueError("each pipe takes at least one step of time")
        members = pipes
        for level in self.levels:
            if members and (level.starts[0] != 0 or np.any(level.sizes(members) < 1)):
                raise ValueError("groups lie side by side, and each has a member")
            members = len(level.starts)

    def time_of(self, chosen: BoolArray) -> int:
        """Steps that tuning the chosen pipes takes, set-ups included."""
        total = int(self.steps[chosen].sum())
        taken = chosen
        for level in self.levels:
            taken = np.logical_or.reduceat(taken, level.starts)
            total += int(level.steps[taken].sum())
        return total

    def cost_of(self, reference: int, chosen: BoolArray) -> float:
        """Badness left when the chosen pipes are tuned to a reference (by index)."""
        return float(self.untouched[reference] - self.gain[reference, chosen].sum())
