"""Belief about a pipe's pitch: a normal, or a mixture of a few.

A reading gives one normal. A forecast of a pipe not heard gives several: it is near its rank, or it
has slipped; the badness is then the mean over all of them, weighted by their shares.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from walkboard.condition.state import PipeCents
from walkboard.organ.model import PipeRef
from walkboard.planning.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Belief:
    """A mixture of normals.

    Attributes
    ----------
    shares : tuple of float
        Shares of each part; they sum to 1.
    cents, sigmas_cents : tuple of float
        Mean and standard deviation of each part [cents].
    """

    shares: tuple[float, ...]
    cents: tuple[float, ...]
    sigmas_cents: tuple[float, ...]

    def __post_init__(self) -> None:
        if not len(self.shares) == len(self.cents) == len(self.sigmas_cents) > 0:
            raise ValueError("a belief has a share, a mean and a spread for each of its parts")
        if not math.isfinite(sum(self.shares) + sum(self.cents) + sum(self.sigmas_cents)):
            raise ValueError(f"a belief is made of finite numbers, not {self}")
        if min(self.shares) < 0.0 or abs(sum(self.shares) - 1.0) > 1e-6:
            raise ValueError(f"the shares of a belief sum to 1, not {sum(self.shares)!r}")
        if min(self.sigmas_cents) < 0.0:
            raise ValueError("a spread is not negative")

    @classmethod
    def normal(cls, cents: float, sigma_cents: float) -> Belief:
        """One normal."""
        return cls((1.0,), (cents,), (sigma_cents,))

    @property
    def mean_cents(self) -> float:
        """Mean of the mixture [cents]."""
        return sum(w * m for w, m in zip(self.shares, self.cents, strict=True))

    @property
    def sigma_cents(self) -> float:
        """Standard deviation of the mixture [cents]."""
        mean = self.mean_cents
        parts = zip(self.shares, self.cents, self.sigmas_cents, strict=True)
        return float(np.sqrt(sum(w * (s * s + (m - mean) ** 2) for w, m, s in parts)))

    def moved(self, cents: float) -> Belief:
        """The same, so many cents sharper."""
        return Belief(self.shares, tuple(m + cents for m in self.cents), self.sigmas_cents)


@dataclass(frozen=True, slots=True)
class PipeForecast:
    """The forecast of a pipe that was not heard.

    Attributes
    ----------
    pipe : PipeRef
    belief : Belief
        Against the pipe's target at `air_celsius` [cents], + is sharp, as a reading's.
    air_celsius : float
        The air temperature of the target [°C].
    level_db : float or None
        From earlier visits, on the scale of this visit's readings; None if unknown.
    """

    pipe: PipeRef
    belief: Belief
    air_celsius: float
    level_db: float | None = None

    def __post_init__(self) -> None:
        if not math.isfinite(self.air_celsius + (self.level_db or 0.0)):
            raise ValueError(
                f"the air and the level of the forecast of {self.pipe} are finite numbers, "
                f"not {self.air_celsius} °C and {self.level_db} dB"
            )


Known = PipeCents | PipeForecast


def belief_of(known: Known) -> Belief:
    """The belief about a pipe; for a reading, one normal."""
    if isinstance(known, PipeForecast):
        return known.belief
    return Belief.normal(known.cents, known.sigma_cents)


@dataclass(frozen=True, slots=True)
class Parts:
    """The parts of many beliefs side by side, for vectorised arithmetic.

    Attributes
    ----------
    starts : (pipes,) array of int
        Index of each belief's first part.
    share, cents, sigma_cents : (parts,) arrays
    """

    starts: IntArray
    share: FloatArray
    cents: FloatArray
    sigma_cents: FloatArray

    @classmethod
    def of(cls, beliefs: Sequence[Belief]) -> Parts:
        """Concatenate beliefs."""
        counts = [len(belief.shares) for belief in beliefs]
        starts = np.concatenate([[0], np.cumsum(counts)[:-1]]) if counts else np.zeros(0)
        return cls(
            starts.astype(np.int64),
            np.array([w for b in beliefs for w in b.shares], dtype=np.float64),
            np.array([m for b in beliefs for m in b.cents], dtype=np.float64),
            np.array([s for b in beliefs for s in b.sigmas_cents], dtype=np.float64),
        )

    @property
    def is_single(self) -> bool:
        """Whether every belief is one normal."""
        return len(self.starts) == len(self.share)

    def only(self, pipes: IntArray) -> Parts:
        """The parts of some pipes, by their places."""
        counts = np.diff(np.append(self.starts, len(self.share)))[pipes]
        starts = np.cumsum(counts) - counts
        within = np.arange(int(counts.sum())) - np.repeat(starts, counts)
        of_part = np.repeat(self.starts[pipes], counts) + within
        return Parts(starts, self.share[of_part], self.cents[of_part], self.sigma_cents[of_part])

    def each(self, of_pipe: FloatArray) -> FloatArray:
        """One value per pipe as one value per part."""
        if self.is_single:
            return of_pipe
        counts = np.diff(np.append(self.starts, len(self.share)))
        return np.repeat(of_pipe, counts)

    def mean(self, of_part: FloatArray) -> FloatArray:
        """Mean over each belief's parts, of values whose last axis runs over the parts."""
        if self.is_single:
            return of_part
        mean: FloatArray = np.add.reduceat(self.share * of_part, self.starts, axis=-1)
        return mean

    def chance_within(self, off_cents: FloatArray, half_width_cents: float) -> FloatArray:
        """Chance that each pipe is within so many cents of a pitch.

        Parameters
        ----------
        off_cents : (…, parts) array
            How far the middle of each part is from that pitch [cents].
        half_width_cents : float

        Returns
        -------
        (…, pipes) array
        """
        sigma = np.maximum(self.sigma_cents, 1e-9)
        inside = ndtr((half_width_cents - off_cents) / sigma) - ndtr(
            (-half_width_cents - off_cents) / sigma
        )
        return self.mean(inside)
