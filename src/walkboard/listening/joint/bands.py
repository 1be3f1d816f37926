"""Sub-bands of groups of partials, on nodes that fill the window evenly.

One FFT serves all bands, as in `hold.spectrum`. Here the weights are even wherever a group's
members may be, and fall as a raised cosine over the guard, so a member's level and phase do not
depend on its detuning. The nodes are computed from the bins by a chirp-z transform, at the middles
of cells, where the slow cosines are exactly orthonormal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.hold.chirp import ChirpTransform
from walkboard.listening.hold.movement import Floats, Movement, SlowBasis, variances
from walkboard.listening.hold.spectrum import HoldSpectrum, noise_floor
from walkboard.listening.joint.groups import Group, Member

Waves = NDArray[np.complex128]

SIZE_CENTS = Movement.usual().sizes["wander_cents"]


@dataclass(frozen=True, slots=True)
class Limits:
    """How sub-bands are sampled."""

    oversampled: float = 1.15  # nodes over those that the band's width needs [-]; chosen
    model_floor: float = 10.0**-6.0  # share of the group's power that no model explains [-]; chosen


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Nodes:
    """The nodes of a window and the slow functions on them.

    Attributes
    ----------
    times_s : ndarray, shape (nodes,)
        Times from the middle of the window.
    seconds : float
        Length of the window.
    phase : ndarray, shape (nodes, 1 + terms)
        Phase [rad] for mean frequency and wander coefficients [Hz].
    design : ndarray, shape (terms, 1 + terms)
        The same in the cosines.
    columns : ndarray, shape (1 + terms, nodes)
        Orthonormal cosines, the constant first.
    waves : ndarray, shape (2 * terms + 1, nodes)
        cos(mπ(j + ½)/nodes) for m from 0, by which products of columns are summed.
    wander, smear, build_up : ndarray, shape (terms,)
        Prior variances for a pipe of 1 Hz that wanders by `SIZE_CENTS`; the first two go
        with the square of its frequency and wander.
    """

    times_s: Floats
    seconds: float
    phase: Floats
    design: Floats
    columns: Floats
    waves: Floats
    wander: Floats
    smear: Floats
    build_up: Floats

    @classmethod
    def of(cls, count: int, seconds: float, terms: int, movement: Movement) -> Nodes:
        """The nodes of a window of `seconds`, with `terms` slow functions."""
        full = SlowBasis.of(count, seconds / count)
        angle = np.pi * (np.arange(count) + 0.5) / count
        waves = np.cos(np.outer(np.arange(2 * terms + 1), angle))
        columns = np.vstack([np.full(count, 1.0 / np.sqrt(count)), full.cosines[:terms]])
        times = (np.arange(count) + 0.5) * (seconds / count) - 0.5 * seconds
        shapes = variances(movement, full, 1.0)
        return cls(
            np.asarray(times, dtype=np.float64),
            full.seconds,
            full.phase[:, : 1 + terms],
            full.design[:terms, : 1 + terms],
            columns,
            waves,
            shapes.wander[:terms],
            shapes.smear[:terms],
            shapes.build_up[:terms],
        )


@dataclass(frozen=True, slots=True)
class Band:
    """A group's sub-band over the window.

    Attributes
    ----------
    group : Group
    nodes : Nodes
    values : ndarray of complex, shape (channels, nodes)
        Peak amplitude and phase relative to the group's centre, phase zero mid-window.
    noise : ndarray, shape (channels,)
        Variance (complex) of a node's value due to noise, as if white.
    excess : float
        Nodes over those that the group's own width needs [-]; a floor on the variance of a node's
        value grows with it.
    """

    group: Group
    nodes: Nodes
    values: Waves
    noise: Floats
    excess: float = 1.0

    @property
    def members(self) -> tuple[Member, ...]:
        """Number of partials in it."""
        return self.group.members


def bands_of(  # noqa: PLR0917
    spectrum: HoldSpectrum,
    groups: Sequence[Group],
    lowest_hz: float,
    window_s: tuple[float, float],
    terms: int,
    movement: Movement,
) -> tuple[Band, ...]:
    """Sub-bands of the groups over a window of the hold.

    Parameters
    ----------
    lowest_hz : float
        Least spacing of neighbouring partials, about: the lowest fundamental.
    terms : int
        Slow terms requested.
    movement : Movement
        Shape of the movement; its wander must be of the usual size.
    """
    spacing = spectrum.spacing_hz
    seconds = window_s[1] - window_s[0]
    middle = 0.5 * (window_s[0] + window_s[1])
    centres = np.array([group.centre_hz for group in groups])
    floor = noise_floor(spectrum, lowest_hz, centres / lowest_hz)  # type: ignore[arg-type]
    # All bands on the nodes that the widest one needs, so that they can be fitted together.
    width = max(group.stop_hz for group in groups)
    count = max(2 * terms + 4, int(np.ceil(LIMITS.oversampled * 2.0 * width * seconds)))
    nodes = Nodes.of(count, seconds, terms, movement)
    half = int(np.ceil(width / spacing))
    offsets = np.arange(-half, half + 1)
    to_nodes = ChirpTransform(len(offsets), count, 2.0 * np.pi * spacing * seconds / count)
    begin = np.exp(2j * np.pi * spacing * offsets * (nodes.times_s[0] + middle))
    rate = count / seconds * spectrum.length / spectrum.sample_rate
    bands = []
    for index, group in enumerate(groups):
        nearest = round(group.centre_hz / spacing)
        bins = nearest + offsets
        away = np.abs(bins * spacing - group.centre_hz)
        fall = np.clip((away - group.even_hz) / (group.stop_hz - group.even_hz), 0.0, 1.0)
        weight = 0.5 + 0.5 * np.cos(np.pi * fall)
        inside = (bins >= 1) & (bins < spectrum.bins.shape[1])
        gathered = spectrum.bins[:, np.where(inside, bins, 0)] * (weight * inside * begin)
        shift = np.exp(
            2j * np.pi * (nearest * spacing - group.centre_hz) * nodes.times_s
            + 2j * np.pi * nearest * spacing * middle
            - 2j * np.pi * half * spacing * (nodes.times_s - nodes.times_s[0])
        )
        values = to_nodes(gathered) * (2.0 / spectrum.length) * shift
        noise = 4.0 * floor[:, index] * rate / spectrum.length**2
        power = (values.real**2 + values.imag**2).mean(axis=1)
        excess = width / group.stop_hz
        noise = np.maximum(noise, LIMITS.model_floor * excess * power)
        bands.append(Band(group, nodes, values, noise, excess))
    return tuple(bands)
