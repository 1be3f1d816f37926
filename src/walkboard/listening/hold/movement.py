"""How a blown pipe and its room move: the slow basis, its priors, and how large they are.

In a window of T seconds a pipe's frequency is its mean f₀ plus a slow wander,

    f(t) = f₀ + Σ_k c_k cos(kπt/T),   phase/2π = f₀ t + Σ_k c_k T/(kπ) sin(kπt/T),

so that f₀ is exactly the phase change over the window divided by its length, whatever the wander.
All partials share the one phase course, each multiplied by its number l.

The room adds to every partial a movement of its own, equal in size in real and imaginary part:

* the field still building up: reverberation that has not arrived by t, a normal process of
  variance e^(−2t/τ) with independent increments, the same size for every partial;
* the wander heard through reverberation, which smears phase and amplitude of partial l by l times
  a share ρ of the wander faster than the room's memory.

Both are normal priors on the coefficients of an orthonormal cosine basis (DCT-II), where they are
close to diagonal. Their sizes come from the recording itself by restricted marginal likelihood
(Patterson & Thompson 1971, Biometrika 58:545; MacKay 1992, Neural Computation 4:415): where nothing
wanders, the wander's size goes to zero, which leaves the constant-frequency estimate; that is
efficient in white noise. Weak priors keep the sizes plausible where the recording does not
determine them. The optimiser is Fisher scoring, its gradient by Fisher's identity from the
posterior (Louis 1982, J. R. Statist. Soc. B 44:226).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dpotrf, dpotri

from walkboard.quantities import CENTS_PER_NEPER

Floats = NDArray[np.float64]

FASTEST_WANDER_HZ = 4.0
_MOST_TERMS = 64
_ROOM_MEMORY_S = 0.25  # reverberation of 3.5 s (60 dB) has this energy decay constant
_ROOM_GRID_S = np.geomspace(0.08, 1.0, 8)
_ROOM_FIRST = math.log(_ROOM_GRID_S[0])
_ROOM_STEP = math.log(_ROOM_GRID_S[1] / _ROOM_GRID_S[0])
_TINY = 1e-24
_UNSURE_ROOM = 1.35

# Weak priors on the logarithms of the sizes: centre and standard deviation.
_NAMES = ("wander_cents", "corner_hz", "smear", "build_up", "room_s")
WANDER_SIZE, ROOM_SIZE = "wander_cents", "build_up"
_CENTRE = np.log([0.05, 0.6, 0.4, 0.03, 0.3])
_SPREAD = np.array([1.5, 0.7, 0.5, 1.5, 0.5])
_NOTHING = -12.0
_LOWEST = np.full(len(_NAMES), -4.0)  # standard deviations that a size may lie from its centre
MOST_MISSING = 0.5
"""Largest share of the field that may still be missing when the window begins (chosen)."""
_HIGHEST = np.array([4.0, 4.0, 4.0, math.log(MOST_MISSING / 0.03) / 1.5, 4.0])


@dataclass(frozen=True, slots=True)
class SlowBasis:
    """The cosine basis of a window, and what a wandering frequency does in it.

    Attributes
    ----------
    cosines : ndarray, shape (terms, nodes)
        Orthonormal, without the constant.
    rates_hz : ndarray, shape (terms,)
        Frequency of each.
    phase : ndarray, shape (nodes, 1 + terms)
        Phase [rad] at the nodes for mean frequency and wander coefficients [Hz].
    design : ndarray, shape (terms, 1 + terms)
        The same in the cosine basis.
    build_up : ndarray, shape (rooms, terms)
        Logarithm of the variance of a field building up in each cosine, for each room.
    smearing : ndarray, shape (terms,)
        Variance that the room adds to each cosine for a wander of unit variance [Hz⁻²].
    seconds : float
    """

    cosines: Floats
    rates_hz: Floats
    phase: Floats
    design: Floats
    build_up: Floats
    smearing: Floats
    seconds: float

    @classmethod
    def of(cls, nodes: int, spacing_s: float) -> SlowBasis:
        """The basis for a window of `cells` cells."""
        seconds = nodes * spacing_s
        terms = max(1, min(nodes - 2, _MOST_TERMS, int(2.0 * seconds * FASTEST_WANDER_HZ)))
        k = np.arange(1, terms + 1)
        angle = np.pi * (np.arange(nodes) + 0.5) / nodes
        cosines = np.sqrt(2.0 / nodes) * np.cos(np.outer(k, angle))
        line = 2.0 * np.pi * seconds * (angle / np.pi - 0.5)
        waves = 2.0 * seconds * np.sin(np.outer(angle, k)) / k
        phase = np.column_stack([line, waves])
        # The field still missing at node t is the sum of independent arrivals after t.
        edges = np.arange(nodes + 1)[:, np.newaxis] * spacing_s
        missing = np.exp(-2.0 * edges / _ROOM_GRID_S)
        arrivals = missing[:-1] - missing[1:]
        build_up = np.log((np.cumsum(cosines, axis=1) ** 2) @ arrivals + _TINY).T
        rates_hz = k / (2.0 * seconds)
        slow = (2.0 * np.pi * rates_hz * _ROOM_MEMORY_S) ** 2
        smearing = (0.5 * nodes) * slow / (1.0 + slow) / rates_hz**2
        return cls(cosines, rates_hz, phase, cosines @ phase, build_up, smearing, seconds)


@dataclass(frozen=True, slots=True)
class Movement:
    """Sizes of what moves, as logarithms in units of their priors.

    Attributes
    ----------
    standard : ndarray, shape (5,)
        (log size − prior centre) / prior spread, in the order of `_NAMES`: the pipe's own wander
        (root mean square, cents); the rate up to which it wanders evenly, falling with the fourth
        power above (Hz); the share of it that the room changes, partial by partial; the field still
        missing at the window's beginning against the steady field; the time constant with which
        it builds up (s).
    """

    standard: Floats

    @classmethod
    def usual(cls) -> Movement:
        """The centre of the priors."""
        return cls(np.zeros(len(_NAMES)))

    @property
    def sizes(self) -> dict[str, float]:
        """The sizes by name."""
        return dict(zip(_NAMES, np.exp(_CENTRE + _SPREAD * self.standard).tolist(), strict=True))

    @property
    def is_unsettled(self) -> bool:
        """Whether the share of the field still missing is at its upper limit."""
        return self.sizes["build_up"] > 0.98 * MOST_MISSING


@dataclass(frozen=True, slots=True)
class Variances:
    """Prior variances per cosine for a movement, and the slope of their logarithms by each size."""

    wander: Floats  # (terms,) [Hz²]
    smear: Floats  # (terms,) times number² a partial
    build_up: Floats  # (terms,)
    wander_slope: Floats  # (5, terms)
    smear_slope: Floats
    build_up_slope: Floats


def variances(movement: Movement, basis: SlowBasis, hz: float) -> Variances:
    """Prior variances of a movement for a pipe of this frequency."""
    size, corner, smear, build, room = np.exp(_CENTRE + _SPREAD * movement.standard)
    count = len(basis.rates_hz)
    even = 1.0 / (1.0 + (basis.rates_hz / corner) ** 4)
    total = float(even.sum())
    wander = (2.0 * (size * hz / CENTS_PER_NEPER) ** 2 / total) * even + _TINY
    lean = 4.0 * (1.0 - even)
    wander_slope = np.zeros((5, count))
    wander_slope[0] = 2.0 * _SPREAD[0]
    wander_slope[1] = _SPREAD[1] * (lean - float(lean @ even) / total)
    smear_slope = wander_slope.copy()
    smear_slope[2] = 2.0 * _SPREAD[2]
    place = min(max((math.log(room) - _ROOM_FIRST) / _ROOM_STEP, 0.0), len(_ROOM_GRID_S) - 1.001)
    low = int(place)
    part = place - low
    rise = basis.build_up[low + 1] - basis.build_up[low]
    build_slope = np.zeros((5, count))
    build_slope[3] = 2.0 * _SPREAD[3]
    build_slope[4] = (_SPREAD[4] / _ROOM_STEP) * rise
    return Variances(
        wander,
        smear**2 * wander * basis.smearing,
        build**2 * np.exp(basis.build_up[low] + part * rise),
        wander_slope,
        smear_slope,
        build_slope,
    )


@dataclass(frozen=True, slots=True)
class Rows:
    """Envelopes as numbers: one row per partial and channel.

    Attributes
    ----------
    hz : float
        Fundamental that the course is relative to [Hz].
    number : ndarray, shape (rows,)
    turn : ndarray, shape (rows, terms)
        Imaginary part over l, plus what the current phase course already explains [rad].
    swell : ndarray, shape (rows, terms)
        Real part over l [-].
    noise : ndarray, shape (rows,)
        Variance of each value due to white noise.
    distrust : ndarray, shape (rows,)
        Factor on the model's variance of a row; 1 for a row like the others.
    shares : ndarray, shape (3, rows)
        How much of the smear, the building up and 1 is in a row's variance.
    products : ndarray, shape (3, rows)
        Squares of the first two shares, and their product.
    swell_squared : ndarray, shape (rows, terms)
    """

    hz: float
    number: Floats
    turn: Floats
    swell: Floats
    noise: Floats
    distrust: Floats
    shares: Floats = field(init=False)
    products: Floats = field(init=False)
    swell_squared: Floats = field(init=False)

    def __post_init__(self) -> None:
        building = self.distrust / self.number**2
        shares = np.array([self.distrust, building, self.distrust * self.noise])
        products = np.array([self.distrust**2, building**2, self.distrust * building])
        object.__setattr__(self, "shares", shares)
        object.__setattr__(self, "products", products)
        object.__setattr__(self, "swell_squared", self.swell**2)


@dataclass(frozen=True, slots=True)
class Posterior:
    """Posterior of the mean frequency and wander given the rows, for one movement.

    Attributes
    ----------
    course : ndarray, shape (1 + terms,)
        Mean frequency and wander coefficients, relative to the envelopes' frequency [Hz].
    covariance : ndarray, shape (1 + terms, 1 + terms)
    merit : float
        Logarithm of the restricted marginal likelihood of the movement, up to a constant.
    gradient : ndarray, shape (5,)
        Gradient of the merit, in the movement's standard sizes.
    information : ndarray, shape (5, 5)
        Approximate expected curvature of the merit.
    surprise : ndarray, shape (rows,)
        Mean square residual of a row over the model's variance [-].
    """

    course: Floats
    covariance: Floats
    merit: float
    gradient: Floats
    information: Floats
    surprise: Floats


def posterior(rows: Rows, basis: SlowBasis, movement: Movement) -> Posterior:
    """Estimate the course for given sizes of movement (a linear normal model)."""
    var = variances(movement, basis, rows.hz)
    # A row's variance is smear, building up and noise, each by its own share.
    shares = rows.shares
    spread = shares.T @ np.array([var.smear, var.build_up, np.ones(len(var.smear))])
    weight = 1.0 / spread
    total = weight.sum(axis=0)
    centre = (weight * rows.turn).sum(axis=0) / total
    precision = basis.design.T @ (total[:, np.newaxis] * basis.design)
    precision.flat[len(precision) + 1 :: len(precision) + 1] += 1.0 / var.wander
    scale = 1.0 / np.sqrt(precision.diagonal())
    factor, _ = dpotrf(precision * scale * scale[:, np.newaxis], lower=1, clean=1)
    half, _ = dpotri(factor, lower=1)
    half.flat[:: len(half) + 1] *= 0.5
    covariance = (half + half.T) * scale * scale[:, np.newaxis]
    pull = basis.design.T @ (total * centre)
    course = covariance @ pull
    left = rows.turn - basis.design @ course
    missed = left * left + rows.swell_squared
    wander_ratio = course[1:] ** 2 / var.wander
    weighted = weight * missed
    log_det = 2.0 * float(np.log(factor.diagonal() / scale).sum())
    merit = -0.5 * (float(weighted.sum() + wander_ratio.sum()) + log_det)
    merit -= float(np.log(spread).sum()) + 0.5 * float(np.log(var.wander).sum())
    # Fisher's identity: the slope of the likelihood is its expected slope given the course.
    unsure = ((basis.design @ covariance) * basis.design).sum(axis=1)
    surprise = weighted + weight * unsure
    excess = shares[:2] @ (weight * (surprise - 2.0))
    known = covariance.diagonal()[1:] / var.wander
    gradient = 0.5 * (
        var.wander_slope @ (wander_ratio + known - 1.0)
        + var.smear_slope @ (excess[0] * var.smear)
        + var.build_up_slope @ (excess[1] * var.build_up)
    )
    both = rows.products @ (weight * weight)
    cross = var.smear_slope * (both[2] * var.smear * var.build_up) @ var.build_up_slope.T
    information = (
        (0.5 * var.wander_slope * (1.0 - np.minimum(known, 1.0)) ** 2) @ var.wander_slope.T
        + (var.smear_slope * (both[0] * var.smear**2)) @ var.smear_slope.T
        + (var.build_up_slope * (both[1] * var.build_up**2)) @ var.build_up_slope.T
        + cross
        + cross.T
    )
    return Posterior(course, covariance, merit, gradient, information, surprise.mean(axis=1) / 2.0)


def fit_movement(
    rows: Rows, basis: SlowBasis, start: Movement, steps: int
) -> tuple[Movement, Posterior]:
    """Find the sizes of movement that make the rows most likely, by damped Fisher scoring."""
    best, found = start, posterior(rows, basis, start)
    damping = 1.0
    for _ in range(steps):
        slope = found.gradient - best.standard
        move = np.linalg.solve(damping * (found.information + np.eye(len(slope))), slope)
        if float(move @ slope) < _ENOUGH:
            break
        move *= min(1.0, _LONGEST_MOVE / float(np.abs(move).max()))
        trial = Movement(np.clip(best.standard + move, _LOWEST, _HIGHEST))
        seen = posterior(rows, basis, trial)
        gain = seen.merit - found.merit
        gain -= 0.5 * float((trial.standard**2).sum() - (best.standard**2).sum())
        if gain > 0.0:
            best, found, damping = trial, seen, max(0.5, damping / 2.0)
        else:
            damping *= 4.0
    return best, found


def building_up_excess(
    rows: Rows, basis: SlowBasis, movement: Movement, found: Posterior, functional: Floats
) -> float:
    """Variance that the building up adds to a value beyond the posterior's [Hz²].

    The posterior treats the building up as independent from cosine to cosine, so that it can be
    solved directly. In reality it is concentrated at the window's beginning. The value is linear in
    the rows, so its variance under the full covariance follows exactly; this is the difference. Its
    size comes from the same few rows, so the room's share counts a third more than the exact figure
    (fitted to still pipes at 60 dB, where the room is the only source of error).

    Parameters
    ----------
    functional : ndarray, shape (1 + terms,)
        The value is this times the course.
    """
    sizes = movement.sizes
    var = variances(movement, basis, rows.hz)
    own = rows.distrust / rows.number**2
    spread = rows.distrust[:, np.newaxis] * (var.smear + rows.noise[:, np.newaxis])
    spread += own[:, np.newaxis] * var.build_up
    pull = (basis.design @ (found.covariance @ functional)) / spread
    edges = np.arange(basis.cosines.shape[1] + 1) * (basis.seconds / basis.cosines.shape[1])
    missing = np.exp(-2.0 * edges / sizes["room_s"])
    arrivals = sizes["build_up"] ** 2 * (missing[:-1] - missing[1:])
    full = np.cumsum(pull @ basis.cosines, axis=1) ** 2 @ arrivals
    return float(own @ (_UNSURE_ROOM * full - pull**2 @ var.build_up))


def without(movement: Movement, *names: str) -> Movement:
    """The same movement with some of its sizes far below what any recording can show."""
    standard = movement.standard.copy()
    standard[[_NAMES.index(name) for name in names]] = _NOTHING
    return Movement(standard)


def larger(movement: Movement, name: str, by: float) -> Movement:
    """The same movement with one size larger by so many prior standard deviations."""
    standard = movement.standard.copy()
    standard[_NAMES.index(name)] += by
    return Movement(standard)


def deviation(found: Posterior, name: str) -> float:
    """Remaining uncertainty of a size given the recording, in prior standard deviations."""
    place = _NAMES.index(name)
    return 1.0 / math.sqrt(1.0 + float(found.information[place, place]))


def evidence(movement: Movement, found: Posterior, given: Sequence[str]) -> float:
    """Logarithm of the likelihood of the rows, over all sizes except those given.

    Integrated by Laplace's approximation; sizes in `without` are ignored, those given are taken at
    their value.
    """
    free = movement.standard > 0.5 * _NOTHING
    log_prior = -0.5 * float((movement.standard[free] ** 2).sum())
    free[[_NAMES.index(name) for name in given]] = False
    curvature = found.information[np.ix_(free, free)] + np.eye(int(free.sum()))
    return found.merit + log_prior - 0.5 * float(np.linalg.slogdet(curvature)[1])


_ENOUGH = 0.04  # gain in merit below which no further step is made
_LONGEST_MOVE = 1.2  # largest change of a standard size in one step
