"""f∞ and Δ for every way to cool at once: sums, means, variances and evidence."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from walkboard.condition.settling.ways import Limits, Shapes


@dataclass(frozen=True, slots=True)
class Sums:
    """Inner products of the whitened columns: readings (y), the constant (1), exponentials (e)."""

    yy: float
    y1: float
    one: float
    ye: NDArray[np.float64]
    oe: NDArray[np.float64]
    ee: NDArray[np.float64]

    @classmethod
    def of(
        cls, heard: NDArray[np.float64], one: NDArray[np.float64], falling: NDArray[np.float64]
    ) -> Sums:
        """From the columns, shapes (n,), (n,) and (n, long)."""
        return cls(
            float(heard @ heard),
            float(heard @ one),
            float(one @ one),
            heard @ falling,
            one @ falling,
            falling.T @ falling,
        )

    def believing(self, cents: float, sigma_cents: float) -> Sums:
        """With a belief in where it settles, as if that had been read once."""
        weight = 1.0 / sigma_cents**2
        return replace(
            self,
            yy=self.yy + weight * cents**2,
            y1=self.y1 + weight * cents,
            one=self.one + weight,
        )

    def scaled(self, scale: float) -> Sums:
        """With all errors' variances so many times as large."""
        return Sums(
            self.yy / scale,
            self.y1 / scale,
            self.one / scale,
            self.ye / scale,
            self.oe / scale,
            self.ee / scale,
        )


@dataclass(frozen=True, slots=True)
class Fits:
    """For either sign of Δ, every width, shape and τ, shape (2, widths, shapes, grid).

    Mean and variance of f∞ and Δ, the evidence; `left`, what the fit leaves over whatever the sign,
    (widths, shapes, grid).
    """

    settled: NDArray[np.float64]
    offset: NDArray[np.float64]
    settled_variance: NDArray[np.float64]
    offset_variance: NDArray[np.float64]
    left: NDArray[np.float64]
    log_evidence: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Cold:
    """A pipe that does not move: its mean, the variance of that, the evidence."""

    mean: float
    variance: float
    log_evidence: float


def fit_all(sums: Sums, shapes: Shapes, offset_cents: float, limits: Limits) -> Fits:
    """f∞ and Δ for every way, Δ of the usual size `offset_cents` times each width [cents].

    `sums` must include a belief in where the pipe settles.
    """
    width = offset_cents * np.array(limits.widths)[:, np.newaxis, np.newaxis]
    a = sums.one
    b, q = shapes.summed(sums.oe), shapes.summed(sums.ye)
    c = shapes.power(sums.ee) + 1.0 / width**2
    p = sums.y1
    det = a * c - b**2
    offset = (a * q - b * p) / det
    settled = (c * p - b * q) / det
    left = sums.yy - settled * p - offset * q
    log_evidence = -0.5 * left - 0.5 * np.log(det) - np.log(width)
    # A hand warms, seldom cools: Δ is cut at 0 to either side. f∞ given Δ is a line.
    sigma = np.sqrt(a / det)
    far = np.stack([offset / sigma, -offset / sigma])
    sure = log_ndtr(far)
    push = np.exp(-0.5 * far**2 - sure) / math.sqrt(2.0 * math.pi)
    side = np.array([1.0, -1.0])[:, np.newaxis, np.newaxis, np.newaxis]
    belief = np.log([1.0 - limits.colder, limits.colder])[:, np.newaxis, np.newaxis, np.newaxis]
    moved = side * sigma * push
    variance = sigma**2 * np.maximum(1.0 - push * (push + far), 1e-6)
    slope = -b / a
    return Fits(
        settled=settled + slope * moved,
        offset=offset + moved,
        settled_variance=1.0 / a + slope**2 * variance,
        offset_variance=variance,
        left=left,
        log_evidence=log_evidence + sure + belief + math.log(2.0),
    )


def fit_cold(sums: Sums) -> Cold:
    """f∞ of a pipe that nobody has warmed."""
    a = sums.one
    left = sums.yy - sums.y1**2 / a
    return Cold(sums.y1 / a, 1.0 / a, -0.5 * left - 0.5 * math.log(a))


def noise_of(
    t: NDArray[np.float64], sigma: NDArray[np.float64], limits: Limits
) -> NDArray[np.float64]:
    """Covariance of readings: a pipe's own wander and each one's error."""
    apart = np.abs(np.subtract.outer(t, t))
    noise = limits.wander_cents**2 * np.exp(-apart / limits.wander_memory_s)
    noise += limits.drift_cents**2 * np.exp(-apart / limits.drift_memory_s)
    noise[np.diag_indices(len(t))] += sigma**2
    return np.asarray(noise)
