"""Mixtures of a few normals, many at once: density, distribution, quantiles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

FloatArray = NDArray[np.float64]

_HALVINGS = 40


@dataclass(frozen=True, eq=False)
class NormalParts:
    """One mixture of normals for each of n quantities.

    Attributes
    ----------
    weights : (n, k) array
        Each row sums to 1.
    means, sigmas : (n, k) arrays
    """

    weights: FloatArray
    means: FloatArray
    sigmas: FloatArray

    def __post_init__(self) -> None:
        if not (self.weights.shape == self.means.shape == self.sigmas.shape):
            raise ValueError("weights, means and sigmas are of one shape")

    @property
    def mean(self) -> FloatArray:
        """Mean of each, shape (n,)."""
        mean: FloatArray = (self.weights * self.means).sum(axis=1)
        return mean

    @property
    def sigma(self) -> FloatArray:
        """Standard deviation of each, shape (n,)."""
        off = self.means - self.mean[:, None]
        sigma: FloatArray = np.sqrt((self.weights * (self.sigmas**2 + off**2)).sum(axis=1))
        return sigma

    def widened(self, sigma: FloatArray | float) -> NormalParts:
        """The same with an independent normal added; `sigma` is a number or of shape (n,)."""
        more = np.broadcast_to(np.asarray(sigma, dtype=np.float64), (len(self.weights),))
        return NormalParts(self.weights, self.means, np.hypot(self.sigmas, more[:, None]))

    def moved(self, by: FloatArray | float) -> NormalParts:
        """The same shifted by one number, or by one for each, shape (n,)."""
        shift = np.broadcast_to(np.asarray(by, dtype=np.float64), (len(self.weights),))
        return NormalParts(self.weights, self.means + shift[:, None], self.sigmas)

    def chosen(self, which: NDArray[np.bool_] | NDArray[np.int64]) -> NormalParts:
        """Only some of them."""
        return NormalParts(self.weights[which], self.means[which], self.sigmas[which])

    def log_density(self, at: FloatArray) -> FloatArray:
        """Natural logarithm of the density of each at its point, shape (n,)."""
        z = (at[:, None] - self.means) / self.sigmas
        density = (self.weights * np.exp(-0.5 * z**2) / self.sigmas).sum(axis=1)
        log: FloatArray = np.log(density / np.sqrt(2.0 * np.pi) + 1e-300)
        return log

    def below(self, at: FloatArray | float) -> FloatArray:
        """Chance that each is below a number, or below its own, shape (n,)."""
        place = np.broadcast_to(np.asarray(at, dtype=np.float64), (len(self.weights),))
        chance: FloatArray = (self.weights * ndtr((place[:, None] - self.means) / self.sigmas)).sum(
            axis=1
        )
        return chance

    def within(self, low: FloatArray | float, high: FloatArray | float) -> FloatArray:
        """Chance that each is between two numbers, shape (n,)."""
        chance: FloatArray = np.clip(self.below(high) - self.below(low), 0.0, 1.0)
        return chance

    def quantile(self, share: float) -> FloatArray:
        """The quantile of each, shape (n,); by bisection."""
        if not 0.0 < share < 1.0:
            raise ValueError(f"a quantile is asked for between 0 and 1, not {share!r}")
        edges = self.means + self.sigmas * ndtri(share)
        used = self.weights > 0.0
        low = np.where(used, edges, np.inf).min(axis=1)
        high = np.where(used, edges, -np.inf).max(axis=1)
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            under = self.below(middle) < share
            low = np.where(under, middle, low)
            high = np.where(under, high, middle)
        found: FloatArray = 0.5 * (low + high)
        return found


def of_normals(means: FloatArray, sigmas: FloatArray) -> NormalParts:
    """Plain normals, shape (n,), as mixtures of one part."""
    return NormalParts(np.ones((len(means), 1)), means[:, None], sigmas[:, None])
