"""The common pitch of a group of pipes, some of which have strayed.

Most pipes scatter evenly about the common pitch; a few have strayed, and those usually to one side,
because slides and stoppers slip down and dust makes flat. A mean is pulled by them, and so is every
estimate that treats both sides alike (Huber's, the median). Here each pipe is either in the core,
normal with a known spread, or a stray sharp or flat of it, with separate unknown shares. Whole
ranks have also moved a little, so many pipes of one rank say less than a few pipes of many.

The posterior is calculated on a grid: exact for this model apart from the grid's steps.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

STEP_CENTS = 0.1
# Possible shares of strays to one side, equally likely; the other side has its own.
STRAY_SHARES = (0.02, 0.10, 0.28)
# How the core's spread may differ from the usual of its kind, and how likely that is: a newly tuned
# organ scatters less, a neglected one more.
CORE_FACTORS = (0.5, 0.71, 1.0, 1.41, 2.0)
CORE_CHANCES = (0.04, 0.13, 0.66, 0.13, 0.04)
# Strays: how far out. Four fifths are near (a gamma of shape 2, most often 6 cents out), one fifth
# can be anywhere (half a Cauchy of scale 12 cents). Chosen, after slips of 3 to 50 cents.
NEAR_CENTS, FAR_CENTS, FAR_SHARE = 6.0, 12.0, 0.2
# One rank in twenty has moved as a whole by some cents: it must not pull the others.
MOVED_SHARE, MOVED_CENTS = 0.05, 5.0
FARTHEST_CENTS = 40.0


@dataclass(frozen=True, slots=True)
class Spread:
    """How pipes of a kind scatter normally [cents, one standard deviation].

    Attributes
    ----------
    core_cents : float
        A pipe about its rank.
    rank_cents : float
        A rank as a whole about its division.
    """

    core_cents: float
    rank_cents: float


@dataclass(frozen=True, slots=True)
class Location:
    """A group's common pitch: posterior mean, standard deviation, and a 90 % interval [cents]."""

    cents: float
    sigma_cents: float
    low_cents: float
    high_cents: float


def locate(cents: FloatArray, sigma_cents: FloatArray, ranks: IntArray, spread: Spread) -> Location:
    """Common pitch of pipes of several ranks.

    Parameters
    ----------
    cents, sigma_cents : (n,) arrays
        Readings and their standard deviations.
    ranks : (n,) array of int
        Which rank each pipe is of; only sameness counts.
    spread : Spread

    Raises
    ------
    ValueError
        If there is no pipe.
    """
    if len(cents) == 0:
        raise ValueError("no pipe, no standing")
    parts = [ranks == rank for rank in np.unique(ranks)]
    stands = [float(np.median(cents[part])) for part in parts]
    least = np.hypot(
        spread.core_cents / np.sqrt(len(cents)), spread.rank_cents / np.sqrt(len(parts))
    )
    half = 3.0 + 8.0 * float(least)
    centre = _densest(cents, sigma_cents, spread)
    # ranks that are apart show other possible places of the whole: look there as well
    low = centre - half - min(FARTHEST_CENTS, max(0.0, centre - min(stands)))
    high = centre + half + min(FARTHEST_CENTS, max(0.0, max(stands) - centre))
    grid = np.arange(low, high + STEP_CENTS, STEP_CENTS)
    margin = round((8.0 if len(parts) > 1 else 5.0 * spread.rank_cents) / STEP_CENTS) + 1
    wide = grid[0] + STEP_CENTS * np.arange(-margin, len(grid) + margin)
    movement = rank_movement(wide[:, None] - grid, spread.rank_cents, alone=len(parts) == 1)
    cores = tuple(factor * spread.core_cents for factor in CORE_FACTORS)
    total = np.zeros((len(CORE_FACTORS), len(STRAY_SHARES) ** 2, len(grid)))
    for part in parts:
        curve = rank_curves(cents[part], sigma_cents[part], cores, wide)
        peak = curve.max(axis=-1, keepdims=True)
        total += peak + np.log(np.exp(curve - peak) @ movement + 1e-300)
    total += np.log(CORE_CHANCES)[:, None, None]
    weight = np.exp(total - total.max()).sum(axis=(0, 1))
    weight /= weight.sum()
    mean = float(weight @ grid)
    sigma = float(np.sqrt(weight @ (grid - mean) ** 2))
    cumulative = np.cumsum(weight) - 0.5 * weight
    interval = np.interp([0.05, 0.95], cumulative, grid)
    return Location(mean, sigma, float(interval[0]), float(interval[1]))


def rank_curves(
    cents: FloatArray,
    sigma_cents: FloatArray,
    core_cents: tuple[float, ...],
    grid: FloatArray,
    shares: tuple[float, ...] = STRAY_SHARES,
) -> FloatArray:
    """Log likelihood of pipes of one rank with the rank at each place of a grid.

    Returns
    -------
    (spreads, pairs of shares, grid) array
        For every spread of the core, and every pair of shares of strays, sharp and flat.
    """
    off = cents[:, None] - grid
    sharp, flat = _strayed(off), _strayed(-off)
    pairs = list(product(shares, repeat=2))
    strays = [up * sharp + down * flat + 1e-12 for up, down in pairs]
    curves = np.zeros((len(core_cents), len(pairs), len(grid)))
    for which, spread in enumerate(core_cents):
        core = _normal(off, np.hypot(spread, sigma_cents)[:, None])
        for index, (up, down) in enumerate(pairs):
            density = (1.0 - up - down) * core + strays[index]
            # products of a few at a time: far fewer logarithms, and none near underflow
            products = np.multiply.reduceat(density, np.arange(0, len(cents), 16), axis=0)
            curves[which, index] = np.log(products).sum(axis=0)
    return curves


def rank_movement(off: FloatArray, rank_cents: float, *, alone: bool) -> FloatArray:
    """Chance that a rank's own movement falls in the grid's cell about each place.

    A single rank cannot show whether it moved as a whole; `alone` leaves that out.
    """
    usual = _cell(off, rank_cents)
    if alone:
        return usual
    moved: FloatArray = (1.0 - MOVED_SHARE) * usual + MOVED_SHARE * _cell(off, MOVED_CENTS)
    return moved


def _cell(off: FloatArray, sigma: float) -> FloatArray:
    scale = max(sigma, 0.01 * STEP_CENTS)
    chance: FloatArray = ndtr((off + 0.5 * STEP_CENTS) / scale) - ndtr(
        (off - 0.5 * STEP_CENTS) / scale
    )
    return chance


def _densest(cents: FloatArray, sigma_cents: FloatArray, spread: Spread) -> float:
    """Where most pipes are, to half a cent: the start of the fine grid."""
    middle = float(np.median(cents))
    low, high = max(float(cents.min()), middle - 150.0), min(float(cents.max()), middle + 150.0)
    grid = np.arange(low - 1.0, high + 1.5, 0.5)
    off = cents[:, None] - grid
    wide = np.hypot(sigma_cents, np.hypot(spread.core_cents, spread.rank_cents))[:, None]
    density = 0.8 * _normal(off, wide) + 0.1 * (_strayed(off) + _strayed(-off))
    return float(grid[np.argmax(np.log(density + 1e-300).sum(axis=0))])


def _normal(off: FloatArray, sigma: FloatArray) -> FloatArray:
    density: FloatArray = np.exp(-0.5 * (off / sigma) ** 2) / (sigma * np.sqrt(2.0 * np.pi))
    return density


def _strayed(off: FloatArray) -> FloatArray:
    """Density of a stray so far sharp of the common pitch; zero on the flat side."""
    out = np.maximum(off, 0.0)
    near = out / NEAR_CENTS**2 * np.exp(-out / NEAR_CENTS)
    far = (2.0 / (np.pi * FAR_CENTS)) / (1.0 + (out / FAR_CENTS) ** 2)
    density: FloatArray = np.where(off > 0.0, (1.0 - FAR_SHARE) * near + FAR_SHARE * far, 0.0)
    return density
