"""The mean frequency averaged over what may have moved, with the room's delay taken out.

The recording's evidence weighs two models: only the room moves, or the pipe wanders too. The sound
then lags behind the pipe by the room's mean delay, which is corrected.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from walkboard.listening.hold.movement import (
    MOST_MISSING,
    ROOM_SIZE,
    WANDER_SIZE,
    Floats,
    Movement,
    Posterior,
    Rows,
    SlowBasis,
    building_up_excess,
    deviation,
    evidence,
    larger,
    posterior,
    without,
)

_STEP = 1.5  # standard deviations between the sizes averaged over
_SURE = 0.3  # prior standard deviations; a size known better needs no averaging
_NEGLIGIBLE = 6.0  # log evidence below the best, beyond which rooms are not averaged over
_TELLING_SHARE = 0.01  # share of a cause from which its variance is computed in full
_UNSETTLED = 1.5  # growth of σ at the most missing; fitted to one-second holds (bench situations)
_ROOM_DELAY_S = 0.08  # mean delay of direct sound and reverberation together
_ROOM_DELAY_SIGMA_S = 0.06  # dry rooms 0, a church of 4 s and little direct sound 0.2


def averaged(
    rows: Rows, basis: SlowBasis, movement: Movement, found: Posterior
) -> tuple[float, float]:
    """Mean frequency and its variance, averaged over two models: the room moves, or the pipe too.

    Both are equally likely a priori; the recording's evidence weighs them (Bayesian model
    averaging: Hoeting et al. 1999, Statistical Science 14:382; from memory). With few partials, or
    much noise, little is known of how much of the room was still missing or how far the pipe
    wanders, so unsure sizes are averaged over too. A room with no effect at all is not considered:
    every room has one, and where noise hides it σ would come out too small.
    """
    causes = _causes(rows, basis, movement, found)
    weight = np.array([cause.log_weight for cause in causes])
    share = np.exp(weight - weight.max())
    share /= share.sum()
    centre = np.zeros(len(causes))
    variance = np.zeros(len(causes))
    for n, cause in enumerate(causes):
        seen = cause.seen
        centre[n], variance[n], functional = before_the_room(
            seen.course, seen.covariance, basis.seconds
        )
        if share[n] > _TELLING_SHARE:
            excess = building_up_excess(rows, basis, cause.movement, seen, functional)
            variance[n] = max(variance[n] + excess, 0.25 * variance[n])
    mean = float(share @ centre)
    return mean, float(share @ (variance + (centre - mean) ** 2))


@dataclass(frozen=True, slots=True)
class _Cause:
    """Sizes of what moves, the posterior of the course under them, and their evidence."""

    movement: Movement
    seen: Posterior
    log_weight: float


def _causes(
    rows: Rows, basis: SlowBasis, movement: Movement, found: Posterior
) -> tuple[_Cause, ...]:
    """The sizes found, the same with a still pipe, and each with unsure sizes varied."""

    def cause(sizes: Movement, log_share: float) -> _Cause:
        seen = found if sizes is movement else posterior(rows, basis, sizes)
        return _Cause(sizes, seen, log_share + evidence(sizes, seen, (ROOM_SIZE, WANDER_SIZE)))

    room_steps, room_share = _steps(found, ROOM_SIZE)
    wander_steps, wander_share = _steps(found, WANDER_SIZE)
    moving = cause(movement, room_share + wander_share)
    still = cause(without(movement, WANDER_SIZE), room_share)
    likeliest = max(moving.log_weight, still.log_weight)
    causes = [moving, still]
    if moving.log_weight > likeliest - _NEGLIGIBLE:
        tried = [larger(movement, ROOM_SIZE, by) for by in room_steps]
        tried += [larger(movement, WANDER_SIZE, by) for by in wander_steps]
        causes += [cause(sizes, room_share + wander_share) for sizes in tried]
    if still.log_weight > likeliest - _NEGLIGIBLE:
        tried = [larger(still.movement, ROOM_SIZE, by) for by in room_steps]
        causes += [cause(sizes, room_share) for sizes in tried]
    return tuple(causes)


def _steps(found: Posterior, size: str) -> tuple[tuple[float, ...], float]:
    """Steps from a fitted size at which to try it too, and the logarithm of each one's share.

    The share is the width of a step under the prior; a well-determined size is used as fitted, with
    its width by Laplace's approximation.
    """
    unsure = deviation(found, size)
    if unsure < _SURE:
        return (), math.log(unsure)
    step = _STEP * unsure
    return (-step, step), math.log(step) - 0.5 * math.log(2.0 * math.pi)


def unsettled_excess(movement: Movement) -> float:
    """Factor on the variance if much of the field was still missing or another pipe still rang.

    In its first second a low pipe is still starting to speak, and the pipe before still rings; the
    model takes both for the field building up, but neither is random from partial to partial.
    """
    missing = movement.sizes["build_up"]
    return float((1.0 + _UNSETTLED * (missing / MOST_MISSING) ** 3) ** 2)


def before_the_room(
    course: Floats, covariance: Floats, seconds: float
) -> tuple[float, float, Floats]:
    """Mean frequency of the pipe itself over the window [Hz], its variance, its functional.

    The sound lags behind the pipe: direct sound and reverberation together arrive late by a mean
    delay d, common to all partials. So the pipe's mean over the window is the heard mean over a
    window later by d, which differs by d/T times the difference of the frequencies at the window's
    two ends.

    Parameters
    ----------
    course : ndarray, shape (1 + terms,)
        Mean frequency and wander coefficients as heard [Hz].
    covariance : ndarray, shape (1 + terms, 1 + terms)
    seconds : float
        Length of the window.
    """
    count = len(course)
    lean = np.zeros(count)
    lean[1::2] = -2.0 / seconds  # cos kπ − cos 0 for odd k
    functional = _ROOM_DELAY_S * lean
    functional[0] = 1.0
    ends = float(lean @ course)
    variance = float(functional @ covariance @ functional)
    unsure = ends**2 + float(lean @ covariance @ lean)
    variance += _ROOM_DELAY_SIGMA_S**2 * unsure
    return float(functional @ course), variance, functional
