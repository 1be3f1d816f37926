"""Amplitudes and room effect of the partials of stacked bands, for given phase courses.

Given the courses, a band is linear in each member's amplitude and in what the room adds to it, and
normal; both are solved together, channel by channel. A single member in its band has a diagonal
system, because the slow functions are orthonormal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg.lapack import zpotrf, zpotri

from walkboard.listening.hold.movement import Floats
from walkboard.listening.joint.bands import Nodes, Waves
from walkboard.listening.joint.courses import Courses
from walkboard.listening.joint.stacks import Stack


@dataclass(frozen=True, slots=True)
class Limits:
    """How strongly the room is fitted. *Fitted*: by bench registrations."""

    room_terms: float = 6.0  # weight of the prior factor 1 on the room, in terms; fitted
    most_room: float = 300.0  # factor on the room's variance [-]; chosen
    least_room: float = 0.2  # the same, at least [-]; chosen


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Fits:
    """Stacked bands under the current courses; shapes begin with (channels, bands).

    Attributes
    ----------
    mean : ndarray of complex, shape (…, members, 1 + terms)
        Posterior mean of the coefficients.
    variance : ndarray, shape (…, members, 1 + terms)
        Their posterior variance.
    precision : ndarray, shape (…, members, 1 + terms)
        Precision of their prior.
    covariance : ndarray of complex, shape (…, members, 1 + terms, members, 1 + terms), or None
        Covariance of the coefficients; None for bands of one member, where it is diagonal.
    merit : ndarray, shape (channels, bands)
        Logarithm of the likelihood, up to a constant for the band.
    """

    mean: Waves
    variance: Floats
    precision: Floats
    covariance: Waves | None
    merit: Floats


def turned(stack: Stack, courses: Courses) -> Waves:
    """e^{i l φ} of the members on the bands' nodes, shape (bands, members, nodes)."""
    course = courses.course @ stack.nodes.phase.T
    phase = stack.numbers[:, :, np.newaxis] * course[stack.pipes] + stack.turns
    lines = np.empty(phase.shape, dtype=complex)
    np.cos(phase, out=lines.real)
    np.sin(phase, out=lines.imag)
    return lines


def gram(nodes: Nodes, lines: Waves) -> Waves:
    """Products of all members' slow functions, for lines of shape (bands, members, nodes).

    Returns
    -------
    ndarray of complex, shape (bands, members, 1 + terms, members, 1 + terms)
    """
    bands, members, count = lines.shape
    size = nodes.columns.shape[0]
    k = np.arange(size)
    whole = np.zeros((bands, members, size, members, size), dtype=complex)
    for row in range(members):
        whole[:, row, k, row, k] = 1.0
    if members > 1:
        p, q = np.tril_indices(members, -1)
        products = lines[:, p].conj() * lines[:, q]
        sums = np.empty((bands, len(p), nodes.waves.shape[0]), dtype=complex)
        sums.real, sums.imag = products.real @ nodes.waves.T, products.imag @ nodes.waves.T
        norm = np.full(size, np.sqrt(2.0 / count))
        norm[0] = np.sqrt(1.0 / count)
        plus, minus = k[:, np.newaxis] + k, np.abs(k[:, np.newaxis] - k)
        blocks = (sums[..., plus] + sums[..., minus]) * (0.5 * np.outer(norm, norm))
        for pair, (a, b) in enumerate(zip(p, q, strict=True)):
            whole[:, a, :, b, :] = blocks[:, pair]
            whole[:, b, :, a, :] = blocks[:, pair].conj().swapaxes(1, 2)
    return whole


def fit_stack(stack: Stack, courses: Courses) -> Fits:
    """Amplitudes and room effect of the members of stacked bands.

    Raises
    ------
    numpy.linalg.LinAlgError
        When the members' functions are not independent to machine precision.
    """
    lines = turned(stack, courses)
    columns = stack.nodes.columns.T
    noise = stack.noise[:, :, np.newaxis, np.newaxis]
    turned_back = lines.conj() * stack.values[:, :, np.newaxis, :]
    pull = np.empty((*turned_back.shape[:3], columns.shape[1]), dtype=complex)
    pull.real, pull.imag = turned_back.real @ columns, turned_back.imag @ columns
    pull /= noise
    precision = _precision(stack, courses)
    covariance: Waves | None = None
    if lines.shape[1] == 1:
        variance: Floats = 1.0 / (1.0 / noise + precision)
        mean = np.asarray(variance * pull, np.complex128)
        log_det = -np.log(variance).sum(axis=(2, 3))
    else:
        whole = gram(stack.nodes, lines) / noise[..., np.newaxis, np.newaxis]
        covariance, log_det = _inverted(whole, precision)
        channels, bands, members, size = precision.shape
        flat = covariance.reshape(channels, bands, members * size, members * size)
        mean = (flat @ pull.reshape(channels, bands, members * size, 1)).reshape(pull.shape)
        variance = np.einsum("cbii->cbi", flat).real.reshape(precision.shape)
    merit = (pull.real * mean.real + pull.imag * mean.imag).sum(axis=(2, 3))
    merit += np.log(precision).sum(axis=(2, 3)) - log_det - stack.power / stack.noise
    return Fits(mean, variance, precision, covariance, merit)


def _precision(stack: Stack, courses: Courses) -> Floats:
    """Precision of the coefficients' prior, shape (channels, bands, members, 1 + terms)."""
    nodes = stack.values.shape[2]
    members = stack.pipes.shape[1]
    place = stack.index[:, np.newaxis], stack.pipes
    seen = courses.seen[place]
    amplitude = courses.amplitude[place].transpose(2, 0, 1)
    power = stack.power[:, :, np.newaxis]
    squared = np.where(seen, amplitude.real**2 + amplitude.imag**2, power / nodes / members)
    squared = np.maximum(squared, 1e-3 * stack.noise[:, :, np.newaxis] / nodes)
    squared *= np.where(seen, courses.room[place], 1.0)
    room = courses.room_variance(stack.pipes, stack.numbers, stack.nodes)
    precision = np.empty((*squared.shape, stack.nodes.columns.shape[0]))
    precision[..., 0] = 1.0 / (4.0 * power)
    precision[..., 1:] = 1.0 / (2.0 * squared[..., np.newaxis] * room)
    return precision


def _inverted(whole: Waves, precision: Floats) -> tuple[Waves, Floats]:
    """Inverses of Gram matrices plus diagonal precisions, and their log determinants."""
    channels, bands, members, size = precision.shape
    n = members * size
    matrices = whole.reshape(channels * bands, n, n)
    k = np.arange(n)
    matrices[:, k, k] += precision.reshape(channels * bands, n)
    roots = np.empty((len(matrices), n))
    inverse = np.empty_like(matrices)
    for row, matrix in enumerate(matrices):
        factor, failed = zpotrf(matrix, lower=1, clean=1)
        if not failed:
            roots[row] = factor.diagonal().real
            inverse[row], failed = zpotri(factor, lower=1)
        if failed:
            raise np.linalg.LinAlgError("partials of a band cannot be separated at all")
    inverse[:, k, k] *= 0.5
    inverse += inverse.conj().swapaxes(1, 2)
    log_det = 2.0 * np.log(roots).sum(axis=1)
    return inverse.reshape(whole.shape), log_det.reshape(channels, bands)


def remember(stack: Stack, courses: Courses, fits: Fits) -> None:
    """Store the amplitudes and room factors that the fits of stacked bands give."""
    nodes = stack.values.shape[2]
    place = stack.index[:, np.newaxis], stack.pipes
    mean, own, precision = fits.mean, fits.variance, fits.precision
    squared = mean.real**2 + mean.imag**2
    squares = (squared[..., 1:] * precision[..., 1:]).sum(axis=(0, 3))
    known = 1.0 - np.minimum(own[..., 1:] * precision[..., 1:], 1.0)
    factor = (squares + LIMITS.room_terms) / (known.sum(axis=(0, 3)) + LIMITS.room_terms)
    room = np.clip(courses.room[place] * factor, LIMITS.least_room, LIMITS.most_room)
    courses.room[place] = np.where(courses.seen[place], room, 1.0)
    courses.amplitude[place] = (mean[..., 0] / np.sqrt(nodes)).transpose(1, 2, 0)
    courses.ratio[place] = (squared[..., 0] / own[..., 0]).transpose(1, 2, 0)
    courses.seen[place] = True
