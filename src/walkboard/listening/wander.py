"""How a blown pipe and its room move: the slow basis, its priors, and how large they are.

In a window of T seconds a pipe's frequency is its mean f₀ plus a slow wander,

    f(t) = f₀ + Σ_k c_k cos(kπt/T),   phase/2π = f₀ t + Σ_k c_k T/(kπ) sin(kπt/T),

so that f₀ is exactly the phase run through in the window over its length, whatever the wander does.
All partials share the one phase course, each multiplied by its number l.

The room adds to every partial a movement of its own, real and imaginary part alike in size:

* the field still building up, e^(−t/τ), the same size for every partial;
* the wander heard through reverberation, which smears phase and amplitude of partial l by l times
  a share ρ of what the wander does faster than the room's memory.

Both are normal priors on the coefficients of an orthonormal cosine basis (DCT-II), where they are
close to diagonal. Their sizes come from the recording itself by restricted marginal likelihood
(Patterson & Thompson 1971, Biometrika 58:545; MacKay 1992, Neural Computation 4:415): where
nothing wanders, the wander's size goes to nothing and what is left is the constant-frequency
estimate, which is efficient in white noise.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy.fft
import scipy.linalg
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FASTEST_WANDER_HZ = 5.0
_MOST_TERMS = 64
_ROOM_MEMORY_S = 0.25  # energy decay constant of reverberation of 3.5 s
_TINY = 1e-12


@dataclass(frozen=True, slots=True)
class SlowBasis:
    """The cosine basis of a window and what a wandering frequency does in it.

    Attributes
    ----------
    cosines : ndarray, shape (terms, nodes)
        Orthonormal, the constant left out.
    rates_hz : ndarray, shape (terms,)
        Frequency of each.
    phase : ndarray, shape (nodes, 1 + terms)
        Phase [rad] at the nodes for mean frequency and wander coefficients [Hz].
    design : ndarray, shape (terms, 1 + terms)
        The same in the cosine basis.
    seconds : float
    """

    cosines: Floats
    rates_hz: Floats
    phase: Floats
    design: Floats
    seconds: float

    @classmethod
    def of(cls, nodes: int, spacing_s: float) -> SlowBasis:
        """For a window of so many cells."""
        seconds = nodes * spacing_s
        terms = max(1, min(nodes - 2, _MOST_TERMS, int(2.0 * seconds * FASTEST_WANDER_HZ)))
        k = np.arange(1, terms + 1)
        angle = np.pi * (np.arange(nodes) + 0.5) / nodes
        cosines = np.sqrt(2.0 / nodes) * np.cos(np.outer(k, angle))
        line = 2.0 * np.pi * seconds * (angle / np.pi - 0.5)
        waves = 2.0 * seconds * np.sin(np.outer(angle, k)) / k
        phase = np.column_stack([line, waves])
        return cls(cosines, k / (2.0 * seconds), phase, cosines @ phase, seconds)


@dataclass(frozen=True, slots=True)
class Movement:
    """Sizes of what moves.

    Attributes
    ----------
    wander_hz : float
        Root mean square of the pipe's own wander, at the fundamental [Hz].
    corner_hz : float
        Rate up to which it wanders evenly; faster it falls with the fourth power.
    smear : float
        Share of it that the room changes, partial by partial [-].
    build_up : float
        Size of the field still building up at the window's beginning, against the steady field [-].
    room_s : float
        Time constant of the building up [s].
    """

    wander_hz: float
    corner_hz: float = 0.7
    smear: float = 0.5
    build_up: float = 0.02
    room_s: float = 0.3

    def wander_variance(self, basis: SlowBasis) -> Floats:
        """Prior variance of the wander's coefficients [Hz²]."""
        shape = 1.0 / (1.0 + (basis.rates_hz / self.corner_hz) ** 4)
        return 2.0 * self.wander_hz**2 * shape / shape.sum() + _TINY**2

    def room_variance(self, basis: SlowBasis) -> tuple[Floats, Floats]:
        """Variance of each room movement, per cosine: times l² the first, the second as it is."""
        slow = (2.0 * np.pi * basis.rates_hz * _ROOM_MEMORY_S) ** 2
        gain = (1.0 / basis.rates_hz) ** 2 * basis.cosines.shape[1] / 2.0
        smear = self.smear**2 * self.wander_variance(basis) * gain * slow / (1.0 + slow)
        nodes = basis.cosines.shape[1]
        fading = np.exp(-np.arange(nodes) * basis.seconds / nodes / self.room_s)
        build_up = self.build_up**2 * (basis.cosines @ fading) ** 2
        return smear, build_up


@dataclass(frozen=True, slots=True)
class Rows:
    """Envelopes turned to numbers: a row a partial and channel.

    Attributes
    ----------
    number : ndarray, shape (rows,)
    turn : ndarray, shape (rows, terms)
        Imaginary part over l, plus what the present phase course already explains [rad].
    swell : ndarray, shape (rows, terms)
        Real part over l [-].
    noise : ndarray, shape (rows,)
        Variance of each of their values that the white noise makes.
    """

    number: Floats
    turn: Floats
    swell: Floats
    noise: Floats


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known of the mean frequency and wander after the rows.

    Attributes
    ----------
    course : ndarray, shape (1 + terms,)
        Mean frequency and wander coefficients, against the frequency of the envelopes [Hz].
    covariance : ndarray, shape (1 + terms, 1 + terms)
    evidence : float
        Logarithm of the restricted marginal likelihood, up to a constant.
    """

    course: Floats
    covariance: Floats
    evidence: float


def posterior(rows: Rows, basis: SlowBasis, movement: Movement) -> Posterior:
    """Estimate the course for given sizes of movement (a linear normal model)."""
    smear, build_up = movement.room_variance(basis)
    square = rows.number[:, np.newaxis] ** 2
    spread = smear + build_up / square + rows.noise[:, np.newaxis]
    weight = 1.0 / spread
    total = weight.sum(axis=0)
    centre = (weight * rows.turn).sum(axis=0) / total
    prior = movement.wander_variance(basis)
    precision = basis.design.T @ (total[:, np.newaxis] * basis.design)
    precision[np.arange(1, len(precision)), np.arange(1, len(precision))] += 1.0 / prior
    scale = 1.0 / np.sqrt(np.diag(precision))
    factor = np.linalg.cholesky(precision * np.outer(scale, scale))
    pull = basis.design.T @ (total * centre)
    half = scipy.linalg.solve_triangular(factor, scale * pull, lower=True, check_finite=False)
    course = scale * scipy.linalg.solve_triangular(
        factor, half, lower=True, trans=1, check_finite=False
    )
    log_det = 2.0 * float(np.log(np.diag(factor) / scale).sum())
    misfit = float((weight * (rows.turn - centre) ** 2).sum() + (total * centre**2).sum())
    misfit += float((weight * rows.swell**2).sum()) - float(half @ half)
    evidence = -0.5 * (misfit + 2.0 * float(np.log(spread).sum()) + log_det)
    evidence -= 0.5 * float(np.log(prior).sum())
    inverse = scipy.linalg.solve_triangular(factor, np.diag(scale), lower=True, check_finite=False)
    return Posterior(course, inverse.T @ inverse, evidence)


_STEPS = {"wander_hz": 4.0, "build_up": 4.0, "smear": 2.0, "corner_hz": 2.0, "room_s": 1.6}
_BOUNDS = {
    "wander_hz": (1e-9, 1e3),
    "build_up": (1e-6, 2.0),
    "smear": (0.1, 1.5),
    "corner_hz": (0.15, 3.0),
    "room_s": (0.08, 1.2),
}


def fit_movement(
    rows: Rows, basis: SlowBasis, start: Movement, rounds: int = 3
) -> tuple[Movement, Posterior]:
    """Choose the sizes of movement that make the rows likeliest.

    Climbs one size after another by a factor, with smaller factors from round to round.
    """
    best, found = start, posterior(rows, basis, start)
    for turn in range(rounds):
        for name, step in _STEPS.items():
            ratio = step ** (0.5**turn)
            low, high = _BOUNDS[name]
            for factor in (ratio, 1.0 / ratio):
                moved = False
                while True:
                    value = getattr(best, name) * factor
                    if not low <= value <= high:
                        break
                    trial = replace(best, **{name: value})
                    seen = posterior(rows, basis, trial)
                    if seen.evidence <= found.evidence + 1e-3:
                        break
                    best, found, moved = trial, seen, True
                if moved:
                    break
    return best, found
