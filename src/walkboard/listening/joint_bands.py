"""Sub-bands of groups of partials, on nodes that fill the window evenly.

As in `subbands` one FFT serves all; here the weights are even over the places where a group's
members
may be and fall as a raised cosine over the guard, so a member's level and phase do not depend on
its detuning. The nodes are computed by a short sum over the bins, at the middles of cells, where
the slow cosines are exactly orthonormal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.joint_groups import Group, Member
from walkboard.listening.subbands import HoldSpectrum, noise_floor
from walkboard.listening.wander import Floats, SlowBasis

Waves = NDArray[np.complex128]

_OVERSAMPLED = 1.15
_MODEL_FLOOR = 10.0**-6.0  # beside the group's own power, that no model of sound follows


@dataclass(frozen=True, slots=True)
class Nodes:
    """The nodes of a window and the slow functions on them.

    Attributes
    ----------
    times_s : ndarray, shape (nodes,)
        From the middle of the window.
    basis : SlowBasis
        Its first terms.
    columns : ndarray, shape (1 + terms, nodes)
        Orthonormal cosines, the constant first.
    waves : ndarray, shape (2 * terms + 1, nodes)
        cos(mπ(j + ½)/nodes) for m from 0, by which products of columns are summed.
    """

    times_s: Floats
    basis: SlowBasis
    columns: Floats
    waves: Floats

    @classmethod
    def of(cls, count: int, seconds: float, terms: int) -> Nodes:
        """So many nodes in a window of so many seconds, with so many slow terms."""
        full = SlowBasis.of(count, seconds / count)
        basis = SlowBasis(
            full.cosines[:terms],
            full.rates_hz[:terms],
            full.phase[:, : 1 + terms],
            full.design[:terms, : 1 + terms],
            full.build_up[:, :terms],
            full.seconds,
        )
        angle = np.pi * (np.arange(count) + 0.5) / count
        waves = np.cos(np.outer(np.arange(2 * terms + 1), angle))
        columns = np.vstack([np.full(count, 1.0 / np.sqrt(count)), basis.cosines])
        times = (np.arange(count) + 0.5) * (seconds / count) - 0.5 * seconds
        return cls(np.asarray(times, dtype=np.float64), basis, columns, waves)


@dataclass(frozen=True, slots=True)
class Band:
    """A group's sub-band over the window.

    Attributes
    ----------
    group : Group
    nodes : Nodes
    values : ndarray of complex, shape (channels, nodes)
        Peak amplitude and phase against the group's centre, phase zero at the window's middle.
    noise : ndarray, shape (channels,)
        Variance (complex) of a node's value from the noise, as if white.
    """

    group: Group
    nodes: Nodes
    values: Waves
    noise: Floats

    @property
    def members(self) -> tuple[Member, ...]:
        """Partials in it."""
        return self.group.members


def bands_of(
    spectrum: HoldSpectrum,
    groups: Sequence[Group],
    lowest_hz: float,
    window_s: tuple[float, float],
    terms: int,
) -> tuple[Band, ...]:
    """Sub-bands of the groups over a window of the hold.

    Parameters
    ----------
    lowest_hz : float
        Distance of neighbouring partials at least, about: the lowest fundamental.
    terms : int
        Slow terms wanted.
    """
    spacing = spectrum.spacing_hz
    seconds = window_s[1] - window_s[0]
    middle = 0.5 * (window_s[0] + window_s[1])
    centres = np.array([group.centre_hz for group in groups])
    floor = noise_floor(spectrum, lowest_hz, centres / lowest_hz)  # type: ignore[arg-type]
    kinds: dict[int, list[int]] = {}
    for index, group in enumerate(groups):
        # Few kinds of width, so that the nodes and their sums are shared.
        kinds.setdefault(int(np.ceil(2.0 * np.log2(group.stop_hz))), []).append(index)
    bands: list[Band | None] = [None] * len(groups)
    for kind, indices in kinds.items():
        width = 2.0 ** (kind / 2.0)
        count = max(2 * terms + 4, int(np.ceil(_OVERSAMPLED * 2.0 * width * seconds)))
        nodes = Nodes.of(count, seconds, terms)
        half = int(np.ceil(width / spacing))
        offsets = np.arange(-half, half + 1)
        turn = np.exp(2j * np.pi * spacing * np.outer(offsets, nodes.times_s + middle))
        for index in indices:
            group = groups[index]
            nearest = round(group.centre_hz / spacing)
            bins = nearest + offsets
            away = np.abs(bins * spacing - group.centre_hz)
            fall = np.clip((away - group.even_hz) / (group.stop_hz - group.even_hz), 0.0, 1.0)
            weight = 0.5 + 0.5 * np.cos(np.pi * fall)
            weight[(bins < 1) | (bins >= spectrum.bins.shape[1])] = 0.0
            used = np.nonzero(weight)[0]
            gathered = spectrum.bins[:, bins[used]] * weight[used]
            shift = np.exp(
                2j * np.pi * (nearest * spacing - group.centre_hz) * nodes.times_s
                + 2j * np.pi * nearest * spacing * middle
            )
            values = (gathered @ turn[used]) * (2.0 / spectrum.length) * shift
            rate = count / seconds * spectrum.length / spectrum.sample_rate
            noise = 4.0 * floor[:, index] * rate / spectrum.length**2
            power = (values.real**2 + values.imag**2).mean(axis=1)
            bands[index] = Band(group, nodes, values, np.maximum(noise, _MODEL_FLOOR * power))
    return tuple(band for band in bands if band is not None)
