"""Reads every wanted pipe in the least key-holding time.

A weighted set cover with set-up costs. Drawing a registration r costs a setting; each key k held
with it costs a hold, and reads the wanted pipes that they sound:

    minimise  Σ setting·y[r] + Σ hold[r]·b[k, r]
    subject to  Σ b[k, r] ≥ 1 over all (k, r) that sound pipe p, for every wanted p;  b[k, r] ≤ y[r]

with y and b 0 or 1. If one pipe sounds at a time, a hold may be shorter. A pipe that sounds at
several keys or keyboards (an extended or borrowed rank) is needed once. Keys that share pipes are
treated together; equivalent sets of keys are solved once and counted as often as they occur, which
keeps the problem small. The solver (HiGHS, through scipy) gives the solution and a proven bound; if
it gives up, the result is a greedy cover with the solver's bound.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp
from scipy.sparse import csr_array

from walkboard.organ.model import Organ, PipeRef
from walkboard.scales.keys import Key
from walkboard.survey.plan.registrations import Registration
from walkboard.survey.plan.walk_plan import Pace

NODE_LIMIT = 2000  # nodes of the solver's tree; the demo hall's plan needs none
_SMALL = 400  # columns; up to here the solver must prove its answer, in well under a second
_GAP, _GAP_LARGE = 1e-6, 0.02  # gap at which it may stop, as a share of the minutes


@dataclass(frozen=True, slots=True)
class Place:
    """A key of a keyboard."""

    division: str
    key: Key


@dataclass(frozen=True, slots=True)
class Cover:
    """Which keys are held with which registration.

    Attributes
    ----------
    held : mapping of int to tuple of Key
        Keys by the registration's number, upward.
    bound_minutes : float
        No cover of the wanted pipes by these registrations takes less.
    """

    held: Mapping[int, tuple[Key, ...]]
    bound_minutes: float


@dataclass(frozen=True, slots=True)
class _Costs:
    """Cost of setting each registration, and of each key held with it, by its number [min]."""

    setting_minutes: float
    key_minutes: tuple[float, ...]

    @classmethod
    def of(cls, choices: Sequence[Registration], pace: Pace) -> _Costs:
        keys = (pace.of_one_pipe if one.alone else pace for one in choices)
        return cls(pace.setting_minutes, tuple(of.key_minutes for of in keys))


Reads = Mapping[int, frozenset[PipeRef]]
"""What each registration reads at one place, by its number."""


def cover(
    organ: Organ,
    choices: Sequence[Registration],
    wanted: frozenset[PipeRef],
    pace: Pace,
) -> Cover:
    """Least-time cover of the wanted pipes; ignores those that no choice sounds.

    Parameters
    ----------
    organ : Organ
    choices : sequence of Registration
    wanted : frozenset of PipeRef
    pace : Pace
    """
    reads = _reads(organ, choices, wanted)
    held: dict[int, list[Key]] = defaultdict(list)
    bound = 0.0
    costs = _Costs.of(choices, pace)
    for group in _linked(_alike(reads)):
        chosen, least = _solve(group, costs)
        bound += least
        for kind, picks in zip(group, chosen, strict=True):
            for places in kind.copies:
                for number, choice in picks:
                    held[choice].append(places[number].key)
    return Cover({number: tuple(sorted(held[number])) for number in sorted(held)}, bound)


def least_minutes(
    organ: Organ,
    choices: Sequence[Registration],
    wanted: frozenset[PipeRef],
    pace: Pace,
) -> float:
    """A quick lower bound for any cover [min], from the relaxed program."""
    groups = _linked(_alike(_reads(organ, choices, wanted)))
    bound = 0.0
    for group in groups:
        found = _model(group, _Costs.of(choices, pace)).solve(whole=0, gap=_GAP)
        bound += 0.0 if found.x is None else float(found.fun)
    return bound


def _reads(
    organ: Organ, choices: Sequence[Registration], wanted: frozenset[PipeRef]
) -> dict[Place, Reads]:
    found: dict[Place, dict[int, frozenset[PipeRef]]] = defaultdict(dict)
    for number, choice in enumerate(choices):
        for key in choice.keys:
            pipes = frozenset(organ.sounding(choice.stops, key)) & wanted
            if pipes:
                found[Place(choice.division, key)][number] = pipes
    return dict(found)


@dataclass(frozen=True, slots=True)
class _Kind:
    """Equivalent sets of places that share pipes only among themselves.

    Attributes
    ----------
    places : tuple of tuple of (int, frozenset of int)
        For each place of the set, the choices and the numbers of the pipes they read.
    copies : tuple of tuple of Place
    """

    places: tuple[tuple[tuple[int, frozenset[int]], ...], ...]
    copies: tuple[tuple[Place, ...], ...]

    @property
    def choices(self) -> frozenset[int]:
        return frozenset(choice for place in self.places for choice, _ in place)


def _alike(reads: Mapping[Place, Reads]) -> list[_Kind]:
    places = sorted(reads, key=lambda p: (p.division, p.key))
    sharing: dict[PipeRef, list[Place]] = defaultdict(list)
    for place in places:
        for pipe in frozenset[PipeRef]().union(*reads[place].values()):
            sharing[pipe].append(place)
    kinds: dict[tuple[tuple[tuple[int, frozenset[int]], ...], ...], list[tuple[Place, ...]]]
    kinds = defaultdict(list)
    for members in _components(places, sharing.values()):
        numbers: dict[PipeRef, int] = {}
        shape = []
        for place in members:
            for pipe in sorted(frozenset[PipeRef]().union(*reads[place].values())):
                numbers.setdefault(pipe, len(numbers))
            shape.append(
                tuple(
                    (choice, frozenset(numbers[p] for p in pipes))
                    for choice, pipes in sorted(reads[place].items())
                )
            )
        kinds[tuple(shape)].append(tuple(members))
    return [_Kind(shape, tuple(copies)) for shape, copies in kinds.items()]


def _components(places: Sequence[Place], ties: Iterable[Sequence[Place]]) -> list[list[Place]]:
    """Places connected by ties, directly or through others; each in the order given."""
    head = {place: place for place in places}

    def root(place: Place) -> Place:
        while head[place] is not place:
            head[place] = head[head[place]]
            place = head[place]
        return place

    for tied in ties:
        for other in tied[1:]:
            head[root(other)] = root(tied[0])
    joined: dict[Place, list[Place]] = defaultdict(list)
    for place in places:
        joined[root(place)].append(place)
    return list(joined.values())


def _linked(kinds: Sequence[_Kind]) -> list[list[_Kind]]:
    """Kinds in groups with no registration in common."""
    groups: list[tuple[set[int], list[_Kind]]] = []
    for kind in kinds:
        mine, members = set(kind.choices), [kind]
        apart = []
        for choices, others in groups:
            if choices & mine:
                mine |= choices
                members = [*others, *members]
            else:
                apart.append((choices, others))
        groups = [*apart, (mine, members)]
    return [members for _, members in groups]


Picks = list[list[tuple[int, int]]]
"""For each kind, pairs of a place's number in it and the choice held there."""


@dataclass(frozen=True, eq=False)
class _Model:
    """The program of one group: registrations' columns first, then those of places.

    Attributes
    ----------
    choices : tuple of int
        Choices for the first columns.
    where : tuple of (int, int, tuple of int)
        For each further column: the kind, the place in it, and the choices that read the same
        there: any of them will do.
    cost : ndarray, shape (columns,)
        [min].
    matrix : sparse array, shape (rows, columns)
    least : ndarray, shape (rows,)
        Each row's sum is at least this.
    """

    choices: tuple[int, ...]
    where: tuple[tuple[int, int, tuple[int, ...]], ...]
    cost: NDArray[np.float64]
    matrix: csr_array
    least: NDArray[np.float64]

    def solve(self, *, whole: int, gap: float) -> OptimizeResult:
        """HiGHS's answer, with columns integer (1) or free between 0 and 1 (0)."""
        return milp(
            self.cost,
            integrality=np.full(self.cost.size, whole, dtype=np.int64),
            bounds=Bounds(0.0, 1.0),
            constraints=LinearConstraint(self.matrix, self.least),
            options={"node_limit": NODE_LIMIT, "mip_rel_gap": gap},
        )


def _model(group: Sequence[_Kind], costs: _Costs) -> _Model:
    choices = sorted(frozenset[int]().union(*(kind.choices for kind in group)))
    number = {choice: i for i, choice in enumerate(choices)}
    cost = [costs.setting_minutes] * len(choices)
    where: list[tuple[int, int, tuple[int, ...]]] = []
    rows: list[list[tuple[int, float]]] = []
    for k, kind in enumerate(group):
        readers: dict[int, list[tuple[int, float]]] = defaultdict(list)
        for n, place in enumerate(kind.places):
            ways: dict[tuple[frozenset[int], float], list[int]] = defaultdict(list)
            for choice, read in place:
                ways[read, costs.key_minutes[choice]].append(choice)
            for (read, key_minutes), able in ways.items():
                for pipe in read:
                    readers[pipe].append((len(cost), 1.0))
                rows.append([*((number[c], 1.0) for c in able), (len(cost), -1.0)])
                where.append((k, n, tuple(able)))
                cost.append(key_minutes * len(kind.copies))
        rows += readers.values()
    entries = [(r, column, value) for r, row in enumerate(rows) for column, value in row]
    at_row, at_column, values = (np.array(part) for part in zip(*entries, strict=True))
    return _Model(
        tuple(choices),
        tuple(where),
        np.array(cost),
        csr_array((values, (at_row, at_column)), shape=(len(rows), len(cost))),
        np.array([0.0 if row[-1][1] < 0.0 else 1.0 for row in rows]),
    )


def _solve(group: Sequence[_Kind], costs: _Costs) -> tuple[Picks, float]:
    """The least-time picks of one group, and a proven lower bound of their minutes."""
    model = _model(group, costs)
    found = model.solve(whole=1, gap=_GAP if model.cost.size <= _SMALL else _GAP_LARGE)
    greedy = _greedy(group, costs)
    bound = 0.0 if found.mip_dual_bound is None else max(0.0, float(found.mip_dual_bound))
    if found.x is None:
        return greedy, bound
    drawn = {c for c, value in zip(model.choices, found.x, strict=False) if value > 0.5}
    picks: Picks = [[] for _ in group]
    for (k, n, able), value in zip(model.where, found.x[len(model.choices) :], strict=True):
        if value > 0.5:
            picks[k].append((n, next(choice for choice in able if choice in drawn)))
    best = min((picks, greedy), key=lambda p: _minutes(group, p, costs))
    return best, min(bound, _minutes(group, best, costs))


def _minutes(group: Sequence[_Kind], picks: Picks, costs: _Costs) -> float:
    used = {choice for of_kind in picks for _, choice in of_kind}
    holds = sum(
        len(kind.copies) * costs.key_minutes[choice]
        for kind, of_kind in zip(group, picks, strict=True)
        for _, choice in of_kind
    )
    return len(used) * costs.setting_minutes + holds


def _greedy(group: Sequence[_Kind], costs: _Costs) -> Picks:
    """A greedy cover: always the registration that reads most new pipes per minute."""
    missing = [{p for place in kind.places for _, read in place for p in read} for kind in group]
    picks: Picks = [[] for _ in group]
    while any(missing):
        best: tuple[float, Picks] = (-1.0, [])
        for choice in sorted(frozenset[int]().union(*(kind.choices for kind in group))):
            trial: Picks = []
            new = holds = 0
            for kind, left in zip(group, missing, strict=True):
                rest = set(left)
                trial.append([])
                for n, place in enumerate(kind.places):
                    gained = dict(place).get(choice, frozenset()) & rest
                    if gained:
                        rest -= gained
                        trial[-1].append((n, choice))
                        new += len(gained) * len(kind.copies)
                        holds += len(kind.copies)
            minutes = costs.setting_minutes + holds * costs.key_minutes[choice]
            worth = new / (minutes or 1.0)
            if new and worth > best[0]:
                best = (worth, trial)
        for k, of_kind in enumerate(best[1]):
            for n, choice in of_kind:
                missing[k] -= dict(group[k].places[n])[choice]
                picks[k].append((n, choice))
    return picks
