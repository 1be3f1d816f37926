"""The joint estimate of several pipes: their phase courses from all groups of partials at once.

In a group's band the sound is, for each member (partial l of pipe p),

    a e^{i l φ_p(t)} (1 + Σ_k ε_k cos_k(t))  + noise,

φ_p is the pipe's phase course (mean frequency and slow wander, as for one pipe in `hold.movement`),
a its amplitude, ε what the room adds: normal, with the sizes that `hold.movement` describes. Given
the courses this is linear in a and ε, and normal; they are integrated out rather than fitted, so
that one member's room is not mistaken for another member's course. The remainder is linearised in
the courses (Gauss–Newton) and solved for all pipes together, so the covariance includes what they
share.

Products of two slow functions are again sums of cosines,
cos_j cos_k = ½ (cos_{j+k} + cos_{j−k}), so a group costs hardly more than one pass over its nodes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.listening.hold.movement import Floats
from walkboard.listening.joint.bands import Nodes
from walkboard.listening.joint.courses import LIMITS as COURSES
from walkboard.listening.joint.courses import Courses
from walkboard.listening.joint.fit import LIMITS as ROOM
from walkboard.listening.joint.fit import Fits, fit_stack, remember
from walkboard.listening.joint.stacks import BandSet, Stack
from walkboard.quantities import CENTS_PER_NEPER


@dataclass(frozen=True, slots=True)
class Limits:
    """How amplitudes and wander inform the courses."""

    present: float = 10.0  # power over variance from which an amplitude counts [-]; chosen
    prior_terms: float = 2.0  # weight of the usual wander, in terms; chosen


LIMITS = Limits()


def take_turn(
    bands: BandSet, chosen: Sequence[int], courses: Courses, pipes: Sequence[int]
) -> float:
    """One Gauss–Newton step of the courses from the chosen bands; returns the merit before."""
    size = courses.course.shape[1]
    count = len(pipes)
    order = np.zeros(len(courses.reference_hz), np.intp)
    order[list(pipes)] = np.arange(count)
    information = np.zeros((count, count, size, size))
    slope = np.zeros((count, size))
    merit = 0.0
    for stack in bands.stacked(chosen):
        fits = fit_stack(stack, courses)
        remember(stack, courses, fits)
        merit += float(fits.merit.sum())
        inner, pulls = _summed(stack, courses, fits, order, count)
        design = stack.nodes.design
        information += design.T @ inner @ design
        slope += pulls @ design
    nodes = bands.nodes
    turn = np.arange(1, size)
    for row, pipe in enumerate(pipes):
        prior = courses.wander_variance(pipe, nodes)
        information[row, row, turn, turn] += 1.0 / prior
        slope[row, 1:] -= courses.course[pipe, 1:] / prior
        width = COURSES.due_cents / CENTS_PER_NEPER * courses.reference_hz[pipe]
        information[row, row, 0, 0] += 1.0 / width**2
        merit -= 0.5 * float((courses.course[pipe, 1:] ** 2 / prior).sum())
        merit -= 0.5 * float(np.log(prior).sum())
    flat = information.swapaxes(1, 2).reshape(count * size, count * size)
    scale = 1.0 / np.sqrt(flat.diagonal())
    factor = np.linalg.cholesky(flat * scale * scale[:, None] + 1e-12 * np.eye(len(flat)))
    root = np.linalg.inv(factor) * scale
    covariance = root.T @ root
    move = (covariance @ slope.ravel()).reshape(count, size)
    merit -= float(np.log(factor.diagonal() / scale).sum())
    rows = list(pipes)
    courses.course[rows] += move
    whole = covariance.reshape(count, size, count, size)
    for row, pipe in enumerate(pipes):
        for column, other in enumerate(pipes):
            courses.covariance[pipe, :, other, :] = whole[row, :, column, :]
        _settle_wander(courses, pipe, nodes)
    return merit


def _summed(
    stack: Stack, courses: Courses, fits: Fits, order: np.ndarray, count: int
) -> tuple[Floats, Floats]:
    """Information and gradient from stacked bands on the pipes' phase, by cosines.

    Shapes (pipes, pipes, terms, terms) and (pipes, terms), summed over bands and channels.
    """
    place = stack.index[:, np.newaxis], stack.pipes
    number = stack.numbers[..., np.newaxis]
    telling = courses.ratio[place] > LIMITS.present
    factor = np.where(telling, 1j * number * courses.amplitude[place], 0.0).transpose(2, 0, 1)
    precision = fits.precision[..., 1:]
    weight = factor[..., np.newaxis] * precision
    mean = fits.mean[..., 1:]
    pull = 2.0 * (weight.real * mean.real + weight.imag * mean.imag).sum(axis=0)
    alone = 2.0 * ((factor.real**2 + factor.imag**2)[..., np.newaxis] * precision)
    bands = len(stack.pipes)
    terms = precision.shape[3]
    inner = np.zeros((count, count, terms, terms))
    pulls = np.zeros((count, terms))
    rows = order[stack.pipes]
    k = np.arange(terms)
    if fits.covariance is None:
        squared = weight.real**2 + weight.imag**2
        own = (alone - 2.0 * squared * fits.variance[..., 1:]).sum(axis=0)
        for band in range(bands):
            row = rows[band, 0]
            inner[row, row, k, k] += own[band, 0]
            pulls[row] += pull[band, 0]
        return inner, pulls
    covariance = fits.covariance[:, :, :, 1:, :, 1:]
    left = weight.conj()[..., np.newaxis, np.newaxis]
    right = weight[:, :, np.newaxis, np.newaxis]
    both = -2.0 * (left * covariance * right).real.sum(axis=0)
    own = alone.sum(axis=0)
    for band in range(bands):
        for a, row in enumerate(rows[band]):
            pulls[row] += pull[band, a]
            inner[row, row, k, k] += own[band, a]
            for b, column in enumerate(rows[band]):
                inner[row, column] += both[band, a, :, b, :]
    return inner, pulls


def merit_of(bands: BandSet, asked: Sequence[int], courses: Courses, pipes: Sequence[int]) -> float:
    """Log likelihood of the given bands, integrated over the courses' uncertainty."""
    merit = 0.0
    for stack in bands.stacked(asked):
        merit += float(fit_stack(stack, courses).merit.sum())
        place = stack.index[:, np.newaxis], stack.pipes
        room = courses.room[place][courses.seen[place]]
        merit -= ROOM.room_terms * float((np.log(room) + 1.0 / room - 1.0).sum())
    nodes = bands.nodes
    rows = list(pipes)
    size = courses.course.shape[1]
    own = courses.covariance[np.ix_(rows, range(size), rows, range(size))]
    merit += 0.5 * float(np.linalg.slogdet(own.reshape(len(rows) * size, -1))[1])
    for pipe in pipes:
        prior = courses.wander_variance(pipe, nodes)
        merit -= 0.5 * float((courses.course[pipe, 1:] ** 2 / prior + np.log(prior)).sum())
        usual = (courses.usual_cents / courses.wander_cents[pipe]) ** 2
        merit -= 0.5 * LIMITS.prior_terms * (usual - np.log(usual))
    return float(merit)


def _settle_wander(courses: Courses, pipe: int, nodes: Nodes) -> None:
    """Size of a pipe's wander implied by its course (fixed point of MacKay 1992)."""
    prior = courses.wander_variance(pipe, nodes)
    own = courses.covariance[pipe, 1:, pipe, 1:].diagonal()
    squares = float((courses.course[pipe, 1:] ** 2 / prior).sum())
    known = float((1.0 - np.clip(own / prior, 0.0, 1.0)).sum())
    usual = (courses.usual_cents / courses.wander_cents[pipe]) ** 2
    factor = (squares + LIMITS.prior_terms * usual) / (known + LIMITS.prior_terms)
    courses.wander_cents[pipe] *= float(np.sqrt(np.clip(factor, 0.25, 4.0)))
    courses.wander_cents[pipe] = float(np.clip(courses.wander_cents[pipe], 1e-4, 3.0))
