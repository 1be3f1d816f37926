"""The shortest way through the stints of a visit, respecting their precedence.

A stint is one visit to a chest: for its flues, its mixtures, or its reeds. Ways are built up stint
by stint; of all ways with the same stints done that are at the same chest, only the shortest is
kept (dynamic programming over sets: Held & Karp 1962, J. SIAM 10:196). Each has a lower bound for
the remaining walk, and ways that cannot beat the best one known are dropped. To answer quickly,
only a limited number of ways are kept at a time, those with the lowest bounds (a beam: Lowerre
1976); the lowest bound of the dropped ways is what the best way is proved against. The beam is
widened until no dropped way could have been better, or to its limit; then the gap is reported.

Lower bound: every stint to come is walked to over its shortest way in; in each division not yet
entered, one is walked to from outside; and since every chest is left only once, ways out of a
popular chest get a toll that is paid back once (Lagrange's bound of the assignment of ways, the
tolls by subgradient steps: Held, Wolfe & Crowder 1974, Math. Prog. 6:62).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.planning.air_course import AirCourse
from walkboard.planning.arrays import BoolArray, FloatArray, IntArray

# A reed tuned a degree away from the event's air is worth so much walking: chosen. The expected air
# may differ, and reeds follow the air a little.
MINUTES_A_REED_AND_DEGREE = 0.1

BEAMS = (60, 1500, 20_000, 60_000, 200_000)  # ways kept, in turn
_MOST_STINTS = 62  # bits of the sets
_MOST_WORK = 120_000_000  # ways times stints squared: some seconds, some hundred megabytes
_HAIR = 1e-9
_ROUNDS, _STRIDE = 60, 0.2  # of setting the tolls


@dataclass(frozen=True, slots=True)
class Stint:
    """One visit to a chest.

    Attributes
    ----------
    chest : int
        Place of the chest in the matrix of walks.
    division : str
    work_minutes : float
        Panels, ranks and pipes, without walking.
    after : frozenset of int
        Indices of the stints that come before it.
    reeds : int
        Number of reed pipes tuned in it.
    air : AirCourse or None
        Air of its division.
    event_celsius : float or None
        Air its reeds are tuned for.
    """

    chest: int
    division: str
    work_minutes: float
    after: frozenset[int] = frozenset()
    reeds: int = 0
    air: AirCourse | None = None
    event_celsius: float | None = None

    @property
    def has_air(self) -> bool:
        """Whether the air at its time counts."""
        return bool(self.reeds) and self.air is not None and self.event_celsius is not None

    def air_cost(self, clock_minutes: FloatArray) -> FloatArray:
        """Cost of the air not being the event's, for these start times [min]."""
        if self.air is None or self.event_celsius is None:
            return np.zeros_like(clock_minutes)
        air = self.air.at_times(clock_minutes + 0.5 * self.work_minutes)
        cost: FloatArray = MINUTES_A_REED_AND_DEGREE * self.reeds * np.abs(air - self.event_celsius)
        return cost


@dataclass(frozen=True, slots=True)
class Route:
    """An order of stints.

    Attributes
    ----------
    order : tuple of int
    minutes : float
        Minutes of walking.
    cost : float
        Walking, plus the cost of the air at the reeds [min].
    bound : float
        Lower bound of the cost of any valid order.
    """

    order: tuple[int, ...]
    minutes: float
    cost: float
    bound: float

    @property
    def is_proved(self) -> bool:
        """Whether it is the best."""
        return self.cost - self.bound <= 1e-6


def shortest(
    stints: Sequence[Stint],
    walk: FloatArray,
    arrive: FloatArray,
    *,
    beams: Sequence[int] = BEAMS,
) -> Route:
    """The best order of stints.

    Parameters
    ----------
    stints : sequence of Stint
        With more than 62, the nearest allowed one comes next, without proof.
    walk : (chests, chests) array
        Minutes between chests, 0 on the diagonal.
    arrive : (chests,) array
        Minutes from the console to each.
    beams : sequence of int
        How many ways are kept, turn by turn; the last is the limit.

    Raises
    ------
    ValueError
        If the precedences form a circle.
    """
    if not stints:
        return Route((), 0.0, 0.0, 0.0)
    if len(stints) > _MOST_STINTS:
        return _nearest_next(stints, walk, arrive)
    search = _Search(stints, walk, arrive)
    best = Route((), np.inf, np.inf, 0.0)
    for width in beams:
        if best.order and width * len(stints) ** 2 > _MOST_WORK:
            break
        found = search.run(width, best.cost)
        bound = max(best.bound, min(found.bound, found.cost, best.cost))
        best = found if found.cost < best.cost else best
        best = Route(best.order, best.minutes, best.cost, min(bound, best.cost))
        if best.is_proved:
            break
    if not best.order:
        raise ValueError("what must come before what runs in a circle")
    return best


def _nearest_next(stints: Sequence[Stint], walk: FloatArray, arrive: FloatArray) -> Route:
    left, done = set(range(len(stints))), set[int]()
    order: list[int] = []
    minutes = clock = air = 0.0
    while left:
        ways = arrive if not order else walk[stints[order[-1]].chest]
        may = [j for j in left if stints[j].after <= done]
        if not may:
            raise ValueError("what must come before what runs in a circle")
        best = min(may, key=lambda j: (float(ways[stints[j].chest]), j))
        minutes += float(ways[stints[best].chest])
        air += float(stints[best].air_cost(np.array([clock]))[0])
        clock += stints[best].work_minutes
        order.append(best)
        left.remove(best)
        done.add(best)
    return Route(tuple(order), minutes, minutes + air, 0.0)


@dataclass(frozen=True)
class _Layer:
    mask: IntArray
    last: IntArray
    cost: FloatArray
    parent: IntArray


class _Search:
    def __init__(self, stints: Sequence[Stint], walk: FloatArray, arrive: FloatArray) -> None:
        self._stints = stints
        count = len(stints)
        chest = np.array([s.chest for s in stints])
        step = np.empty((count + 1, count))  # the last row: from the console
        step[:count] = walk[np.ix_(chest, chest)]
        step[count] = arrive[chest]
        self._step = step
        self._bit = np.left_shift(np.int64(1), np.arange(count, dtype=np.int64))
        self._before = np.array([sum(1 << i for i in s.after) for s in stints], dtype=np.int64)
        self._work = np.array([s.work_minutes for s in stints])
        self._is_flue = np.array([s.reeds == 0 for s in stints])
        self._timed = [j for j, s in enumerate(stints) if s.has_air]
        self._charge_ways(np.array([s.division for s in stints]))
        self._air_least = self._least_air()

    def _charge_ways(self, division: np.ndarray) -> None:
        """Shortest ways in, dearer from popular chests, since only one way can leave each."""
        step, count = self._step.copy(), len(self._stints)
        for i in range(count):
            step[i, i] = np.inf
            step[i, [j for j in range(count) if self._before[i] & self._bit[j]]] = np.inf
        toll = np.zeros(count + 1)
        best, self._toll = -np.inf, toll
        for turn in range(_ROUNDS):
            charged = step + toll[:, None]
            chosen = np.argmin(charged, axis=0)
            value = float(charged[chosen, np.arange(count)].sum() - toll.sum())
            if value > best:
                best, self._toll = value, toll
            leaving = np.bincount(chosen, minlength=count + 1)
            stride = _STRIDE * max(float(np.median(self._step)), 1e-6) / (1.0 + turn / 20.0)
            toll = np.maximum(0.0, toll + stride * (leaving - 1.0))
        charged = step + self._toll[:, None]
        alike = np.vstack([division[:, None] == division[None, :], np.zeros((1, count), bool)])
        inside = np.where(alike, charged, np.inf).min(axis=0)
        outside = np.where(alike, np.inf, charged).min(axis=0)
        self._into = np.minimum(inside, outside)
        extra = outside - self._into
        self._extra = np.where(np.isfinite(extra), extra, 0.0)
        self._divisions = [
            (np.flatnonzero(division == d), np.append(division == d, False))
            for d in dict.fromkeys(division)
        ]

    def run(self, width: int, known: float) -> Route:
        """One pass keeping so many ways."""
        count = len(self._stints)
        layers = [
            _Layer(
                np.zeros(1, dtype=np.int64), np.array([count]), np.zeros(1), np.zeros(1, np.int64)
            )
        ]
        let_go = np.inf
        for _ in range(count):
            grown = self._grown(layers[-1])
            promise = grown.cost + self._to_come(grown)
            keep = promise < known - _HAIR
            if not keep.all():
                let_go = min(let_go, known)
            if keep.sum() > width:
                places = np.flatnonzero(keep)
                order = np.argpartition(promise[places], width)
                let_go = min(let_go, float(promise[places[order[width:]]].min()))
                chosen = np.zeros(len(keep), dtype=bool)
                chosen[places[order[:width]]] = True
                keep = chosen
            if not keep.any():
                return Route((), np.inf, np.inf, let_go)
            layers.append(
                _Layer(grown.mask[keep], grown.last[keep], grown.cost[keep], grown.parent[keep])
            )
        at = int(np.argmin(layers[-1].cost))
        cost = float(layers[-1].cost[at])
        backward: list[int] = []
        for layer in layers[:0:-1]:
            backward.append(int(layer.last[at]))
            at = int(layer.parent[at])
        forward = tuple(reversed(backward))
        return Route(forward, self._minutes(forward), cost, let_go)

    def _grown(self, layer: _Layer) -> _Layer:
        """Every way extended by each stint that may come next, the shortest of each kind."""
        mask, last = layer.mask[:, None], layer.last
        may = ((mask & self._bit) == 0) & ((mask & self._before) == self._before)
        step = self._step[last]
        # flues at hand are done before leaving: nothing is gained by coming back for them
        at_hand = may & self._is_flue & (step == 0.0) & (last < len(self._stints))[:, None]
        first = np.argmax(at_hand, axis=1)
        busy = at_hand[np.arange(len(first)), first]
        may[busy] = False
        may[np.flatnonzero(busy), first[busy]] = True
        parent, new = np.nonzero(may)
        cost = layer.cost[parent] + step[parent, new]
        if self._timed:
            clock = self._done(layer.mask) @ self._work
            for j in self._timed:
                which = new == j
                cost[which] += self._stints[j].air_cost(clock[parent[which]])
        grown = layer.mask[parent] | self._bit[new]
        order = np.lexsort((cost, new, grown))
        grown, new = grown[order], new[order]
        first_of = np.ones(len(order), dtype=bool)
        first_of[1:] = (grown[1:] != grown[:-1]) | (new[1:] != new[:-1])
        order = order[first_of]
        return _Layer(grown[first_of], new[first_of], cost[order], parent[order])

    def _to_come(self, layer: _Layer) -> FloatArray:
        """Lower bound of each way's remaining walk."""
        left = ~self._done(layer.mask)
        bound: FloatArray = left @ (self._into + self._air_least - self._toll[:-1])
        bound -= self._toll[layer.last]
        for members, stands_in in self._divisions:
            here = left[:, members]
            extra = np.where(here, self._extra[members], np.inf).min(axis=1)
            counts = here.any(axis=1) & ~stands_in[layer.last]
            bound += np.where(counts, np.where(np.isfinite(extra), extra, 0.0), 0.0)
        return bound

    def _least_air(self) -> FloatArray:
        """The least cost of the air at each reed stint, whenever it starts."""
        least = np.zeros(len(self._stints))
        flues = float(self._work[self._is_flue].sum())
        end = float(self._work.sum())
        for j in self._timed:
            # the course is monotonic, so the cost is least at an end or where it meets the event's
            times = np.linspace(flues, max(end - self._work[j], flues), 257)
            cost = self._stints[j].air_cost(times)
            least[j] = max(0.0, float(cost.min()) - float(np.abs(np.diff(cost)).max()))
        return least

    def _done(self, mask: IntArray) -> BoolArray:
        done: BoolArray = (mask[:, None] & self._bit) != 0
        return done

    def _minutes(self, order: Sequence[int]) -> float:
        at = len(self._stints)
        total = 0.0
        for j in order:
            total += float(self._step[at, j])
            at = j
        return total
