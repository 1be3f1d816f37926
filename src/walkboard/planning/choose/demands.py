"""What a plan must do or leave alone, whatever it costs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from walkboard.errors import InputError
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.nearest import meant_instead
from walkboard.planning.value.risk import RiskyPipes

MOST_TIE_CENTS = 3.0  # further apart, two divisions no longer sound as one organ: a degree of air
FAULT_MINUTES = 5.0  # to see to a fault of a pipe, its tuning apart: common practice, no source


@dataclass(frozen=True, slots=True)
class Demands:
    """What a plan must and must not do.

    Attributes
    ----------
    must : frozenset of PipeRef
        Must be tuned, such as pipes with a fault.
    must_not : frozenset of PipeRef
        Must not be touched; historic ranks never are.
    out_of_reach : frozenset of str
        Ranks that cannot be reached today, by id.
    within_cents : mapping of stop id to cents
        Stops that the event needs within so many cents of the organ's tuned pitch.
    tie_cents : float
        How far apart two divisions may be tuned, each for its own air; 0 for one pitch.
    risky : RiskyPipes
    extra_minutes : mapping of PipeRef to minutes
        Extra time for a pipe, such as fixing a fault.
    leave_strays : bool
        If False, every pipe that sticks out in the played range is tuned, if they all fit. If True,
        they are weighed like any other.
    """

    must: frozenset[PipeRef] = frozenset()
    must_not: frozenset[PipeRef] = frozenset()
    out_of_reach: frozenset[str] = frozenset()
    within_cents: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    tie_cents: float = 0.0
    risky: RiskyPipes = RiskyPipes.COUNT
    extra_minutes: Mapping[PipeRef, float] = field(default_factory=lambda: MappingProxyType({}))
    leave_strays: bool = False

    def check(self, organ: Organ) -> None:
        """Refuse names the organ does not have, and contradictions.

        Raises
        ------
        UnknownNameError
            If a rank, a stop or a pipe's rank does not exist.
        InputError
            When a pipe must and must not be tuned, or a figure cannot be.
        """
        for pipe in (*self.must, *self.must_not):
            rank = organ.rank(pipe.rank)
            if pipe.number > rank.pipes:
                raise InputError(f"{rank.id} has {rank.pipes} pipes, so there is no {pipe}.")
        for rank_id in self.out_of_reach:
            organ.rank(rank_id)
        for stop, cents in self.within_cents.items():
            organ.stop(stop)
            if not 0.1 <= cents <= 50.0:
                raise InputError(
                    f"A stop cannot be required to be within {cents:g} cents.",
                    where=stop,
                    fix="Give 0.1 to 50 cents; 3 are about a degree of air.",
                )
        if not 0.0 <= self.tie_cents <= MOST_TIE_CENTS:
            raise InputError(
                f"Divisions cannot be tied within {self.tie_cents:g} cents.",
                fix=f"Give 0 to {MOST_TIE_CENTS:g} cents.",
            )
        for pipe, minutes in self.extra_minutes.items():
            if not (minutes >= 0.0 and math.isfinite(minutes)):
                raise InputError(
                    f"A pipe cannot take {minutes:g} minutes more.",
                    where=str(pipe),
                    fix="Give the minutes besides its tuning, 0 or more.",
                )
        for pipe in sorted(self.must):
            why = self._why_not(organ, pipe)
            if why:
                raise InputError(
                    f"{pipe} must be tuned, but {why}.", fix="Leave one of the two out."
                )

    def _why_not(self, organ: Organ, pipe: PipeRef) -> str:
        if pipe in self.must_not:
            return "must not be touched"
        if pipe.rank in self.out_of_reach:
            return "its rank is out of reach"
        if organ.rank(pipe.rank).historic:
            return "its rank is historic"
        return ""


def pipes_named(organ: Organ, names: Iterable[str]) -> frozenset[PipeRef]:
    """Pipes named by ranks, stops, or ``rank:number``.

    Raises
    ------
    InputError
        If the organ has neither.
    """
    found: set[PipeRef] = set()
    ranks = {rank.id for rank in organ.ranks}
    stops = {stop.id for stop in organ.stops}
    for name in names:
        if name in ranks:
            found.update(PipeRef(name, n + 1) for n in range(organ.rank(name).pipes))
        elif name in stops:
            found.update(pipes_of_stop(organ, name))
        elif name.rpartition(":")[0] in ranks:
            found.add(PipeRef.parse(name))
        else:
            raise InputError(
                f"The organ has no rank, stop or pipe {name!r}.",
                fix=meant_instead(
                    name,
                    organ.names_of_pipes(),
                    "Write a rank's or a stop's id, or a pipe as rank:number.",
                ),
            )
    return frozenset(found)


def pipes_of_stop(organ: Organ, stop: str) -> tuple[PipeRef, ...]:
    """Every pipe that a stop sounds, each once."""
    found: dict[PipeRef, None] = {}
    for plays in organ.stop(stop).plays:
        found.update(dict.fromkeys(PipeRef(plays.rank, number) for _, number in plays.sounds()))
    return tuple(found)


def ranks_named(organ: Organ, names: Iterable[str]) -> frozenset[str]:
    """Ranks named by a rank, a chest or a division.

    Raises
    ------
    InputError
        If the organ has nothing of that name.
    """
    found: set[str] = set()
    for name in names:
        here = {r.id for r in organ.ranks if name in (r.id, r.chest, r.division)}
        if not here:
            raise InputError(
                f"The organ has no rank, chest or division {name!r}.",
                fix=meant_instead(
                    name,
                    [
                        *((rank.id, rank.name) for rank in organ.ranks),
                        *((division.id, division.name) for division in organ.divisions),
                        *((chest.id, chest.id) for chest in organ.chests),
                    ],
                    "Write the id of a rank, a chest or a division.",
                ),
            )
        found |= here
    return frozenset(found)
