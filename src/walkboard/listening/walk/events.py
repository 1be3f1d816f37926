"""From atoms to events: what sounded together, before any key is identified.

Atoms that begin and end together are one event. Atoms whose bounds most others share come first,
each collecting those within its time; so a line on which two keys' sounds ran together does not
join the two. Anything weak beneath a stronger simultaneous event is dropped.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.walk.bands import BAND_EDGES_HZ, BAND_WINDOWS_S, cents_of_hz
from walkboard.listening.walk.tracks import Atom

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_SAME_LINE_CENTS = 15.0
_STRONG_DB = 25.0
_ALIKE = 0.7


@dataclass(frozen=True, slots=True)
class Event:
    """Something that sounded steadily: perhaps a hold.

    Attributes
    ----------
    start, end : int
        [frames]
    cents, level_db : ndarray, shape (atoms,)
        Pitch and level of its lines, strongest first.
    share : ndarray, shape (atoms,)
        The share of the event's time in which each line was driven.
    waver_cents : float
        How far its strongest lines waver: a tenth of a cent is usual for a pipe, several cents for
        speech dying away in a room.
    total_db : float
        Power of all lines together [dB].
    """

    start: int
    end: int
    cents: FloatArray
    level_db: FloatArray
    share: FloatArray
    waver_cents: float
    total_db: float


def group_events(atoms: list[Atom]) -> list[Event]:
    """Collect atoms that begin and end together, strongest first."""
    if not atoms:
        return []
    start = np.array([atom.start for atom in atoms])
    end = np.array([atom.end for atom in atoms])
    cents = np.array([atom.cents for atom in atoms])
    level = np.array([atom.level_db for atom in atoms])
    waver = np.array([atom.waver_cents for atom in atoms])
    energy = 10.0 ** (level / 10.0) * (end - start)
    longest = int((end - start).max())
    order = np.argsort(start, kind="stable")
    begins = start[order]
    free = np.ones(len(atoms), bool)
    events: list[Event] = []
    for seed in _Support(start, end, level).seeds(free):
        low, high = int(start[seed]), int(end[seed])
        near = order[np.searchsorted(begins, low - longest) : np.searchsorted(begins, high + 1)]
        near = near[free[near]]
        for _ in range(2):
            overlap = np.minimum(end[near], high) - np.maximum(start[near], low)
            within = (overlap >= 0.7 * (end - start)[near]) & (overlap > 0)
            wide = near[within & (overlap >= 0.6 * (high - low))]
            if not len(wide):
                wide = near[within]
            low = round(_weighted_median(start[wide], energy[wide] ** 0.5))
            high = round(_weighted_median(end[wide], energy[wide] ** 0.5))
        members = np.union1d(near[within], [seed])
        free[members] = False
        lines = _joined(cents[members], level[members], (end - start)[members] / max(1, high - low))
        strong = members[np.argsort(-level[members])][:5]
        mass = 10.0 ** (level[strong] / 40.0) * (end - start)[strong]
        total = 10.0 * np.log10(np.sum(10.0 ** (lines[1] / 10.0) * lines[2]))
        strays = float(mass @ waver[strong] / mass.sum())
        events.append(Event(low, high, *lines, strays, float(total)))
    return sorted(_without_shadows(events), key=lambda event: event.start)


class _Support:
    """How many others share each atom's bounds: the best supported show when the key was down.

    An atom made of one line common to two keys is long and strong, but has no support.
    """

    def __init__(self, start: IntArray, end: IntArray, level: FloatArray) -> None:
        self._order = np.argsort(start, kind="stable")
        self._start, self._end = start[self._order], end[self._order]
        self._weight = 10.0 ** (level[self._order] / 20.0)
        self._place = np.argsort(self._order)

    def of(self, atom: int, free: NDArray[np.bool_]) -> float:
        """Support of an atom by those still free."""
        place = self._place[atom]
        low, high = self._start[place], self._end[place]
        reach = 0.4 * (high - low) + 1
        left, right = np.searchsorted(self._start, (low - reach, low + reach))
        near = slice(int(left), int(right))
        starts, ends = self._start[near], self._end[near]
        shared = np.minimum(ends, high) - np.maximum(starts, low)
        whole = np.maximum(ends, high) - np.minimum(starts, low)
        alike = (shared > _ALIKE * whole) & free[self._order[near]]
        return float(self._weight[near][alike].sum() * (high - low) ** 0.25)

    def seeds(self, free: NDArray[np.bool_]) -> Iterator[int]:
        """Free atoms, best supported first, while others are being taken."""
        heap = [(-self.of(atom, free), atom) for atom in range(len(free))]
        heapq.heapify(heap)
        while heap:
            stored, atom = heapq.heappop(heap)
            if not free[atom]:
                continue
            now = -self.of(atom, free)
            if heap and now > stored + 1e-12 and now > heap[0][0]:
                heapq.heappush(heap, (now, atom))
                continue
            yield atom


def _joined(
    cents: FloatArray, level: FloatArray, share: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Join pieces of one line; returns the lines strongest first."""
    power = 10.0 ** (level / 10.0) * share
    free = np.ones(len(cents), bool)
    rows = []
    for seed in np.argsort(-power):
        if free[seed]:
            same = free & (np.abs(cents - cents[seed]) < _SAME_LINE_CENTS)
            free &= ~same
            mass = power[same].sum()
            time = share[same].sum()
            rows.append(
                (
                    float(power[same] @ cents[same] / mass),
                    10.0 * np.log10(mass / time),
                    min(1.0, float(time)),
                )
            )
    table = np.array(sorted(rows, key=lambda row: -row[1] - 10.0 * np.log10(row[2])))
    return table[:, 0], table[:, 1], table[:, 2]


def _weighted_median(values: NDArray[np.int64], weights: FloatArray) -> float:
    order = np.argsort(values)
    mass = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(mass, 0.5 * mass[-1])])


def _without_shadows(events: list[Event]) -> list[Event]:
    """Drop anything weak beneath a stronger simultaneous event: tails, side bands."""
    order = sorted(range(len(events)), key=lambda i: -events[i].total_db)
    start = np.array([events[i].start for i in order])
    end = np.array([events[i].end for i in order])
    level = np.array([events[i].total_db for i in order])
    kept = np.zeros(len(order), bool)
    for i in range(len(order)):
        above = kept[:i] & (level[:i] > level[i] + 3.0)
        shared = np.minimum(end[:i], end[i]) - np.maximum(start[:i], start[i])
        beneath = np.maximum(shared[above], 0).sum()
        kept[i] = beneath <= 0.4 * (end[i] - start[i])
    return [events[i] for i, keep in zip(order, kept, strict=True) if keep]


def window_of(event: Event) -> float:
    """Length of the shortest window in which a strong line of the event was seen [s]."""
    strong = event.cents[event.level_db > event.level_db.max() - _STRONG_DB]
    edges = [cents_of_hz(hz) for hz in BAND_EDGES_HZ]
    return float(BAND_WINDOWS_S[int(np.searchsorted(edges, strong.max()))])


def is_tail(event: Event, others: list[Event], hop_s: float) -> bool:
    """Whether an event is only the dying sound of one of the others.

    In reverberation a line may swell by chance: such an event is short, weaker, begins as another
    ends, and has only that one's lines.
    """
    if (event.end - event.start) * hop_s > 1.2:
        return False
    power = 10.0 ** (event.level_db / 20.0) * event.share
    for other in others:
        if (other.end - other.start) * hop_s < 0.6 or other.total_db < event.total_db + 5.0:
            continue
        after = (event.start - other.end) * hop_s
        if -0.5 <= after <= 1.0 and other.start < event.start:
            apart = np.abs(event.cents[:, np.newaxis] - other.cents).min(axis=1)
            if power[apart < 30.0].sum() > 0.8 * power.sum():
                return True
    return False
