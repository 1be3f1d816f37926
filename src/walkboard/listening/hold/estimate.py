"""The joint estimate: one phase course for all partials and channels of a pipe.

The unknown amplitudes drop out first (variable projection: Golub & Pereyra 1973, SIAM J. Numer.
Anal. 10:413): each envelope is turned back by l times the current phase course and divided by its
own mean. The result is close to one and linear in the course: its imaginary part over l is the
course's error, the same for every partial, plus the room and the noise. A linear normal model
(`movement`) gives the next course; two or three iterations suffice. This is Gauss–Newton.

Where the wander is wide, high partials turn by more than a radian and would mislead the first
iterations. So a partial joins only once the course makes it coherent: the frequency is refined from
low to high partials.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.hold.average import averaged, unsettled_excess
from walkboard.listening.hold.movement import (
    Floats,
    Movement,
    Rows,
    SlowBasis,
    fit_movement,
)
from walkboard.listening.hold.shake import fast_shake_hz2
from walkboard.listening.hold.slow import slow_movement
from walkboard.listening.hold.spectrum import Envelopes
from walkboard.listening.types import SlowMovement

_TURNS = 6
_LEAST_TURNS = 3
_STEPS = (3, 3, 4, 2)  # of fitting the movement, in each iteration
_ODD = 2.0  # residual of a row over the median, from which it counts less
_SETTLED = 0.05  # step, in σ, at which to stop
_COHERENT = 0.55  # share of a partial's power that the course must make steady
_EXPECTED = 5.0  # power over noise at which a partial beside a sure one is likely present
_ALONE = 10.0  # the same, if no neighbour is sure
_UNDOUBTED = 25.0  # the same, if none of the partials just below is sure
_GAP = 8
_PLAIN = 30.0  # power over noise of an envelope value; above it the place needs no refining
_MOST_ROWS = 40
_ROOM_MEMORY_S = 0.25


@dataclass(frozen=True, slots=True)
class Estimate:
    """The joint estimate.

    Attributes
    ----------
    hz, sigma_hz : float
        Mean fundamental over the window and its standard deviation [Hz].
    wander_hz : float
        Root mean square of the movement within the window [Hz].
    slow : SlowMovement
    amplitudes : ndarray of complex, shape (channels, partials)
        Mean of each envelope with the course removed.
    power_ratio : ndarray, shape (channels, partials)
        Power of that mean over its expectation under noise alone [-].
    coherence : float
        Share of the partials' power that the course makes steady, 0 to 1.
    slip_cycles : float
        Standard deviation of whole turns that may have been lost in the room's fades, at the
        strongest partials; counted in `sigma_hz`.
    movement : Movement
    seconds : float
        Length of the window.
    """

    hz: float
    sigma_hz: float
    wander_hz: float
    slow: SlowMovement
    amplitudes: NDArray[np.complex128]
    power_ratio: Floats
    coherence: float
    slip_cycles: float
    movement: Movement
    seconds: float


def _first_phase(env: Envelopes) -> Floats:
    """Phase [rad] at the nodes from the strong partials' rate of turning; zero if none is strong.

    The lag product z(t+h) z*(t) turns by l·2π·δf·h, below π for any wander a pipe can have.
    """
    count = env.values.shape[2]
    lag = env.values[:, :, 1:] * env.values[:, :, :-1].conj()
    strong = env.power > 30.0 * env.noise
    if not strong.any():
        return np.zeros(count)
    number = np.broadcast_to(env.numbers, strong.shape)[strong][:, np.newaxis].astype(float)
    smooth = _running_sum(lag[strong], min(7, count - 1))
    own = number**2 * np.abs(smooth) / env.noise[strong][:, np.newaxis]
    rate = (own * np.angle(smooth) / number).sum(axis=0)
    weight = own.sum(axis=0)
    course = np.concatenate([[0.0], np.cumsum(rate / weight)])
    return np.asarray(course - course.mean())


def _running_sum(values: NDArray[np.complex128], wide: int) -> NDArray[np.complex128]:
    """Sum of so many neighbours around each value of a row (fewer at the ends)."""
    before = (wide - 1) // 2
    padded = np.pad(values, ((0, 0), (before + 1, wide - 1 - before)))
    summed = np.cumsum(padded, axis=1)
    return np.asarray(summed[:, wide:] - summed[:, :-wide])


def _nearby(env: Envelopes, basis: SlowBasis) -> float:
    """Most likely place of a faint comb, within a third of the resolution [Hz].

    The coarse search looks through a window that costs 3 dB; for a comb near the detection limit
    that can favour a neighbour. Clear combs need no refining.
    """
    if (env.power / env.noise).max() > _PLAIN:
        return 0.0
    offsets = np.linspace(-0.35, 0.35, 99) / basis.seconds
    nodes = basis.phase[:, 0]
    steady = np.zeros(len(offsets))
    for channel, noise in zip(env.values, env.noise, strict=True):
        for values, number, level in zip(channel, env.numbers, noise, strict=True):
            turned = np.exp(-1j * number * np.outer(offsets, nodes)) @ values
            ratio = (turned.real**2 + turned.imag**2) / (len(nodes) * level)
            steady += np.maximum(ratio - _EXPECTED - np.log(max(1.0, number / 4.0)), 0.0)
    return float(offsets[int(np.argmax(steady))])


def _project(phase: Floats, basis: SlowBasis) -> Floats:
    """Course whose phase is closest."""
    return np.asarray(np.linalg.lstsq(basis.phase, phase - phase.mean(), rcond=1e-9)[0])


def _presence(ratio: Floats, numbers: NDArray[np.int64]) -> Floats:
    """Probability that each partial is present, from its power over noise (channels, partials).

    Noise at a high number weighs by that number's square, so a partial far from any sure one needs
    more evidence, the more the higher it is.
    """
    alone = _ALONE + 2.0 * np.log(np.maximum(1.0, numbers / 4.0))
    best = ratio.max(axis=0)
    sure = np.zeros(int(numbers[-1]) + 5, bool)  # by number, from −2
    reach = _GAP
    for place in np.flatnonzero(best > alone):
        # A pipe's spectrum does not end and begin again: a line far above the last sure partial is
        # more likely noise that the course has locked on to.
        if numbers[place] <= reach or best[place] > _UNDOUBTED:
            sure[numbers[place] + 2] = True
            reach = int(numbers[place]) + _GAP
    near = (sure[:-4] | sure[1:-3] | sure[2:-2] | sure[3:-1] | sure[4:])[numbers]
    needed = np.where(near, _EXPECTED, np.where(numbers <= reach, alone, _UNDOUBTED))
    return np.asarray(1.0 / (1.0 + np.exp(np.clip(2.0 * (needed - ratio), -50.0, 50.0))))


@dataclass(frozen=True, slots=True)
class _Turned:
    """Envelopes turned back by a course, their means, and how steady they are then."""

    values: NDArray[np.complex128]
    mean: NDArray[np.complex128]
    ratio: Floats
    coherence: Floats


def _turn_back(env: Envelopes, basis: SlowBasis, course: Floats) -> _Turned:
    turn = np.exp(-1j * (basis.phase @ course))
    # Powers by repeated multiplication: many times faster than one exponential per partial.
    powers = np.cumprod(np.broadcast_to(turn, (int(env.numbers[-1]), len(turn))), axis=0)
    values = env.values * powers[env.numbers - 1]
    mean = values.mean(axis=2)
    steady = mean.real**2 + mean.imag**2
    ratio = steady * (values.shape[2] / env.noise)
    coherence = steady / np.maximum(env.power - env.noise, 1e-300)
    return _Turned(values, mean, ratio, coherence)


@dataclass(frozen=True, slots=True)
class _Usable:
    """Usable envelopes with the course removed, and the probability that each is present."""

    turned: _Turned
    channel: NDArray[np.intp]
    partial: NDArray[np.intp]
    present: Floats


def _usable(env: Envelopes, turned: _Turned) -> _Usable:
    present = _presence(turned.ratio, env.numbers)
    usable = present > 0.05
    usable &= (turned.coherence > _COHERENT) | (env.power < 3.0 * env.noise)
    usable.flat[np.argmax(turned.ratio)] = True
    if usable.sum() > _MOST_ROWS:
        merit = np.where(usable, env.numbers**2 * turned.ratio, 0.0)
        least = np.partition(merit, -_MOST_ROWS, axis=None)[-_MOST_ROWS]
        usable &= merit >= least
    channel, partial = np.nonzero(usable)
    return _Usable(turned, channel, partial, present[channel, partial])


def _rows(
    env: Envelopes,
    basis: SlowBasis,
    course: Floats,
    used: _Usable,
    distrust: Floats,
) -> Rows:
    """The usable part as rows of a model linearised around a course."""
    turned, channel, partial = used.turned, used.channel, used.partial
    number = env.numbers[partial].astype(float)
    amplitude = turned.mean[channel, partial][:, np.newaxis] * number[:, np.newaxis]
    over_number = turned.values[channel, partial] / amplitude
    coefficients = over_number @ (basis.cosines.T / env.response(basis.rates_hz))
    noise = env.noise[channel, partial] / (2.0 * np.abs(amplitude[:, 0]) ** 2)
    return Rows(
        env.hz,
        number,
        coefficients.imag + basis.design @ course,
        coefficients.real,
        noise / used.present,
        distrust[channel, partial],
    )


def _audible(env: Envelopes, turned: Sequence[_Turned]) -> NDArray[np.bool_]:
    """Partials worth keeping: steady under some course, or clearly loud."""
    loud = env.power > 1.5 * env.noise
    for trial in turned:
        loud |= trial.ratio > 3.0
    kept = np.asarray(loud.any(axis=0))
    kept[int(np.argmax(env.power.max(axis=0)))] = True
    return kept


def estimate(env: Envelopes) -> Estimate:
    """Estimate the mean frequency of one pipe from the envelopes of its partials."""
    basis = SlowBasis.of(env.values.shape[2], env.spacing_s)
    course = np.zeros(1 + len(basis.rates_hz))
    course[0] = _nearby(env, basis)
    tracked = _project(_first_phase(env), basis)
    trials = [_turn_back(env, basis, course), _turn_back(env, basis, tracked)]
    if trials[1].ratio.sum() > trials[0].ratio.sum() + 4.0 * len(course):
        course = tracked
    kept = _audible(env, trials)
    used = replace(
        env, values=env.values[:, kept], numbers=env.numbers[kept], noise=env.noise[:, kept]
    )
    movement = Movement.usual()
    distrust = np.ones(used.noise.shape)
    for turn in range(_TURNS):
        usable = _usable(used, _turn_back(used, basis, course))
        rows = _rows(used, basis, course, usable, distrust)
        movement, found = fit_movement(rows, basis, movement, _STEPS[min(turn, len(_STEPS) - 1)])
        # A row that fits far worse than the others (hum, another pipe's tail) counts less.
        surprise = found.surprise / max(1.0, float(np.median(found.surprise)))
        distrust[usable.channel, usable.partial] = rows.distrust * np.maximum(1.0, surprise / _ODD)
        change = abs(found.course[0] - course[0]) / np.sqrt(found.covariance[0, 0])
        course = found.course
        if turn >= _LEAST_TURNS - 1 and change < _SETTLED:
            break
    mean_hz, variance = averaged(rows, basis, movement, found)
    variance *= unsettled_excess(movement)
    last = _turn_back(env, basis, course)
    variance += fast_shake_hz2(
        env, basis, course, last.values, last.mean, there=last.ratio > _EXPECTED
    )
    weight = last.mean.real**2 + last.mean.imag**2
    weight /= weight.sum()
    steady_share = float((weight * np.clip(last.coherence, 0.0, 1.0)).sum())
    wander_hz = float(np.sqrt(0.5 * (course[1:] ** 2).sum()))
    number = float((weight * env.numbers).sum())
    slip = _slipped_cycles(steady_share, number * wander_hz)
    variance += (slip / (number * basis.seconds)) ** 2
    return Estimate(
        hz=env.hz + mean_hz,
        sigma_hz=float(np.sqrt(variance)),
        wander_hz=wander_hz,
        slow=slow_movement(course, env.hz + mean_hz, basis.seconds),
        amplitudes=last.mean,
        power_ratio=last.ratio,
        coherence=steady_share,
        slip_cycles=slip,
        movement=movement,
        seconds=basis.seconds,
    )


def _slipped_cycles(coherence: float, wander_hz: float) -> float:
    """Standard deviation of the turns that the phase may have lost or gained in fades [cycles].

    Where a partial wanders by about a radian within the room's memory, its echoes cancel at times,
    and in such a fade the phase can turn either way, which the linear model ignores. The formula is
    fitted to a study of single partials of 0.5 to 8 kHz wandering by 0.1 to 0.5 cent.
    """
    turn = min(1.0, 2.0 * np.pi * wander_hz * _ROOM_MEMORY_S)
    return float(1.2 * ((1.0 - coherence) / 0.3) ** 2 * turn**2)
