"""Where a pipe will settle, from the first seconds after the hand is off it.

Readings y at times t follow f∞ + Δ e^(−t/τ) plus the pipe's own slow wander and their errors. For
a given τ and a given width of Δ's prior this is linear in f∞ and Δ, and normal: posterior and
evidence have closed forms (Bretthorst 1988, Bayesian Spectrum Analysis and Parameter Estimation,
chapter 3; from memory). They are summed over a fine grid of τ, even in its logarithm from 5 to
500 s (a coarse grid would make the sum too sure of itself), and over three widths, for a hand may
leave a pipe far warmer than is usual.

No pipe keeps the law: the air in it cools faster than its wall. So a part of Δ of unknown size may
fall faster, by e in τ/4; it is summed out as well. A pipe that nobody was seen to touch may be warm
all the same: then a share of the belief is that it is not, and the readings decide. Where the
readings scatter more than they say, all their errors count more, never less.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

_GRID_S = np.geomspace(5.0, 500.0, 300)
_WANDER_CENTS = 0.1  # of a pipe by itself, over a second or two: listening's studies
_WANDER_MEMORY_S = 0.5
_FAR_CENTS = 100.0  # standard deviation of where a pipe may settle, before it is heard
_MOST_READINGS = 120
_WITHIN_CENTS = 0.5
_ENOUGH_FOR_SCATTER = 4
_KNOWN_TAUS = 1.4  # python -m bench settling: 95 % within half a cent
_DRIFT_CENTS, _DRIFT_MEMORY_S = 0.04, 2.0  # slower wander, with the wind; chosen
# How far hands leave pipes, as multiples of what is usual for their kind, and how often; fitted by
# bench settling on pipes whose wall and air cool apart.
_WIDTHS = (0.4, 1.0, 2.2)
_WIDTH_SHARES = (0.4, 0.4, 0.2)
_LAW_SHARE = 0.15  # of what is still to go, that the law may miss: fitted by bench settling
_FAST_SHARES = (0.01, 0.25)  # of Δ that may fall faster: where the law is kept, where it is not
_FAST_TIMES = 4.0  # how much faster; all three chosen


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
    cold_share : float
        Belief that nobody has warmed it, 0 to 1.
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
    cold_share: float = 0.0

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
    untouched: float = 0.0,
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
        Habits of this kind of pipe, see `learn_warmth`.
    untouched : float
        Belief before the readings that no hand has warmed it, 0 to 1.

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
    return _summed(t, y, sigma, now_s, place, warmth, untouched)


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
    untouched: float,
) -> Forecast:
    root = np.linalg.cholesky(_noise(t, sigma))
    rest = np.exp(-np.divide.outer(t, _GRID_S))  # (n, grid)
    fast = np.exp(-_FAST_TIMES * np.divide.outer(t, _GRID_S))
    columns = solve_triangular(root, np.column_stack([y, np.ones(len(t)), rest, fast]), lower=True)
    heard, one = columns[:, 0], columns[:, 1]
    falling, fast = columns[:, 2 : 2 + len(_GRID_S)], columns[:, 2 + len(_GRID_S) :]
    fits = _fits(heard, one, falling, fast, warmth)
    if len(t) > _ENOUGH_FOR_SCATTER:
        # What the best fit leaves over says how far the errors are to be believed.
        scale = max(1.0, float(fits.left.min()) / (len(t) - 3.0))
        if scale > 1.0:
            root_scale = math.sqrt(scale)
            heard, one = heard / root_scale, one / root_scale
            fits = _fits(heard, one, falling / root_scale, fast / root_scale, warmth)
    log_tau = np.log(_GRID_S)
    prior = -0.5 * ((log_tau - math.log(warmth.tau_s)) / warmth.spread) ** 2
    prior -= math.log(float(np.exp(prior).sum()))
    log_weight = (
        fits.log_evidence + prior + np.log(np.repeat(_WIDTH_SHARES, 2) / 2.0)[:, np.newaxis]
    )
    cold = _cold(heard, one)
    log_cold = cold.log_evidence + (math.log(untouched) if untouched > 0.0 else -math.inf)
    log_weight = log_weight + (math.log1p(-untouched) if untouched < 1.0 else -math.inf)
    top = max(float(log_weight.max()), log_cold)
    weight = np.exp(log_weight - top)
    cold_weight = math.exp(log_cold - top)
    total_weight = float(weight.sum()) + cold_weight
    weight /= total_weight
    cold_weight /= total_weight
    gone = np.exp(-now_s / _GRID_S)
    above = fits.offset * gone
    variance = fits.settled_variance + (_LAW_SHARE * above) ** 2
    centre = float((weight * fits.settled).sum()) + cold_weight * cold.mean
    spread = float((weight * (variance + (fits.settled - centre) ** 2)).sum())
    spread += cold_weight * (cold.variance + (cold.mean - centre) ** 2)
    left_cents = float((weight * fits.offset).sum())
    by_tau = weight.sum(axis=0)
    by_tau /= max(float(by_tau.sum()), 1e-300)
    log_mean = float(by_tau @ log_tau)
    log_sigma = math.sqrt(max(0.0, float(by_tau @ (log_tau - log_mean) ** 2)))
    median = float(_GRID_S[min(int(np.searchsorted(np.cumsum(by_tau), 0.5)), len(_GRID_S) - 1)])
    offset_spread = float((weight * (fits.offset_variance + (fits.offset - left_cents) ** 2)).sum())
    return Forecast(
        settled_cents=place + centre,
        sigma_cents=math.sqrt(spread),
        above_cents=float((weight * above).sum()),
        tau_s=median,
        log_tau=log_mean,
        log_tau_sigma=log_sigma,
        seconds=_seconds(weight, above, np.sqrt(fits.offset_variance) * gone),
        known_in_s=max(0.0, _KNOWN_TAUS * median - now_s),
        offset_cents=left_cents,
        offset_sigma_cents=math.sqrt(offset_spread + cold_weight * left_cents**2),
        cold_share=cold_weight,
    )


def _seconds(
    weight: NDArray[np.float64], above: NDArray[np.float64], unsure: NDArray[np.float64]
) -> float:
    """Until it is within half a cent: what two thirds of all that it may be need, and a little."""
    far = np.maximum(np.abs(above) + unsure, 1e-12)
    waits = np.maximum(0.0, _GRID_S * np.log(far / _WITHIN_CENTS)).ravel()
    order = np.argsort(waits)
    at = int(np.searchsorted(np.cumsum(weight.ravel()[order]), 0.8))
    return float(waits[order[at]]) if at < len(order) else 0.0


@dataclass(frozen=True, slots=True)
class _Fits:
    """For every width and τ, shape (widths, grid): mean and variance of f∞ and Δ, the evidence."""

    settled: NDArray[np.float64]
    offset: NDArray[np.float64]
    settled_variance: NDArray[np.float64]
    offset_variance: NDArray[np.float64]
    left: NDArray[np.float64]
    log_evidence: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _Cold:
    """A pipe that stands: its mean, the variance of that, the evidence."""

    mean: float
    variance: float
    log_evidence: float


def _fits(
    heard: NDArray[np.float64],
    one: NDArray[np.float64],
    falling: NDArray[np.float64],
    fast: NDArray[np.float64],
    warmth: Warmth,
) -> _Fits:
    # The fast part is summed out: inner products as if its column were noise (Sherman, Morrison).
    width = warmth.offset_cents * np.repeat(_WIDTHS, 2)[:, np.newaxis]
    fast_width = width * np.tile(_FAST_SHARES, len(_WIDTHS))[:, np.newaxis]
    fast_power = (fast**2).sum(axis=0)
    share = 1.0 / (1.0 / fast_width**2 + fast_power)
    with_one, with_falling, with_heard = one @ fast, (falling * fast).sum(axis=0), heard @ fast
    a = float(one @ one) + 1.0 / _FAR_CENTS**2 - share * with_one**2
    b = one @ falling - share * with_one * with_falling
    c = (falling**2).sum(axis=0) - share * with_falling**2 + 1.0 / width**2
    p = float(one @ heard) - share * with_one * with_heard
    q = heard @ falling - share * with_falling * with_heard
    det = a * c - b**2
    settled = (c * p - b * q) / det
    offset = (a * q - b * p) / det
    left = float(heard @ heard) - share * with_heard**2 - settled * p - offset * q
    log_evidence = -0.5 * left - 0.5 * np.log(det) - np.log(width)
    log_evidence -= 0.5 * np.log1p(fast_width**2 * fast_power)
    return _Fits(settled, offset, c / det, a / det, left, log_evidence)


def _cold(heard: NDArray[np.float64], one: NDArray[np.float64]) -> _Cold:
    a = float(one @ one) + 1.0 / _FAR_CENTS**2
    p = float(one @ heard)
    left = float(heard @ heard) - p * p / a
    return _Cold(p / a, 1.0 / a, -0.5 * left - 0.5 * math.log(a))


def _noise(t: NDArray[np.float64], sigma: NDArray[np.float64]) -> NDArray[np.float64]:
    """Covariance of readings: a pipe's own wander and each one's error."""
    apart = np.abs(np.subtract.outer(t, t))
    noise = _WANDER_CENTS**2 * np.exp(-apart / _WANDER_MEMORY_S)
    noise += _DRIFT_CENTS**2 * np.exp(-apart / _DRIFT_MEMORY_S)
    noise[np.diag_indices(len(t))] += sigma**2
    return np.asarray(noise)
