"""What is believed of the pipes of a hold from turn to turn: courses, wander, amplitudes.

Also which bands may be used: those in which no turn of a phase can be lost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from walkboard.listening.hold.estimate import before_the_room
from walkboard.listening.hold.movement import Floats
from walkboard.listening.joint.bands import SIZE_CENTS, Band, Nodes, Waves
from walkboard.quantities import CENTS_PER_NEPER

DUE_CENTS = 10.0  # standard deviation of a pipe from where it is due
_CLEAR_RAD = 0.5  # phase error up to which the linear model is believed


@dataclass(slots=True)
class Component:
    """What is known of a member's amplitude in a band; changed from turn to turn.

    `amplitude` and `ratio` (power over variance) have a value a channel; `room` is the factor on
    the room's variance that the band itself asks for.
    """

    amplitude: Waves
    ratio: Floats
    room: float = 1.0


@dataclass(slots=True)
class Courses:
    """The pipes' phase courses and what is believed of their movement, turn by turn.

    Attributes
    ----------
    reference_hz : ndarray, shape (pipes,)
        Frequencies that the courses are counted against [Hz].
    course : ndarray, shape (pipes, 1 + terms)
        Mean frequency and wander [Hz].
    covariance : ndarray, shape (pipes, 1 + terms, pipes, 1 + terms)
    wander_cents : ndarray, shape (pipes,)
    usual_cents : float
        Wander that a pipe is taken to have until its own is known.
    components : dict
        By (band, member).
    """

    reference_hz: Floats
    course: Floats
    covariance: Floats
    wander_cents: Floats
    usual_cents: float
    components: dict[tuple[int, int], Component] = field(default_factory=dict)

    @classmethod
    def start(cls, reference_hz: Sequence[float], terms: int, usual_cents: float) -> Courses:
        """Nothing known but where they are due."""
        pipes = len(reference_hz)
        covariance = np.zeros((pipes, 1 + terms, pipes, 1 + terms))
        for pipe, hz in enumerate(reference_hz):
            covariance[pipe, 0, pipe, 0] = (DUE_CENTS / CENTS_PER_NEPER * hz) ** 2
        return cls(
            np.array(reference_hz, dtype=float),
            np.zeros((pipes, 1 + terms)),
            covariance,
            np.full(pipes, usual_cents),
            usual_cents,
        )

    def copy(self) -> Courses:
        """A copy that may be changed."""
        return Courses(
            self.reference_hz.copy(),
            self.course.copy(),
            self.covariance.copy(),
            self.wander_cents.copy(),
            self.usual_cents,
            {key: replace(value) for key, value in self.components.items()},
        )

    def moved(self, pipe: int, offset_hz: float) -> None:
        """Put a pipe elsewhere and forget what was believed of it."""
        self.course[pipe] = 0.0
        self.course[pipe, 0] = offset_hz
        self.wander_cents[pipe] = self.usual_cents
        for part in self.components.values():
            part.room = min(part.room, 4.0)

    @property
    def hz(self) -> Floats:
        """Mean frequencies [Hz], shape (pipes,)."""
        return np.asarray(self.reference_hz + self.course[:, 0])

    def heard(self, pipe: int, seconds: float) -> tuple[float, float]:
        """Mean frequency of a pipe over a window of so many seconds and its sigma [Hz]."""
        own = self.covariance[pipe, :, pipe, :]
        offset, variance, _ = before_the_room(self.course[pipe], own, seconds)
        return float(self.reference_hz[pipe] + offset), float(np.sqrt(variance))

    def wander_variance(self, pipe: int, nodes: Nodes) -> Floats:
        """Prior variance of a pipe's wander coefficients [Hz²], shape (terms,)."""
        size = self.reference_hz[pipe] * self.wander_cents[pipe] / SIZE_CENTS
        return np.asarray(nodes.wander * size**2)

    def room_variance(self, pipe: int, number: int, nodes: Nodes) -> Floats:
        """Variance of real or imaginary ε for a partial [-], shape (terms,)."""
        size = number * self.reference_hz[pipe] * self.wander_cents[pipe] / SIZE_CENTS
        return np.asarray(size**2 * nodes.smear + nodes.build_up)


def phase_error(courses: Courses, nodes: Nodes, pipe: int) -> float:
    """Root mean square of how unsure a pipe's phase is over the window [rad]."""
    phase = nodes.phase
    spread = courses.covariance[pipe, :, pipe, :]
    return float(np.sqrt(np.maximum(((phase @ spread) * phase).sum(axis=1), 0.0).mean()))


def lowest_bands(
    bands: Sequence[Band], pipes: Sequence[int], below_hz: float, least: int
) -> list[int]:
    """Bands of no other pipes than these below a frequency, and the lowest few of each pipe."""
    theirs = [i for i, band in enumerate(bands) if band.group.pipes <= set(pipes)]
    chosen = {i for i in theirs if bands[i].group.centre_hz < below_hz}
    for pipe in pipes:
        chosen.update([i for i in theirs if pipe in bands[i].group.pipes][:least])
    return sorted(chosen)


def clear_bands(
    bands: Sequence[Band], courses: Courses, pipes: Sequence[int], least: int
) -> list[int]:
    """Bands of no other pipes than these in which no turn can be lost, and the lowest of each pipe.

    No turn is lost where no partial's phase is unsure by more than a part of a radian.
    """
    unsure = {p: phase_error(courses, bands[0].nodes, p) for p in pipes}
    clear = {
        index
        for index, band in enumerate(bands)
        if band.group.pipes <= set(pipes)
        and all(m.number * unsure[m.pipe] < _CLEAR_RAD for m in band.members)
    }
    return sorted(clear.union(lowest_bands(bands, pipes, 0.0, least)))
