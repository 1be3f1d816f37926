"""Amplitudes and room of the partials of one band, under given phase courses.

Given the courses a band is linear in each member's amplitude and in what the room adds to it, and
normal; both are solved for at once, a channel at a time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg.lapack import zpotrf, zpotri

from walkboard.listening.hold.movement import Floats
from walkboard.listening.joint.bands import Band, Nodes, Waves
from walkboard.listening.joint.courses import Component, Courses

ROOM_TERMS = 6.0  # that a factor of 1 on the room counts for
_MOST_ROOM = 300.0
_LEAST_ROOM = 0.2


@dataclass(frozen=True, slots=True)
class Fit:
    """A band under the present courses, a channel.

    Attributes
    ----------
    inverse : ndarray of complex, shape (n, n)
        Covariance of the coefficients, n = members × (1 + terms).
    mean : ndarray of complex, shape (n,)
        Their posterior mean.
    precision : ndarray, shape (n,)
        Of their prior.
    merit : float
        Logarithm of the likelihood, up to a constant of the band.
    """

    inverse: Waves
    mean: Waves
    precision: Floats
    merit: float


def turned(band: Band, courses: Courses, members: Sequence[int]) -> Waves:
    """e^{i l φ} of the members on the band's nodes, shape (members, nodes)."""
    chosen = [band.members[index] for index in members]
    pipes = [member.pipe for member in chosen]
    number = np.array([member.number for member in chosen])[:, np.newaxis]
    away = number[:, 0] * courses.reference_hz[pipes] - band.group.centre_hz
    phase = number * (courses.course[pipes] @ band.nodes.phase.T)
    phase += 2.0 * np.pi * np.outer(away, band.nodes.times_s)
    lines = np.empty(phase.shape, dtype=complex)
    lines.real, lines.imag = np.cos(phase), np.sin(phase)
    return lines


def gram(nodes: Nodes, lines: Waves) -> Waves:
    """Products of all members' slow functions, shape (n, n)."""
    members = len(lines)
    size = nodes.columns.shape[0]
    k = np.arange(size)
    whole = np.zeros((members, size, members, size), dtype=complex)
    for row in range(members):
        whole[row, k, row, k] = 1.0
    if members > 1:
        p, q = np.tril_indices(members, -1)
        products = lines[p].conj() * lines[q]
        sums = products.real @ nodes.waves.T + 1j * (products.imag @ nodes.waves.T)
        norm = np.full(size, np.sqrt(2.0 / lines.shape[1]))
        norm[0] = np.sqrt(1.0 / lines.shape[1])
        plus, minus = k[:, np.newaxis] + k, np.abs(k[:, np.newaxis] - k)
        blocks = 0.5 * np.outer(norm, norm) * (sums[:, plus] + sums[:, minus])
        for a, b, block in zip(p, q, blocks, strict=True):
            whole[a, :, b, :] = block
            whole[b, :, a, :] = block.conj().T
    return whole.reshape(members * size, members * size)


def fit_band(band: Band, index: int, courses: Courses) -> list[Fit]:
    """Amplitudes and room of the members of a band, a `Fit` a channel.

    Raises
    ------
    numpy.linalg.LinAlgError
        When the members' functions are not independent to machine precision.
    """
    members = range(len(band.members))
    lines = turned(band, courses, members)
    product = gram(band.nodes, lines)
    size = band.nodes.columns.shape[0]
    room = np.array([courses.room_variance(m.pipe, m.number, band.nodes) for m in band.members])
    known = [courses.components.get((index, j)) for j in members]
    fits = []
    for channel, values in enumerate(band.values):
        noise = band.noise[channel]
        power = float((values.real**2 + values.imag**2).sum())
        turned_back = lines.conj() * values
        columns = band.nodes.columns.T
        pull = (turned_back.real @ columns + 1j * (turned_back.imag @ columns)).ravel() / noise
        precision = np.empty((len(members), size))
        precision[:, 0] = 1.0 / (4.0 * power)
        for row, part in enumerate(known):
            squared = power / len(values) / len(members)
            if part is not None:
                squared = float(abs(part.amplitude[channel]) ** 2)
            squared = max(squared, 1e-3 * noise / len(values))
            factor = 1.0 if part is None else part.room
            precision[row, 1:] = 1.0 / (2.0 * squared * factor * room[row])
        flat = precision.ravel()
        whole = product / noise
        whole.flat[:: len(flat) + 1] += flat
        inverse, log_det = _inverse(whole)
        mean = inverse @ pull
        merit = float((pull.conj() @ mean).real) - power / noise
        merit += float(np.log(flat).sum()) - log_det
        fits.append(Fit(inverse, mean, flat, merit))
    return fits


def _inverse(whole: Waves) -> tuple[Waves, float]:
    """Inverse of a Hermitian positive matrix and the logarithm of its determinant."""
    factor, failed = zpotrf(whole, lower=1, clean=1)
    if not failed:
        log_det = 2.0 * float(np.log(factor.diagonal().real).sum())
        half, failed = zpotri(factor, lower=1)
    if failed:
        raise np.linalg.LinAlgError("partials of a band cannot be told apart at all")
    inverse = half + np.tril(half, -1).conj().T
    return inverse, log_det


def remember(band: Band, index: int, courses: Courses, fits: Sequence[Fit]) -> None:
    """Take amplitudes and the room's factor from the fits of a band."""
    members = len(band.members)
    size = band.nodes.columns.shape[0]
    nodes = len(band.nodes.times_s)
    shape = (members, size)
    mean = np.array([fit.mean.reshape(shape) for fit in fits])
    own = np.array([fit.inverse.diagonal().real.reshape(shape) for fit in fits])
    precision = np.array([fit.precision.reshape(shape) for fit in fits])
    amplitude = mean[:, :, 0] / np.sqrt(nodes)
    ratio = np.abs(amplitude) ** 2 / (own[:, :, 0] / nodes)
    squares = (np.abs(mean[:, :, 1:]) ** 2 * precision[:, :, 1:]).sum(axis=(0, 2))
    known = 1.0 - np.minimum(own[:, :, 1:] * precision[:, :, 1:], 1.0)
    factor = (squares + ROOM_TERMS) / (known.sum(axis=(0, 2)) + ROOM_TERMS)
    for row in range(members):
        old = courses.components.get((index, row))
        room = 1.0
        if old is not None:
            room = min(max(old.room * float(factor[row]), _LEAST_ROOM), _MOST_ROOM)
        courses.components[index, row] = Component(amplitude[:, row], ratio[:, row], room)
