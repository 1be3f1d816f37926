"""What an open end adds to a tube's length, by wave number: the exact integral and the fits.

The wave number is given as ka = 2πf·a/c for a radius a; corrections are in radii [-].
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ive, j1, jn_zeros, kve, y1

FIRST_ZERO_OF_J1 = float(jn_zeros(1, 1)[0])  # 3.8317; above it a second mode travels in the tube


def unflanged_exact(ka: float) -> float:
    """End correction of a thin-walled open tube in free air [radii].

    Parameters
    ----------
    ka : float
        Wave number times radius [-], 0 to 3.83.

    Raises
    ------
    ValueError
        When `ka` lies outside that.

    Notes
    -----
    Levine and Schwinger 1948, Phys. Rev. 73:383, eq. VI.4:

    l/a = (1/π)·∫₀^ka ln(π J₁ √(J₁² + N₁²)) / (x √(ka² − x²)) dx
    + (1/π)·∫₀^∞ ln(1/(2 I₁ K₁)) / (x √(x² + ka²)) dx

    Range ka < 3.83, infinitely thin wall, no flow. 0.6127 at ka → 0; the paper prints 0.6133. The
    difference is 0.02 cent. Numerical error here below 1e-5.
    """
    if not 0.0 <= ka < FIRST_ZERO_OF_J1:
        raise ValueError(f"ka must lie from 0 to {FIRST_ZERO_OF_J1:.2f}, not {ka!r}")
    # second integral with x = e^u: smooth and vanishing on both sides, where the trapezium rule is
    # as good as exact
    u = np.arange(-30.0, 40.0, 0.05)
    x = np.exp(u)
    outer = np.sum(-_log_2ik(x) / np.hypot(x, ka)) * 0.05
    if ka == 0.0:
        return float(outer / math.pi)
    # first integral with x = ka sin θ, which takes the root out
    nodes, weights = np.polynomial.legendre.leggauss(64)
    theta = math.pi / 4.0 * (nodes + 1.0)
    y = ka * np.sin(theta)
    log = np.log(math.pi * j1(y) * np.hypot(j1(y), y1(y)))
    inner = np.sum(weights * log / y) * math.pi / 4.0
    return float((inner + outer) / math.pi)


def unflanged_fit(ka: float) -> float:
    """The same by a fit [radii].

    Raises
    ------
    ValueError
        When `ka` lies outside 0 to 1.5.

    Notes
    -----
    0.6133 [(1 + 0.044 k²)/(1 + 0.19 k²) − 0.02 sin²(2k)], k = ka. Dalmont, Nederveen and Joly 2001,
    J. Sound Vib. 244:505. Range ka < 1.5. Within 0.002 of `unflanged_exact` to ka = 1.
    """
    if not 0.0 <= ka <= 1.5:
        raise ValueError(f"the fit holds for ka from 0 to 1.5, not {ka!r}")
    square = ka * ka
    bend = 0.02 * math.sin(2.0 * ka) ** 2
    return 0.6133 * ((1.0 + 0.044 * square) / (1.0 + 0.19 * square) - bend)


def flanged_fit(ka: float) -> float:
    """End correction of a tube that opens in an infinite wall, by a fit [radii].

    Raises
    ------
    ValueError
        When `ka` lies outside 0 to 3.5.

    Notes
    -----
    0.8216 / [1 + (0.77 k)²/(1 + 0.77 k)], k = ka. Norris and Sheng 1989, J. Sound Vib. 135:85.
    Range ka < 3.5; source's error not read.
    """
    if not 0.0 <= ka <= 3.5:
        raise ValueError(f"the fit holds for ka from 0 to 3.5, not {ka!r}")
    bent = 0.77 * ka
    return 0.8216 / (1.0 + bent**2 / (1.0 + bent))


def _log_2ik(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """ln(2 I₁(x) K₁(x)) without loss of figures at either end."""
    middle = np.clip(x, 1e-3, 1e3)
    # the scaled functions: I₁K₁ = ive·kve, without overflow
    log = np.log(2.0 * ive(1, middle) * kve(1, middle))
    # Abramowitz and Stegun 9.6.10, 9.6.11 for small x; 9.7.5 for large, where the next term is
    # below 4e-7
    small = x**2 * (0.5 * np.log(x / 2.0) + 0.5 * np.euler_gamma - 0.125)
    return np.where(x < 1e-3, small, np.where(x > 1e3, -np.log(x), log))
