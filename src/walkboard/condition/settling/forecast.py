"""Where a handled pipe will settle, from the first seconds after the hand is off it.

Readings y at times t follow f∞ + Δ e^(−t/τ) plus the pipe's own slow wander and their errors. For a
given τ this is linear in f∞ and Δ, and normal: their posterior and the evidence of τ have closed
forms (Bretthorst 1988, Bayesian Spectrum Analysis and Parameter Estimation, chapter 3; from
memory). τ is then summed over a fine grid of 300 points, even in its logarithm from 5 to 500 s; a
coarse grid would make the sum too sure of itself. Where the readings scatter more than they say,
all their errors count more, never less.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.physics.settling import seconds_until

_GRID_S = np.geomspace(5.0, 500.0, 300)
_WANDER_CENTS = 0.1  # of a pipe by itself, over a second or two: listening's studies
_WANDER_MEMORY_S = 0.5
_FAR_CENTS = 100.0  # standard deviation of where a pipe may settle, before it is heard
_MOST_READINGS = 160
_WITHIN_CENTS = 0.5
_KNOWN_TAUS = 1.4  # python -m bench settling: 95 % within half a cent


@dataclass(frozen=True, slots=True)
class Warmth:
    """What is thought of a kind of pipe before it is heard.

    Attributes
    ----------
    tau_s : float
        Median time constant [s].
    spread : float
        Standard deviation of its natural logarithm.
    offset_cents : float
        Standard deviation of the offset that a hand leaves [cents].
    """

    tau_s: float = 50.0
    spread: float = 0.7
    offset_cents: float = 15.0

    def __post_init__(self) -> None:
        if not (self.tau_s > 0.0 and self.spread > 0.0 and self.offset_cents > 0.0):
            raise ValueError("time constant, spread and offset must be positive")


USUAL = Warmth()


@dataclass(frozen=True, slots=True)
class Forecast:
    """Where a pipe will settle.

    Attributes
    ----------
    settled_cents, sigma_cents : float
        Where it will stand and one standard deviation [cents].
    above_cents : float
        How far it now stands above that: set it so far sharp of its target (flat, where negative),
        and it ends on it.
    tau_s : float
        Posterior median time constant [s].
    log_tau, log_tau_sigma : float
        Posterior mean and standard deviation of ln(τ/s), to learn from.
    seconds : float
        From now until it is within half a cent of where it settles, and sure to be [s].
    known_in_s : float
        From now until the forecast itself will do: 1.4 time constants after the hand went off [s].
    offset_cents, offset_sigma_cents : float
        How far above that it stood when the hand went off, to learn from [cents].
    """

    settled_cents: float
    sigma_cents: float
    above_cents: float
    tau_s: float
    log_tau: float
    log_tau_sigma: float
    seconds: float
    known_in_s: float = 0.0
    offset_cents: float = 0.0
    offset_sigma_cents: float = 0.0

    @property
    def is_settled(self) -> bool:
        """Whether what is heard now can be believed."""
        return self.seconds <= 0.0

    @property
    def words(self) -> str:
        """What to tell the tuner, as ``believe it in about 40 s; set it 3.0 cents flat now``.

        The first while the forecast is unsure, the second once it is worth something.
        """
        if self.is_settled:
            return ""
        parts = []
        unsure = self.sigma_cents > 0.5 * _WITHIN_CENTS
        wait_s = min(self.seconds, self.known_in_s) if unsure else 0.0
        if unsure:
            parts.append(f"believe it in about {max(5, 5 * round(wait_s / 5.0))} s")
        if self.sigma_cents < _WITHIN_CENTS and abs(self.above_cents) >= 0.05:
            side = "sharp" if self.above_cents > 0.0 else "flat"
            parts.append(f"set it {abs(self.above_cents):.1f} cents {side} now")
        return "; ".join(parts)


def forecast(
    times_s: Sequence[float] | NDArray[np.float64],
    cents: Sequence[float] | NDArray[np.float64],
    sigma_cents: Sequence[float] | NDArray[np.float64],
    warmth: Warmth = USUAL,
) -> Forecast:
    """Forecast where a pipe will settle.

    Parameters
    ----------
    times_s : sequence of float, shape (n,)
        Since the hand was taken off, rising; the last is now [s].
    cents : sequence of float, shape (n,)
        Readings against any one place [cents].
    sigma_cents : sequence of float, shape (n,)
        One standard deviation of each [cents].
    warmth : Warmth
        Of this kind of pipe, see `learn_warmth`.

    Raises
    ------
    ValueError
        When there is no reading, the lengths differ, a time falls or is negative, or a value is no
        number.
    """
    t, y, sigma = (np.asarray(v, dtype=np.float64) for v in (times_s, cents, sigma_cents))
    if not (len(t) == len(y) == len(sigma) > 0):
        raise ValueError("times, cents and sigmas must be equally many, one or more")
    if not (np.isfinite(t).all() and np.isfinite(y).all() and np.isfinite(sigma).all()):
        raise ValueError("times, cents and sigmas must be finite numbers")
    if t[0] < 0.0 or (np.diff(t) < 0.0).any() or (sigma <= 0.0).any():
        raise ValueError("times must rise from 0 and sigmas be positive; since when was it let go?")
    now_s = float(t[-1])
    t, y, sigma = _thinned(t, y, sigma)
    place = float(y[-1])
    y = y - place
    return _summed(t, y, sigma, now_s, place, warmth)


def _thinned(
    t: NDArray[np.float64], y: NDArray[np.float64], sigma: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Not more readings than there is time for: every n-th, the newest among them."""
    step = math.ceil(len(t) / _MOST_READINGS)
    keep = np.arange(len(t) - 1, -1, -step)[::-1]
    return t[keep], y[keep], sigma[keep]


def _summed(  # noqa: PLR0917
    t: NDArray[np.float64],
    y: NDArray[np.float64],
    sigma: NDArray[np.float64],
    now_s: float,
    place: float,
    warmth: Warmth,
) -> Forecast:
    root = np.linalg.cholesky(_noise(t, sigma))
    rest = np.exp(-np.divide.outer(t, _GRID_S))  # (n, grid)
    columns = np.linalg.solve(root, np.column_stack([y, np.ones(len(t)), rest]))
    heard, one, falling = columns[:, 0], columns[:, 1], columns[:, 2:]
    left, precision, mean = _solve(heard, one, falling, warmth, 1.0)
    if len(t) > 6:
        # The least of what the readings leave over says how far their errors are to be believed.
        scale = max(1.0, float(left.min()) / (len(t) - 3.0))
        if scale > 1.0:
            root_scale = math.sqrt(scale)
            heard, one, falling = heard / root_scale, one / root_scale, falling / root_scale
            left, precision, mean = _solve(heard, one, falling, warmth, 1.0)
    det = precision[0] * precision[2] - precision[1] ** 2
    log_tau = np.log(_GRID_S)
    prior = -0.5 * ((log_tau - math.log(warmth.tau_s)) / warmth.spread) ** 2
    log_weight = -0.5 * left - 0.5 * np.log(det) + prior
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    settled, offset = mean
    variance = precision[2] / det
    centre = float(weight @ settled)
    total = float(weight @ (variance + (settled - centre) ** 2))
    left_cents = float(weight @ offset)
    above = offset * np.exp(-now_s / _GRID_S)
    log_mean = float(weight @ log_tau)
    log_sigma = math.sqrt(max(0.0, float(weight @ (log_tau - log_mean) ** 2)))
    median = float(_GRID_S[int(np.searchsorted(np.cumsum(weight), 0.5))])
    # Sure to be: within what two thirds of all that it may be needs, and a little more.
    own = np.sqrt(precision[0] / det) * np.exp(-now_s / _GRID_S)
    waits = np.array(
        [
            seconds_until(_WITHIN_CENTS, abs(a) + s, tau)
            for a, s, tau in zip(above, own, _GRID_S, strict=True)
        ]
    )
    order = np.argsort(waits)
    at = int(np.searchsorted(np.cumsum(weight[order]), 0.8))
    return Forecast(
        settled_cents=place + centre,
        sigma_cents=math.sqrt(total),
        above_cents=float(weight @ above),
        tau_s=median,
        log_tau=log_mean,
        log_tau_sigma=log_sigma,
        seconds=float(waits[order[min(at, len(order) - 1)]]),
        known_in_s=max(0.0, _KNOWN_TAUS * median - now_s),
        offset_cents=left_cents,
        offset_sigma_cents=math.sqrt(
            float(weight @ (precision[0] / det + (offset - left_cents) ** 2))
        ),
    )


def mean_of(
    times_s: Sequence[float] | NDArray[np.float64],
    cents: Sequence[float] | NDArray[np.float64],
    sigma_cents: Sequence[float] | NDArray[np.float64],
) -> tuple[float, float]:
    """Where a pipe stands that no hand was on, with one standard deviation [cents].

    The weighted mean of its readings, each with its own error and all with the pipe's slow wander
    (generalised least squares; textbook). Scatter beyond that makes it less sure, as in `forecast`.

    Parameters
    ----------
    times_s, cents, sigma_cents : sequence of float, shape (n,)
        As for `forecast`.

    Raises
    ------
    ValueError
        When there is no reading or the lengths differ.
    """
    t, y, sigma = (np.asarray(v, dtype=np.float64) for v in (times_s, cents, sigma_cents))
    if not (len(t) == len(y) == len(sigma) > 0):
        raise ValueError("times, cents and sigmas must be equally many, one or more")
    t, y, sigma = _thinned(t, y, sigma)
    both = np.linalg.solve(np.linalg.cholesky(_noise(t, sigma)), np.stack([y, np.ones(len(t))]).T)
    precision = float(both[:, 1] @ both[:, 1])
    mean = float(both[:, 1] @ both[:, 0]) / precision
    left = float(((both[:, 0] - mean * both[:, 1]) ** 2).sum())
    scale = max(1.0, left / (len(t) - 1.0)) if len(t) > 4 else 1.0
    return mean, math.sqrt(scale / precision)


def _noise(t: NDArray[np.float64], sigma: NDArray[np.float64]) -> NDArray[np.float64]:
    """Covariance of readings: a pipe's own wander and each one's error."""
    noise = _WANDER_CENTS**2 * np.exp(-np.abs(np.subtract.outer(t, t)) / _WANDER_MEMORY_S)
    noise[np.diag_indices(len(t))] += sigma**2
    return np.asarray(noise)


def _solve(
    heard: NDArray[np.float64],
    one: NDArray[np.float64],
    falling: NDArray[np.float64],
    warmth: Warmth,
    scale: float,
) -> tuple[
    NDArray[np.float64],
    tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
    tuple[NDArray[np.float64], NDArray[np.float64]],
]:
    """For every τ: what is left over, the precision of (f∞, Δ), and their mean."""
    a = np.full(falling.shape[1], float(one @ one) + scale / _FAR_CENTS**2)
    b = one @ falling
    c = (falling**2).sum(axis=0) + scale / warmth.offset_cents**2
    p = np.full(falling.shape[1], float(one @ heard))
    q = falling.T @ heard
    det = a * c - b**2
    settled = (c * p - b * q) / det
    offset = (a * q - b * p) / det
    left = float(heard @ heard) - settled * p - offset * q
    return left, (a, b, c), (settled, offset)
