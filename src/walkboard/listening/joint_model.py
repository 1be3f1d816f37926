"""The joint estimate of several pipes: their phase courses from all groups of partials at once.

In a group's band the sound is, for each member (partial l of pipe p),

    a e^{i l φ_p(t)} (1 + Σ_k ε_k cos_k(t))  + noise,

φ_p the pipe's phase course (mean frequency and slow wander, as for one pipe, `wander`), a its
amplitude, ε what the room adds: normal, of the sizes that `wander` describes. Given the courses
this
is linear in a and ε, and normal; they are integrated out, not fitted, so that what one member's
room may do is not taken for another member's course. What is left is linearised in the courses
(Gauss–Newton) and solved for all pipes together, so the covariance holds what the pipes share.

Sums over products of two members' slow functions are sums over cosines again,
cos_j cos_k = ½ (cos_{j+k} + cos_{j−k}), so a group costs hardly more than its nodes once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from walkboard.listening.estimating import before_the_room
from walkboard.listening.joint_bands import Band, Nodes, Waves
from walkboard.listening.wander import Floats, Movement, variances
from walkboard.quantities import CENTS_PER_NEPER

_PRESENT = 10.0  # power over variance from which an amplitude tells of the course
_CLEAR_RAD = 0.5  # phase error up to which the linear model is believed
_USUAL_WANDER_CENTS = 0.08
_PRIOR_TERMS = 2.0  # that the usual wander counts for
_ROOM_TERMS = 6.0
_DUE_CENTS = 10.0  # standard deviation of a pipe from where it is due
_MOST_ROOM = 300.0
_LEAST_ROOM = 0.2


@dataclass(slots=True)
class Component:
    """What is known of a member's amplitude in a band; changed from turn to turn.

    `amplitude` and `ratio` (power over variance) have a value a channel; `room` is the factor on
    the
    room's variance that the band itself asks for.
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
    room : Movement
        Sizes of the room's part.
    components : dict
        By (band, member).
    """

    reference_hz: Floats
    course: Floats
    covariance: Floats
    wander_cents: Floats
    room: Movement
    components: dict[tuple[int, int], Component] = field(default_factory=dict)

    @classmethod
    def start(cls, reference_hz: Sequence[float], terms: int, room: Movement) -> Courses:
        """Nothing known but where they are due."""
        pipes = len(reference_hz)
        covariance = np.zeros((pipes, 1 + terms, pipes, 1 + terms))
        for pipe, hz in enumerate(reference_hz):
            covariance[pipe, 0, pipe, 0] = (_DUE_CENTS / CENTS_PER_NEPER * hz) ** 2
        return cls(
            np.array(reference_hz, dtype=float),
            np.zeros((pipes, 1 + terms)),
            covariance,
            np.full(pipes, _USUAL_WANDER_CENTS),
            room,
        )

    def copy(self) -> Courses:
        """A copy that may be changed."""
        return Courses(
            self.reference_hz.copy(),
            self.course.copy(),
            self.covariance.copy(),
            self.wander_cents.copy(),
            self.room,
            {key: replace(value) for key, value in self.components.items()},
        )

    def moved(self, pipe: int, offset_hz: float) -> None:
        """Put a pipe elsewhere and forget what was believed of it."""
        self.course[pipe] = 0.0
        self.course[pipe, 0] = offset_hz
        self.wander_cents[pipe] = _USUAL_WANDER_CENTS
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
        hz = float(self.reference_hz[pipe])
        shape = variances(self.room, nodes.basis, hz).wander
        return np.asarray(shape * (self.wander_cents[pipe] / self.room.sizes["wander_cents"]) ** 2)

    def room_variance(self, pipe: int, number: int, nodes: Nodes) -> Floats:
        """Variance of real or imaginary ε for a partial [-], shape (terms,)."""
        var = variances(self.room, nodes.basis, float(self.reference_hz[pipe]))
        scale = (self.wander_cents[pipe] / self.room.sizes["wander_cents"]) ** 2
        return np.asarray(number**2 * scale * var.smear + var.build_up)


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
    phase = np.empty((len(members), len(band.nodes.times_s)))
    for row, index in enumerate(members):
        member = band.members[index]
        away = member.number * courses.reference_hz[member.pipe] - band.group.centre_hz
        phase[row] = 2.0 * np.pi * away * band.nodes.times_s
        phase[row] += member.number * (band.nodes.basis.phase @ courses.course[member.pipe])
    return np.asarray(np.exp(1j * phase))


def gram(nodes: Nodes, lines: Waves) -> Waves:
    """Products of all members' slow functions, shape (n, n)."""
    members = len(lines)
    size = nodes.columns.shape[0]
    k = np.arange(size)
    norm = np.full(size, np.sqrt(2.0 / len(nodes.times_s)))
    norm[0] = np.sqrt(1.0 / len(nodes.times_s))
    scale = 0.5 * np.outer(norm, norm)
    plus, minus = k[:, np.newaxis] + k, np.abs(k[:, np.newaxis] - k)
    whole = np.zeros((members, size, members, size), dtype=complex)
    for p in range(members):
        whole[p, k, p, k] = 1.0
        for q in range(p):
            sums = nodes.waves @ (lines[p].conj() * lines[q])
            block = scale * (sums[plus] + sums[minus])
            whole[p, :, q, :] = block
            whole[q, :, p, :] = block.conj().T
    return whole.reshape(members * size, members * size)


def fit_band(
    band: Band,
    index: int,
    courses: Courses,
    members: Sequence[int],
) -> list[Fit]:
    """Amplitudes and room of the members of a band, a `Fit` a channel."""
    lines = turned(band, courses, members)
    product = gram(band.nodes, lines)
    size = band.nodes.columns.shape[0]
    fits = []
    for channel, values in enumerate(band.values):
        noise = band.noise[channel]
        power = float((values.real**2 + values.imag**2).sum())
        pull = ((lines.conj() * values) @ band.nodes.columns.T).ravel() / noise
        precision = np.empty((len(members), size))
        precision[:, 0] = 1.0 / (4.0 * power)
        for row, member_index in enumerate(members):
            member = band.members[member_index]
            known = courses.components.get((index, member_index))
            if known is None:
                squared = power / len(values) / len(members)
                room = 1.0
            else:
                squared = float(np.abs(known.amplitude[channel]) ** 2)
                room = known.room
            squared = max(squared, 1e-3 * noise / len(values))
            var = courses.room_variance(member.pipe, member.number, band.nodes)
            precision[row, 1:] = 1.0 / (2.0 * squared * room * var)
        flat = precision.ravel()
        whole = product / noise
        whole.flat[:: len(flat) + 1] += flat
        inverse = np.linalg.inv(whole)
        mean = inverse @ pull
        log_det = float(np.linalg.slogdet(inverse)[1]) + float(np.log(flat).sum())
        merit = float((pull.conj() @ mean).real) - power / noise + log_det
        fits.append(Fit(inverse, mean, flat, merit))
    return fits


def _remember(
    band: Band, index: int, courses: Courses, members: Sequence[int], fits: Sequence[Fit]
) -> None:
    """Take amplitudes and the room's factor from the fits of a band."""
    size = band.nodes.columns.shape[0]
    nodes = len(band.nodes.times_s)
    for row, member_index in enumerate(members):
        amplitude = np.array([fit.mean[row * size] for fit in fits]) / np.sqrt(nodes)
        spread = np.array([fit.inverse[row * size, row * size].real for fit in fits]) / nodes
        ratio = np.abs(amplitude) ** 2 / spread
        old = courses.components.get((index, member_index))
        room = 1.0 if old is None else old.room
        squares = known = 0.0
        for fit in fits:
            part = slice(row * size + 1, (row + 1) * size)
            squares += float((np.abs(fit.mean[part]) ** 2 * fit.precision[part]).sum())
            own = fit.inverse.diagonal()[part].real
            known += float((1.0 - np.clip(own * fit.precision[part], 0.0, 1.0)).sum())
        factor = (squares + _ROOM_TERMS) / (known + _ROOM_TERMS)
        if old is not None:
            room = float(np.clip(room * factor, _LEAST_ROOM, _MOST_ROOM))
        courses.components[index, member_index] = Component(amplitude, ratio, room)


def phase_error(courses: Courses, nodes: Nodes, pipe: int) -> float:
    """Root mean square of how unsure a pipe's phase is over the window [rad]."""
    phase = nodes.basis.phase
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
        members = range(len(band.members))
        fits = fit_band(band, index, courses, members)
        _remember(band, index, courses, members, fits)
        key = id(band.nodes)
        if key not in sums:
            sums[key] = (
                band.nodes,
                np.zeros((count, terms, count, terms)),
                np.zeros((count, terms)),
            )
        _, inner, pulls = sums[key]
        numbers = np.array([m.number for m in band.members], dtype=float)
        rows = [order[m.pipe] for m in band.members]
        for channel, fit in enumerate(fits):
            merit += fit.merit
            factor = np.array(
                [
                    1j * m.number * c.amplitude[channel] * (c.ratio[channel] > _PRESENT)
                    for m, c in ((band.members[j], courses.components[index, j]) for j in members)
                ]
            )
            n = len(numbers)
            precision = fit.precision.reshape(n, size)[:, 1:]
            inverse = fit.inverse.reshape(n, size, n, size)[:, 1:, :, 1:]
            weight = -precision[:, :, None, None] * inverse * precision[None, None]
            for row in range(n):
                weight[row, range(terms), row, range(terms)] += precision[row]
            both = (
                2.0
                * (factor.conj()[:, None, None, None] * factor[None, None, :, None] * weight).real
            )
            pull = (
                2.0 * (factor.conj()[:, None] * precision * fit.mean.reshape(n, size)[:, 1:]).real
            )
            for p in range(n):
                pulls[rows[p]] += pull[p]
                for q in range(n):
                    inner[rows[p], :, rows[q], :] += both[p, :, q, :]
    for nodes, inner, pulls in sums.values():
        design = nodes.basis.design
        information += _projected(inner, design)
        slope += pulls @ design
    nodes = bands[chosen[0]].nodes
    for row, pipe in enumerate(pipes):
        prior = courses.wander_variance(pipe, nodes)
        information[row, range(1, size), row, range(1, size)] += 1.0 / prior
        slope[row, 1:] -= courses.course[pipe, 1:] / prior
        width = _DUE_CENTS / CENTS_PER_NEPER * courses.reference_hz[pipe]
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
        _fit_wander(courses, pipe, nodes)
    return merit


def merit_of(
    bands: Sequence[Band], asked: Sequence[int], courses: Courses, pipes: Sequence[int]
) -> float:
    """Logarithm of how likely the asked bands are under the courses, over all they may be."""
    merit = 0.0
    for index in asked:
        members = range(len(bands[index].members))
        merit += sum(fit.merit for fit in fit_band(bands[index], index, courses, members))
        for j in members:
            part = courses.components.get((index, j))
            if part is not None:
                merit -= _ROOM_TERMS * (np.log(part.room) + 1.0 / part.room - 1.0)
    nodes = bands[asked[0]].nodes
    rows = list(pipes)
    size = courses.course.shape[1]
    own = courses.covariance[np.ix_(rows, range(size), rows, range(size))]
    merit += 0.5 * float(np.linalg.slogdet(own.reshape(len(rows) * size, -1))[1])
    for pipe in pipes:
        prior = courses.wander_variance(pipe, nodes)
        merit -= 0.5 * float((courses.course[pipe, 1:] ** 2 / prior + np.log(prior)).sum())
        usual = (_USUAL_WANDER_CENTS / courses.wander_cents[pipe]) ** 2
        merit -= 0.5 * _PRIOR_TERMS * (usual - np.log(usual))
    return float(merit)


def _projected(inner: Floats, design: Floats) -> Floats:
    left = np.tensordot(design.T, inner, axes=(1, 1)).transpose(1, 0, 2, 3)
    return np.asarray(np.tensordot(left, design, axes=(3, 0)))


def _fit_wander(courses: Courses, pipe: int, nodes: Nodes) -> None:
    """Size of a pipe's wander that its course asks for (fixed point of MacKay 1992)."""
    prior = courses.wander_variance(pipe, nodes)
    own = courses.covariance[pipe, 1:, pipe, 1:].diagonal()
    squares = float((courses.course[pipe, 1:] ** 2 / prior).sum())
    known = float((1.0 - np.clip(own / prior, 0.0, 1.0)).sum())
    usual = (_USUAL_WANDER_CENTS / courses.wander_cents[pipe]) ** 2
    factor = (squares + _PRIOR_TERMS * usual) / (known + _PRIOR_TERMS)
    courses.wander_cents[pipe] *= float(np.sqrt(np.clip(factor, 0.25, 4.0)))
    courses.wander_cents[pipe] = float(np.clip(courses.wander_cents[pipe], 1e-4, 3.0))
