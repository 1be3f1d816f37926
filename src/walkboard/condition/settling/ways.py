"""The ways a pipe may cool: what falls faster and slower than the rest, and how much is usual."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

STEPS = 30  # of the grid of τ to a factor e: 40 in all gave false certainty
GRID_S = 5.0 * np.exp(np.arange(139) / STEPS)  # to 497 s


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the offset that falls at its own pace.

    Attributes
    ----------
    share : float
        Of the offset [-].
    times : float
        Its time constant over the pipe's own [-].
    belief : float
        Before the readings [-].
    """

    share: float
    times: float
    belief: float


@dataclass(frozen=True, slots=True)
class Limits:
    """What is thought of pipes and of hands. Fitted by ``bench settling``, but where said.

    Attributes
    ----------
    wander_cents, wander_memory_s : float
        Of a pipe alone, over a second or two [cents], [s]: listening's studies.
    drift_cents, drift_memory_s : float
        Slower wander, with the wind [cents], [s]; chosen.
    widths, width_beliefs : tuple of float
        How far hands leave pipes, as multiples of what is usual, and how often [-].
    fast, slow : tuple of Part
        What may fall faster and slower than the rest: every pair of them is a shape. Chosen.
    law_share : float
        Of the remaining movement, that every shape may miss [-].
    tau_changes : float
        How much ln τ of one pipe may differ from one cooling to the next [-]; chosen.
    forgets : float
        Belief that one cooling says nothing about the next [-]; chosen.
    colder : float
        Belief that a hand leaves a pipe flatter than it settles [-]; chosen.
    """

    wander_cents: float = 0.1
    wander_memory_s: float = 0.5
    drift_cents: float = 0.04
    drift_memory_s: float = 2.0
    widths: tuple[float, ...] = (0.12, 0.4, 1.0, 2.2)
    width_beliefs: tuple[float, ...] = (0.2, 0.3, 0.35, 0.15)
    fast: tuple[Part, ...] = (
        Part(0.0, 0.2, 0.45),
        Part(0.17, 0.1, 0.18),
        Part(0.17, 0.22, 0.22),
        Part(0.35, 0.22, 0.15),
    )
    slow: tuple[Part, ...] = (Part(0.0, 2.2, 0.6), Part(0.25, 2.2, 0.25), Part(0.5, 2.2, 0.15))
    law_share: float = 0.05
    tau_changes: float = 0.2
    forgets: float = 0.25
    colder: float = 0.04


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Shapes:
    """Every pair of a fast and a slow part with the rest, over a long grid of exponentials.

    `every_s` is the grid with what lies beyond both its ends, shape (long,); `parts` the shares and
    `places` where each lies in it for the grid's first τ, shape (shapes, 3); `belief` (shapes,).
    """

    every_s: NDArray[np.float64]
    parts: NDArray[np.float64]
    places: NDArray[np.int64]
    belief: NDArray[np.float64]

    @classmethod
    def of(cls, limits: Limits) -> Shapes:
        """All pairs of `limits.fast` and `limits.slow`."""
        pairs = [(fast, slow) for fast in limits.fast for slow in limits.slow]
        times = np.array([(fast.times, 1.0, slow.times) for fast, slow in pairs])
        steps = np.rint(STEPS * np.log(times)).astype(np.int64)
        long = np.arange(steps.min(), len(GRID_S) + steps.max())
        return cls(
            GRID_S[0] * np.exp(long / STEPS),
            np.array([(f.share, 1.0 - f.share - s.share, s.share) for f, s in pairs]),
            steps - steps.min(),
            np.array([fast.belief * slow.belief for fast, slow in pairs]),
        )

    def _at(self) -> NDArray[np.int64]:
        return self.places[:, :, np.newaxis] + np.arange(len(GRID_S))

    def summed(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Sums over the parts of each shape, shape (shapes, grid)."""
        return np.asarray(np.einsum("sp,spg->sg", self.parts, values[self._at()]))

    def power(self, products: NDArray[np.float64]) -> NDArray[np.float64]:
        """Of each shape with itself, from the products of all exponentials; (shapes, grid)."""
        at = self._at()
        pairs = products[at[:, :, np.newaxis], at[:, np.newaxis]]
        return np.asarray(np.einsum("sp,spqg,sq->sg", self.parts, pairs, self.parts))


def usual_ways(log_tau: float, spread: float, limits: Limits) -> NDArray[np.float64]:
    """Prior of shape and τ for a kind of pipe, from ln(τ/s) and its spread; (shapes, grid)."""
    by_tau = np.exp(-0.5 * ((np.log(GRID_S) - log_tau) / spread) ** 2)
    return np.asarray(np.multiply.outer(Shapes.of(limits).belief, by_tau / by_tau.sum()))


def kept(
    seen: NDArray[np.float64], usual: NDArray[np.float64], limits: Limits
) -> NDArray[np.float64]:
    """Prior for a pipe's next cooling, from what its last one showed.

    The same wall cools again, but air and hand differ: τ may have changed a little, and for a share
    of the belief (`limits.forgets`) nothing was learned.
    """
    steps = np.arange(-2 * STEPS, 2 * STEPS + 1)
    near = np.exp(-0.5 * (steps / STEPS / limits.tau_changes) ** 2)
    near /= near.sum()
    smooth = np.array([np.convolve(row, near, mode="full") for row in seen])
    smooth = smooth[:, 2 * STEPS : 2 * STEPS + seen.shape[1]]
    smooth = smooth / max(float(smooth.sum()), 1e-300)
    return np.asarray(limits.forgets * usual + (1.0 - limits.forgets) * smooth)
