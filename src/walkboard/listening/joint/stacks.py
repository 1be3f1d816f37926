"""The sub-bands of a hold as arrays: groups that can be fitted in one pass are stacked.

A hold of four ranks has some fifty groups of one to four partials. Fitted one by one, nearly all
the time goes into the overhead of small array operations; so groups with the same number of
partials are fitted together.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.hold.movement import Floats
from walkboard.listening.joint.bands import Band, Nodes, Waves


@dataclass(frozen=True, slots=True)
class Stack:
    """Bands with the same nodes and the same number of members.

    Attributes
    ----------
    nodes : Nodes
    index : ndarray of int, shape (bands,)
        Indices of the bands in the set.
    pipes, numbers : ndarray of int, shape (bands, members)
        Pipe and partial number of each member.
    turns : ndarray, shape (bands, members, nodes)
        Phase [rad] of each partial at its reference frequency, relative to the band's centre.
    values : ndarray of complex, shape (channels, bands, nodes)
    noise : ndarray, shape (channels, bands)
        Variance (complex) of a value.
    power : ndarray, shape (channels, bands)
        Sum of the squared magnitudes.
    """

    nodes: Nodes
    index: NDArray[np.intp]
    pipes: NDArray[np.intp]
    numbers: NDArray[np.intp]
    turns: Floats
    values: Waves
    noise: Floats
    power: Floats

    @classmethod
    def of(cls, bands: Sequence[Band], index: Sequence[int], reference_hz: Floats) -> Stack:
        """The bands with these indices in a set."""
        held = [bands[i] for i in index]
        pipes = np.array([[m.pipe for m in band.members] for band in held], np.intp)
        numbers = np.array([[m.number for m in band.members] for band in held], np.intp)
        centre_hz = np.array([band.group.centre_hz for band in held])
        away_hz = numbers * reference_hz[pipes] - centre_hz[:, np.newaxis]
        nodes = held[0].nodes
        values = np.stack([band.values for band in held], axis=1)
        return cls(
            nodes,
            np.array(index, np.intp),
            pipes,
            numbers,
            2.0 * np.pi * away_hz[:, :, np.newaxis] * nodes.times_s,
            values,
            np.stack([band.noise for band in held], axis=1),
            (values.real**2 + values.imag**2).sum(axis=2),
        )

    def only(self, rows: NDArray[np.intp]) -> Stack:
        """A selection of the bands."""
        if len(rows) == len(self.index):
            return self
        return Stack(
            self.nodes,
            self.index[rows],
            self.pipes[rows],
            self.numbers[rows],
            self.turns[rows],
            self.values[:, rows],
            self.noise[:, rows],
            self.power[:, rows],
        )


@dataclass(frozen=True, eq=False)
class BandSet:
    """All sub-bands of a hold.

    Attributes
    ----------
    bands : tuple of Band
        From low to high.
    reference_hz : ndarray, shape (pipes,)
        Frequencies that the pipes' courses are counted against [Hz].
    numbers : ndarray of int, shape (bands, pipes)
        Number of a pipe's partial in a band, 0 if it has none.
    centre_hz : ndarray, shape (bands,)
    loudness : ndarray, shape (bands,)
        Mean power over mean noise [-].
    stacks : tuple of Stack
    """

    bands: tuple[Band, ...]
    reference_hz: Floats
    numbers: NDArray[np.intp]
    centre_hz: Floats
    loudness: Floats
    stacks: tuple[Stack, ...]
    _chosen: dict[tuple[int, ...], tuple[Stack, ...]] = field(default_factory=dict, repr=False)

    @classmethod
    def of(cls, bands: Iterable[Band], reference_hz: Sequence[float] | Floats) -> BandSet:
        """The bands of pipes relative to these reference frequencies [Hz]."""
        held = tuple(bands)
        reference = np.asarray(reference_hz, dtype=np.float64)
        numbers = np.zeros((len(held), len(reference)), np.intp)
        alike: dict[tuple[int, int], list[int]] = {}
        for index, band in enumerate(held):
            for member in band.members:
                numbers[index, member.pipe] = member.number
            if band.members:
                alike.setdefault((id(band.nodes), len(band.members)), []).append(index)
        centre_hz = np.array([band.group.centre_hz for band in held])
        loudness = np.array(
            [float((np.abs(b.values) ** 2).mean()) / float(b.noise.mean()) for b in held]
        )
        stacks = tuple(Stack.of(held, index, reference) for index in alike.values())
        return cls(held, reference, numbers, centre_hz, loudness, stacks)

    @property
    def nodes(self) -> Nodes:
        """Nodes of the first band; all have the same slow terms."""
        return self.bands[0].nodes

    @property
    def channels(self) -> int:
        """Number of channels."""
        return len(self.bands[0].values)

    def stacked(self, chosen: Sequence[int]) -> tuple[Stack, ...]:
        """The chosen bands, stacked."""
        key = tuple(chosen)
        if key not in self._chosen:
            wanted = np.zeros(len(self.bands), bool)
            wanted[list(key)] = True
            rows = [(stack, np.flatnonzero(wanted[stack.index])) for stack in self.stacks]
            self._chosen[key] = tuple(stack.only(kept) for stack, kept in rows if len(kept))
        return self._chosen[key]

    def one(self, index: int, pipes: Sequence[int]) -> Stack:
        """One band restricted to the partials of some pipes; it must have at least one of them."""
        band = self.bands[index]
        members = tuple(m for m in band.members if m.pipe in pipes)
        less = replace(band, group=replace(band.group, members=members))
        return replace(Stack.of([less], [0], self.reference_hz), index=np.array([index], np.intp))

    def closed(self, pipes: Sequence[int]) -> NDArray[np.bool_]:
        """Which bands have partials of these pipes only, shape (bands,)."""
        others = np.ones(self.numbers.shape[1], bool)
        others[list(pipes)] = False
        return np.asarray(~(self.numbers[:, others] > 0).any(axis=1))

    def with_pipe(self, pipe: int) -> NDArray[np.intp]:
        """Bands in which a pipe has a partial."""
        return np.flatnonzero(self.numbers[:, pipe])

    def without(self, pipe: int) -> BandSet:
        """The same bands without one pipe's partials."""

        def less(band: Band) -> Band:
            members = tuple(m for m in band.members if m.pipe != pipe)
            return replace(band, group=replace(band.group, members=members))

        return BandSet.of((less(band) for band in self.bands), self.reference_hz)
