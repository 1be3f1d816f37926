"""The joint estimate of several pipes: their phase courses from all groups of partials at once.

In a group's band the sound is, for each member (partial l of pipe p),

    a e^{i l φ_p(t)} (1 + Σ_k ε_k cos_k(t))  + noise,

φ_p the pipe's phase course (mean frequency and slow wander, as for one pipe, `wander`), a its
amplitude, ε what the room adds: normal, of the sizes that `wander` describes. Given the courses
this is linear in a and ε, and normal; they are integrated out, not fitted, so that what one
member's room may do is not taken for another member's course. What is left is linearised in the
courses (Gauss–Newton) and solved for all pipes together, so the covariance holds what they share.

Sums over products of two members' slow functions are sums over cosines again,
cos_j cos_k = ½ (cos_{j+k} + cos_{j−k}), so a group costs hardly more than its nodes once.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from walkboard.listening.hold.movement import Floats
from walkboard.listening.joint.bands import Band, Nodes
from walkboard.listening.joint.courses import DUE_CENTS, Courses
from walkboard.listening.joint.fit import ROOM_TERMS, Fit, fit_band, remember
from walkboard.quantities import CENTS_PER_NEPER

_PRESENT = 10.0  # power over variance from which an amplitude tells of the course
_PRIOR_TERMS = 2.0  # that the usual wander counts for


def take_turn(
    bands: Sequence[Band], chosen: Sequence[int], courses: Courses, pipes: Sequence[int]
) -> float:
    """One Gauss–Newton turn of the pipes' courses by the chosen bands; gives the merit before."""
    order = {pipe: row for row, pipe in enumerate(pipes)}
    size = courses.course.shape[1]
    terms = size - 1
    count = len(pipes)
    information = np.zeros((count, size, count, size))
    slope = np.zeros((count, size))
    sums: dict[int, tuple[Nodes, Floats, Floats]] = {}
    merit = 0.0
    for index in chosen:
        band = bands[index]
        fits = fit_band(band, index, courses)
        remember(band, index, courses, fits)
        key = id(band.nodes)
        if key not in sums:
            sums[key] = (
                band.nodes,
                np.zeros((count, terms, count, terms)),
                np.zeros((count, terms)),
            )
        _, inner, pulls = sums[key]
        rows = [order[m.pipe] for m in band.members]
        for channel, fit in enumerate(fits):
            merit += fit.merit
            both, pull = _told(band, index, courses, channel, fit)
            for p, row in enumerate(rows):
                pulls[row] += pull[p]
                for q, column in enumerate(rows):
                    inner[row, :, column, :] += both[p, :, q, :]
    for nodes, inner, pulls in sums.values():
        design = nodes.design
        information += _projected(inner, design)
        slope += pulls @ design
    nodes = bands[chosen[0]].nodes
    for row, pipe in enumerate(pipes):
        prior = courses.wander_variance(pipe, nodes)
        information[row, range(1, size), row, range(1, size)] += 1.0 / prior
        slope[row, 1:] -= courses.course[pipe, 1:] / prior
        width = DUE_CENTS / CENTS_PER_NEPER * courses.reference_hz[pipe]
        information[row, 0, row, 0] += 1.0 / width**2
        merit -= 0.5 * float((courses.course[pipe, 1:] ** 2 / prior).sum())
        merit -= 0.5 * float(np.log(prior).sum())
    flat = information.reshape(count * size, count * size)
    scale = 1.0 / np.sqrt(flat.diagonal())
    factor_ = np.linalg.cholesky(flat * scale * scale[:, None] + 1e-12 * np.eye(len(flat)))
    root = np.linalg.inv(factor_) * scale
    covariance = root.T @ root
    move = (covariance @ slope.ravel()).reshape(count, size)
    merit -= float(np.log(factor_.diagonal() / scale).sum())
    whole = covariance.reshape(count, size, count, size)
    for row, pipe in enumerate(pipes):
        courses.course[pipe] += move[row]
        for column, other in enumerate(pipes):
            courses.covariance[pipe, :, other, :] = whole[row, :, column, :]
        _settle_wander(courses, pipe, nodes)
    return merit


def _told(
    band: Band, index: int, courses: Courses, channel: int, fit: Fit
) -> tuple[Floats, Floats]:
    """Information and slope that a band gives on its members' turns of phase, cosine by cosine.

    Shapes (members, terms, members, terms) and (members, terms).
    """
    members = len(band.members)
    size = band.nodes.columns.shape[0]
    factor = np.zeros(members, dtype=complex)
    for row, member in enumerate(band.members):
        part = courses.components[index, row]
        if part.ratio[channel] > _PRESENT:
            factor[row] = 1j * member.number * part.amplitude[channel]
    precision = fit.precision.reshape(members, size)[:, 1:]
    weight = (factor[:, np.newaxis] * precision).ravel()
    inverse = fit.inverse.reshape(members, size, members, size)[:, 1:, :, 1:]
    inverse = inverse.reshape(len(weight), len(weight))
    both = -2.0 * (weight.conj()[:, np.newaxis] * inverse * weight).real
    both.flat[:: len(weight) + 1] += (
        2.0
        * (np.abs(factor) ** 2)[:, np.newaxis].repeat(size - 1, axis=1).ravel()
        * precision.ravel()
    )
    mean = fit.mean.reshape(members, size)[:, 1:]
    pull = 2.0 * (weight.conj().reshape(mean.shape) * mean).real
    return both.reshape(members, size - 1, members, size - 1), pull


def merit_of(
    bands: Sequence[Band], asked: Sequence[int], courses: Courses, pipes: Sequence[int]
) -> float:
    """Logarithm of how likely the asked bands are under the courses, over all they may be."""
    merit = 0.0
    for index in asked:
        merit += sum(fit.merit for fit in fit_band(bands[index], index, courses))
        for j in range(len(bands[index].members)):
            part = courses.components.get((index, j))
            if part is not None:
                merit -= ROOM_TERMS * (np.log(part.room) + 1.0 / part.room - 1.0)
    nodes = bands[asked[0]].nodes
    rows = list(pipes)
    size = courses.course.shape[1]
    own = courses.covariance[np.ix_(rows, range(size), rows, range(size))]
    merit += 0.5 * float(np.linalg.slogdet(own.reshape(len(rows) * size, -1))[1])
    for pipe in pipes:
        prior = courses.wander_variance(pipe, nodes)
        merit -= 0.5 * float((courses.course[pipe, 1:] ** 2 / prior + np.log(prior)).sum())
        usual = (courses.usual_cents / courses.wander_cents[pipe]) ** 2
        merit -= 0.5 * _PRIOR_TERMS * (usual - np.log(usual))
    return float(merit)


def _projected(inner: Floats, design: Floats) -> Floats:
    left = np.tensordot(design.T, inner, axes=(1, 1)).transpose(1, 0, 2, 3)
    return np.asarray(np.tensordot(left, design, axes=(3, 0)))


def _settle_wander(courses: Courses, pipe: int, nodes: Nodes) -> None:
    """Size of a pipe's wander that its course asks for (fixed point of MacKay 1992)."""
    prior = courses.wander_variance(pipe, nodes)
    own = courses.covariance[pipe, 1:, pipe, 1:].diagonal()
    squares = float((courses.course[pipe, 1:] ** 2 / prior).sum())
    known = float((1.0 - np.clip(own / prior, 0.0, 1.0)).sum())
    usual = (courses.usual_cents / courses.wander_cents[pipe]) ** 2
    factor = (squares + _PRIOR_TERMS * usual) / (known + _PRIOR_TERMS)
    courses.wander_cents[pipe] *= float(np.sqrt(np.clip(factor, 0.25, 4.0)))
    courses.wander_cents[pipe] = float(np.clip(courses.wander_cents[pipe], 1e-4, 3.0))
