"""Where a pipe will settle, from the first seconds after it was touched.

Readings y at times t follow f∞ + Δ g(t/τ) plus the pipe's own slow wander and their errors. For a
given way to cool g, time constant τ and width of Δ's prior this is linear in f∞ and Δ: posterior
and evidence have closed forms (Bretthorst 1988, Bayesian Spectrum Analysis and Parameter
Estimation, chapter 3; from memory), with Δ cut at 0, for a hand warms. They are summed over a fine
grid of τ, even in its logarithm from 5 to 500 s (a coarse grid would make the sum too sure of
itself), over several widths, for hands leave pipes more or less warm, and over the ways to cool
(`ways`): no pipe keeps to one exponential. The air in it cools faster than its wall, and heat that
creeps along the wall stays longer.

A pipe that nobody was seen to touch may be warm all the same: then a share of the belief is that it
is not, and the readings decide. Where the readings scatter more than they say, all their errors
count more, never less.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.special import ndtr

from walkboard.condition.settling.cooling_fit import Sums, fit_all, fit_cold, noise_of
from walkboard.condition.settling.ways import GRID_S, LIMITS, Limits, Shapes, usual_ways

_MOST_READINGS = 120
_WITHIN_CENTS = 0.5
_ENOUGH_FOR_SCATTER = 4
_KNOWN_TAUS = 1.4  # python -m bench settling: 95 % within half a cent


@dataclass(frozen=True, slots=True)
class Warmth:
    """The prior of a kind of pipe.

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
class Place:
    """Where it may settle, before it is heard.

    Attributes
    ----------
    cents, sigma_cents : float
        Against the reference of the readings [cents].
    belief : float
        That it is this one of several [-].
    """

    cents: float
    sigma_cents: float
    belief: float = 1.0


ANYWHERE = (Place(0.0, 100.0),)


@dataclass(frozen=True, slots=True)
class Forecast:
    """Where a pipe will settle.

    Attributes
    ----------
    settled_cents, sigma_cents : float
        Where it will be, and one standard deviation [cents].
    above_cents : float
        How far it is above that now: set it that much sharp of its target (flat, if negative), and
        it ends on it.
    tau_s : float
        Posterior median time constant [s].
    log_tau, log_tau_sigma : float
        Posterior mean and standard deviation of ln(τ/s), to learn from.
    seconds : float
        Time until it is certainly within half a cent of where it settles [s].
    known_in_s : float
        Time until the forecast itself is good enough: 1.4 time constants after the touch [s].
    offset_cents, offset_sigma_cents : float
        How far above that it was at the end of the touch, to learn from [cents].
    cold_share : float
        Probability that nobody has warmed it, 0 to 1.
    ways : ndarray, shape (shapes, grid), or None
        Probability of each way to cool and τ, a start for its next cooling (`ways.kept`).
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
    ways: NDArray[np.float64] | None = field(default=None, repr=False, compare=False)
    _heard_s: float = 0.0
    _settled: NDArray[np.float64] = field(default_factory=lambda: np.zeros((1, 1, 1)), repr=False)
    _offset: NDArray[np.float64] = field(default_factory=lambda: np.zeros((1, 1, 1)), repr=False)
    _weights: NDArray[np.float64] = field(default_factory=lambda: np.ones(1), repr=False)
    _means: NDArray[np.float64] = field(default_factory=lambda: np.zeros(1), repr=False)
    _sigmas: NDArray[np.float64] = field(default_factory=lambda: np.ones(1), repr=False)

    def outside(self, tolerance_cents: float) -> float:
        """Chance that it settles outside a tolerance around 0, from the whole sum [0 to 1]."""
        above = ndtr((tolerance_cents - self._means) / self._sigmas)
        below = ndtr((-tolerance_cents - self._means) / self._sigmas)
        return float(self._weights @ (1.0 - (above - below)))

    @property
    def on_other_side(self) -> float:
        """Chance that it settles on the other side of 0 than its mean does [0 to 1]."""
        below = float(self._weights @ ndtr(-self._means / self._sigmas))
        return below if self.settled_cents > 0.0 else 1.0 - below

    def due(self, later_s: float, limits: Limits = LIMITS) -> tuple[float, float]:
        """Where it should stand so much later, if nobody touches it, and σ [cents].

        Without the whole sum (`ways` is None), where it should stand now.
        """
        if self.ways is None:
            return self.settled_cents + self.above_cents, self.sigma_cents
        shapes = Shapes.of(limits)
        gone = shapes.summed(np.exp(-(self._heard_s + later_s) / shapes.every_s))
        stands = (self._settled + self._offset * gone).ravel()
        weight = self._weights[: len(stands)]
        cold = self._weights[len(stands) :]
        cold_mean = self._means[len(stands) :]
        mean = float(weight @ stands) + float(cold @ cold_mean)
        variance = float(weight @ (stands - mean) ** 2) + float(cold @ (cold_mean - mean) ** 2)
        return mean, math.sqrt(variance)

    @property
    def is_settled(self) -> bool:
        """Whether the present pitch can be believed."""
        return self.seconds <= 0.0

    @property
    def words(self) -> str:
        """Advice for the tuner, as ``believe it in about 40 s; set it 3.0 cents flat now``.

        The first while the forecast is uncertain, the second once it is useful.
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


def forecast(  # noqa: PLR0917
    times_s: Sequence[float] | NDArray[np.float64],
    cents: Sequence[float] | NDArray[np.float64],
    sigma_cents: Sequence[float] | NDArray[np.float64],
    warmth: Warmth = USUAL,
    untouched: float = 0.0,
    limits: Limits = LIMITS,
    *,
    places: Sequence[Place] = ANYWHERE,
    ways: NDArray[np.float64] | None = None,
) -> Forecast:
    """Forecast where a pipe will settle.

    Parameters
    ----------
    times_s : sequence of float, shape (n,)
        Since the end of the touch, rising; the last is now [s].
    cents : sequence of float, shape (n,)
        Readings against any fixed reference [cents].
    sigma_cents : sequence of float, shape (n,)
        One standard deviation of each [cents].
    warmth : Warmth
        Habits of this kind of pipe, see `learn_warmth`.
    untouched : float
        Prior probability that no hand has warmed it, 0 to 1.
    places : sequence of Place
        Where it may settle, as far as known before it is heard: its beliefs add up to 1.
    ways : ndarray, shape (shapes, grid), optional
        Prior of the ways to cool and τ, from an earlier cooling; instead of the warmth's τ.

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
    if ways is None:
        ways = usual_ways(math.log(warmth.tau_s), warmth.spread, limits)
    near = [replace(one, cents=one.cents - place) for one in places]
    if near[0].sigma_cents >= ANYWHERE[0].sigma_cents:
        near[0] = ANYWHERE[0]  # so far off that it need not be moved along
    return _summed(t, y, sigma, now_s, place, warmth.offset_cents, untouched, near, ways, limits)


def _thinned(
    t: NDArray[np.float64], y: NDArray[np.float64], sigma: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """No more readings than time allows: every n-th, including the newest."""
    step = math.ceil(len(t) / _MOST_READINGS)
    keep = np.arange(len(t) - 1, -1, -step)[::-1]
    return t[keep], y[keep], sigma[keep]


def _summed(  # noqa: PLR0917
    t: NDArray[np.float64],
    y: NDArray[np.float64],
    sigma: NDArray[np.float64],
    now_s: float,
    place: float,
    offset_cents: float,
    untouched: float,
    places: Sequence[Place],
    ways: NDArray[np.float64],
    limits: Limits,
) -> Forecast:
    root = np.linalg.cholesky(noise_of(t, sigma, limits))
    # One exponential for each time constant of the grid and beyond both its ends: every shape is a
    # sum of three of them.
    shapes = Shapes.of(limits)
    rest = np.exp(-np.divide.outer(t, shapes.every_s))
    columns = solve_triangular(root, np.column_stack([y, np.ones(len(t)), rest]), lower=True)
    sums = Sums.of(columns[:, 0], columns[:, 1], columns[:, 2:])
    if len(t) > _ENOUGH_FOR_SCATTER:
        # The residuals of the best fit show how far to trust the stated errors. They never count
        # for less than stated: a way to cool that is not among these would be believed.
        anywhere = sums.believing(ANYWHERE[0].cents, ANYWHERE[0].sigma_cents)
        left = float(fit_all(anywhere, shapes, offset_cents, limits).left.min())
        sums = sums.scaled(max(1.0, left / (len(t) - 3.0)))
    log_prior = np.log(np.maximum(ways, 1e-300)) + np.log(limits.width_beliefs)[:, None, None]
    parts, log_weights, colds, log_colds = [], [], [], []
    for one in places:
        believing = sums.believing(one.cents, one.sigma_cents)
        log_belief = math.log(one.belief / one.sigma_cents)
        fits = fit_all(believing, shapes, offset_cents, limits)
        parts.append(fits)
        warm = math.log1p(-untouched) if untouched < 1.0 else -math.inf
        log_weights.append(fits.log_evidence + log_prior + (log_belief + warm))
        cold = fit_cold(believing)
        colds.append(cold)
        is_cold = math.log(untouched) if untouched > 0.0 else -math.inf
        log_colds.append(cold.log_evidence + log_belief + is_cold)
    log_weight, log_cold = np.stack(log_weights), np.array(log_colds)
    top = max(float(log_weight.max()), float(log_cold.max()))
    weight, cold_weight = np.exp(log_weight - top), np.exp(log_cold - top)
    total_weight = float(weight.sum()) + float(cold_weight.sum())
    weight /= total_weight
    cold_weight /= total_weight
    settled = np.stack([fits.settled for fits in parts])
    offset = np.stack([fits.offset for fits in parts])
    offset_variance = np.stack([fits.offset_variance for fits in parts])
    gone = shapes.summed(np.exp(-now_s / shapes.every_s))
    above = offset * gone
    variance = np.stack([fits.settled_variance for fits in parts])
    variance = variance + (limits.law_share * above) ** 2
    cold_mean = np.array([cold.mean for cold in colds])
    cold_variance = np.array([cold.variance for cold in colds])
    centre = float((weight * settled).sum()) + float(cold_weight @ cold_mean)
    spread = float((weight * (variance + (settled - centre) ** 2)).sum())
    spread += float(cold_weight @ (cold_variance + (cold_mean - centre) ** 2))
    left_cents = float((weight * offset).sum())
    seen_ways = weight.sum(axis=(0, 1, 2))
    seen_ways /= max(float(seen_ways.sum()), 1e-300)
    by_tau = seen_ways.sum(axis=0)
    log_tau = np.log(GRID_S)
    log_mean = float(by_tau @ log_tau)
    log_sigma = math.sqrt(max(0.0, float(by_tau @ (log_tau - log_mean) ** 2)))
    median = float(GRID_S[min(int(np.searchsorted(np.cumsum(by_tau), 0.5)), len(GRID_S) - 1)])
    offset_spread = float((weight * (offset_variance + (offset - left_cents) ** 2)).sum())
    cold_share = float(cold_weight.sum())
    return Forecast(
        settled_cents=place + centre,
        sigma_cents=math.sqrt(spread),
        above_cents=float((weight * above).sum()),
        tau_s=median,
        log_tau=log_mean,
        log_tau_sigma=log_sigma,
        seconds=_seconds(weight, above, np.sqrt(offset_variance) * gone),
        known_in_s=max(0.0, _KNOWN_TAUS * median - now_s),
        offset_cents=left_cents,
        offset_sigma_cents=math.sqrt(offset_spread + cold_share * left_cents**2),
        cold_share=cold_share,
        ways=seen_ways,
        _heard_s=now_s,
        _settled=place + settled,
        _offset=offset,
        _weights=np.append(weight.ravel(), cold_weight),
        _means=place + np.append(settled.ravel(), cold_mean),
        _sigmas=np.sqrt(np.append(variance.ravel(), cold_variance)),
    )


def _seconds(
    weight: NDArray[np.float64], above: NDArray[np.float64], unsure: NDArray[np.float64]
) -> float:
    """Time until it is within half a cent, for two thirds of all possibilities, plus a margin."""
    far = np.maximum(np.abs(above) + unsure, 1e-12)
    waits = np.maximum(0.0, GRID_S * np.log(far / _WITHIN_CENTS)).ravel()
    order = np.argsort(waits)
    at = int(np.searchsorted(np.cumsum(weight.ravel()[order]), 0.8))
    return float(waits[order[at]]) if at < len(order) else 0.0
