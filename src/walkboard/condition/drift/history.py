"""What earlier visits found and did, as input to the drift model."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from walkboard.condition.mixtures import FloatArray
from walkboard.condition.shift import air_cents
from walkboard.condition.state import PipeCents
from walkboard.errors import InputError
from walkboard.organ.model import Organ, PipeRef

IntArray = NDArray[np.int64]

_EPOCH = date(2000, 1, 1)
_DAYS_A_YEAR = 365.25


@dataclass(frozen=True, slots=True)
class PastVisit:
    """One visit.

    Attributes
    ----------
    at : date
    air_celsius : mapping of division id to float
        As noted; divisions may be missing [°C].
    heard : tuple of PipeCents
        Deviations of pipes before anything was tuned.
    left : mapping of PipeRef to float
        Pipes that were tuned, and where they were left, against their targets at the air noted for
        their division [cents].
    """

    at: date
    air_celsius: Mapping[str, float]
    heard: tuple[PipeCents, ...]
    left: Mapping[PipeRef, float] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, eq=False)
class RankVisit:
    """A visit's figures of one rank.

    Attributes
    ----------
    heard, tuned : arrays of int
        Pipes, from 0.
    cents, error_cents : arrays
        Readings of `heard`, against the targets at the division's noted air.
    left_cents : array
        Where the pipes of `tuned` were left.
    """

    heard: IntArray
    cents: FloatArray
    error_cents: FloatArray
    tuned: IntArray
    left_cents: FloatArray


@dataclass(frozen=True, eq=False)
class VisitFigures:
    """A visit as arrays.

    Attributes
    ----------
    year : float
    air_cents : dict of division id to float or None
        How much sharper flues are in the noted air than at the organ's pitch temperature.
    ranks : dict of rank index to RankVisit
        Ranks with pipes heard or tuned.
    """

    year: float
    air_cents: dict[str, float | None]
    ranks: dict[int, RankVisit]


def year_of(at: date) -> float:
    """A date as a number of years; only differences and the season count."""
    return (at - _EPOCH).days / _DAYS_A_YEAR


def figures(organ: Organ, visits: Sequence[PastVisit]) -> tuple[VisitFigures, ...]:
    """Visits as arrays, rank by rank.

    Raises
    ------
    InputError
        If visits are not in order of date, or a pipe is not the organ's.
    """
    years = [year_of(visit.at) for visit in visits]
    if any(later < earlier for earlier, later in pairwise(years)):
        raise InputError(
            "The visits are not in the order of their dates.", fix="Give the oldest first."
        )
    index = {rank.id: n for n, rank in enumerate(organ.ranks)}
    return tuple(
        _figures_of(organ, index, visit, year) for visit, year in zip(visits, years, strict=True)
    )


def air_of(organ: Organ, air_celsius: Mapping[str, float]) -> dict[str, float | None]:
    """How much sharper each division's flues are than at the organ's pitch temperature [cents]."""
    return {
        d.id: air_cents(organ.pitch.at_celsius, air_celsius[d.id]) if d.id in air_celsius else None
        for d in organ.divisions
    }


def _figures_of(
    organ: Organ, index: Mapping[str, int], visit: PastVisit, year: float
) -> VisitFigures:
    air = air_of(organ, visit.air_celsius)
    known: dict[float, float] = {}
    heard: dict[int, dict[int, tuple[float, float]]] = {}
    for pipe in visit.heard:
        at = _place(organ, index, pipe.pipe)
        if pipe.air_celsius not in known:
            known[pipe.air_celsius] = air_cents(organ.pitch.at_celsius, pipe.air_celsius)
        stated = air[organ.ranks[at].division] or 0.0
        cents = pipe.cents + known[pipe.air_celsius] - stated
        own = heard.setdefault(at, {})
        number = pipe.pipe.number - 1
        if number not in own or pipe.sigma_cents < own[number][1]:
            own[number] = (cents, pipe.sigma_cents)
    tuned: dict[int, dict[int, float]] = {}
    for ref, cents in visit.left.items():
        tuned.setdefault(_place(organ, index, ref), {})[ref.number - 1] = cents
    return VisitFigures(
        year,
        air,
        {
            at: _rank_visit(heard.get(at, {}), tuned.get(at, {}))
            for at in sorted(heard.keys() | tuned.keys())
        },
    )


def _rank_visit(heard: dict[int, tuple[float, float]], tuned: dict[int, float]) -> RankVisit:
    readings = np.array(list(heard.values()), dtype=np.float64).reshape(-1, 2)
    return RankVisit(
        heard=np.array(list(heard), dtype=np.int64),
        cents=readings[:, 0],
        error_cents=readings[:, 1],
        tuned=np.array(list(tuned), dtype=np.int64),
        left_cents=np.array(list(tuned.values()), dtype=np.float64),
    )


def _place(organ: Organ, index: Mapping[str, int], pipe: PipeRef) -> int:
    at = index.get(pipe.rank)
    if at is None or pipe.number > organ.ranks[at].pipes:
        raise InputError(
            f"The history has the pipe {pipe}, which this organ does not have.",
            fix="Give the history of the organ as it is now described.",
        )
    return at
