"""The current estimate of a hold's pipes, iteration by iteration: courses, wander, amplitudes.

Also which bands may be used: those in which no turn of a phase can be lost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.hold.average import before_the_room
from walkboard.listening.hold.movement import Floats
from walkboard.listening.joint.bands import SIZE_CENTS, Nodes, Waves
from walkboard.listening.joint.stacks import BandSet
from walkboard.quantities import CENTS_PER_NEPER


@dataclass(frozen=True, slots=True)
class Limits:
    """What is assumed of a course before and while it is fitted."""

    due_cents: float = 10.0  # standard deviation of a pipe from where it is expected; chosen
    clear_rad: float = 0.5  # phase error up to which the linear model holds; chosen


LIMITS = Limits()


@dataclass(slots=True)
class Courses:
    """The pipes' phase courses and movement as currently estimated.

    Attributes
    ----------
    reference_hz : ndarray, shape (pipes,)
        Frequencies that the courses are relative to [Hz].
    course : ndarray, shape (pipes, 1 + terms)
        Mean frequency and wander [Hz].
    covariance : ndarray, shape (pipes, 1 + terms, pipes, 1 + terms)
    wander_cents : ndarray, shape (pipes,)
    usual_cents : float
        Wander assumed for a pipe until its own is known.
    seen : ndarray of bool, shape (bands, pipes)
        Whether a pipe's partial in a band has been estimated; the next three are valid only there.
    amplitude : ndarray of complex, shape (bands, pipes, channels)
    ratio : ndarray, shape (bands, pipes, channels)
        Power of the amplitude over its variance [-].
    room : ndarray, shape (bands, pipes)
        Factor on the room's variance that the band itself shows [-].
    """

    reference_hz: Floats
    course: Floats
    covariance: Floats
    wander_cents: Floats
    usual_cents: float
    seen: NDArray[np.bool_]
    amplitude: Waves
    ratio: Floats
    room: Floats

    @classmethod
    def start(cls, bands: BandSet, terms: int, usual_cents: float) -> Courses:
        """The start: nothing known but where the pipes are expected."""
        reference_hz = bands.reference_hz
        pipes = len(reference_hz)
        covariance = np.zeros((pipes, 1 + terms, pipes, 1 + terms))
        for pipe, hz in enumerate(reference_hz):
            covariance[pipe, 0, pipe, 0] = (LIMITS.due_cents / CENTS_PER_NEPER * hz) ** 2
        shape = (len(bands.bands), pipes)
        return cls(
            reference_hz,
            np.zeros((pipes, 1 + terms)),
            covariance,
            np.full(pipes, usual_cents),
            usual_cents,
            np.zeros(shape, bool),
            np.zeros((*shape, bands.channels), complex),
            np.zeros((*shape, bands.channels)),
            np.ones(shape),
        )

    def copy(self) -> Courses:
        """A copy that may be modified."""
        return Courses(
            self.reference_hz,
            self.course.copy(),
            self.covariance.copy(),
            self.wander_cents.copy(),
            self.usual_cents,
            self.seen.copy(),
            self.amplitude.copy(),
            self.ratio.copy(),
            self.room.copy(),
        )

    def moved(self, pipe: int, offset_hz: float) -> None:
        """Move a pipe elsewhere and discard its estimate."""
        self.course[pipe] = 0.0
        self.course[pipe, 0] = offset_hz
        self.wander_cents[pipe] = self.usual_cents
        np.minimum(self.room, 4.0, out=self.room)

    @property
    def hz(self) -> Floats:
        """Mean frequencies [Hz], shape (pipes,)."""
        return np.asarray(self.reference_hz + self.course[:, 0])

    def heard(self, pipe: int, seconds: float) -> tuple[float, float]:
        """Mean frequency of a pipe over a window of so many seconds and its sigma [Hz]."""
        own = self.covariance[pipe, :, pipe, :]
        offset, variance, _ = before_the_room(self.course[pipe], own, seconds)
        return float(self.reference_hz[pipe] + offset), float(np.sqrt(variance))

    def seen_in(self, pipe: int) -> NDArray[np.intp]:
        """Bands in which a pipe's partial has been estimated, from low to high."""
        return np.flatnonzero(self.seen[:, pipe])

    def wander_variance(self, pipe: int, nodes: Nodes) -> Floats:
        """Prior variance of a pipe's wander coefficients [Hz²], shape (terms,)."""
        size = self.reference_hz[pipe] * self.wander_cents[pipe] / SIZE_CENTS
        return np.asarray(nodes.wander * size**2)

    def room_variance(
        self, pipes: NDArray[np.intp], numbers: NDArray[np.intp], nodes: Nodes
    ) -> Floats:
        """Variance of real or imaginary ε for partials [-], shape (…, terms)."""
        size = numbers * self.reference_hz[pipes] * self.wander_cents[pipes] / SIZE_CENTS
        return np.asarray((size**2)[..., np.newaxis] * nodes.smear + nodes.build_up)


def phase_error(courses: Courses, nodes: Nodes, pipe: int) -> float:
    """Root mean square uncertainty of a pipe's phase over the window [rad]."""
    phase = nodes.phase
    spread = courses.covariance[pipe, :, pipe, :]
    return float(np.sqrt(np.maximum(((phase @ spread) * phase).sum(axis=1), 0.0).mean()))


def lowest_bands(bands: BandSet, pipes: Sequence[int], below_hz: float, least: int) -> list[int]:
    """Bands of these pipes only, below a frequency, and the lowest few of each pipe."""
    closed = bands.closed(pipes)
    return _with_lowest(bands, pipes, closed, closed & (bands.centre_hz < below_hz), least)


def clear_bands(bands: BandSet, courses: Courses, pipes: Sequence[int], least: int) -> list[int]:
    """Bands of these pipes only in which no turn can be lost, and the lowest of each pipe.

    No turn is lost if every partial's phase is known to a fraction of a radian.
    """
    unsure = np.zeros(len(courses.reference_hz))
    for pipe in pipes:
        unsure[pipe] = phase_error(courses, bands.nodes, pipe)
    closed = bands.closed(pipes)
    clear = closed & (bands.numbers * unsure < LIMITS.clear_rad).all(axis=1)
    return _with_lowest(bands, pipes, closed, clear, least)


def _with_lowest(
    bands: BandSet,
    pipes: Sequence[int],
    closed: NDArray[np.bool_],
    chosen: NDArray[np.bool_],
    least: int,
) -> list[int]:
    for pipe in pipes:
        chosen[np.flatnonzero(closed & (bands.numbers[:, pipe] > 0))[:least]] = True
    # A band whose last member `BandSet.without` removed carries no information.
    return [int(i) for i in np.flatnonzero(chosen & bands.numbers.any(axis=1))]
