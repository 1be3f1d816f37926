"""How to sound a single pipe: which stop to draw and which key to hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from walkboard.organ.model import Organ, PipeRef, Rank, Stop
from walkboard.scales.keys import Key


@dataclass(frozen=True, slots=True)
class Held:
    """How to sound a pipe: the stop to draw and the key to hold."""

    stop: Stop
    key: Key


def held_keys(organ: Organ, rank: Rank, pipes: Sequence[PipeRef]) -> tuple[Held | None, ...]:
    """The stop and key that sound each of a rank's pipes.

    The choice depends only on the rank, not on which of its pipes are requested, so that a pipe has
    the same key on every page and sheet. Of the stops that play a pipe, the first by these rules is
    drawn:

    1. the one that plays the most pipes of the rank, so that the key holder rarely changes stops,
    2. one of the rank's own division,
    3. the one that draws the fewest other ranks (they would have to be silenced),
    4. the one named first in the description.

    Parameters
    ----------
    organ : Organ
    rank : Rank
    pipes : sequence of PipeRef
        Pipes of this rank.

    Returns
    -------
    tuple of Held or None
        In the order of `pipes`; None if no stop plays the pipe.
    """
    playing = [stop for stop in organ.stops if any(p.rank == rank.id for p in stop.plays)]

    def rules(stop: Stop) -> tuple[int, bool, int]:
        played = {number for p in stop.plays if p.rank == rank.id for _, number in p.sounds()}
        others = len({p.rank for p in stop.plays} - {rank.id})
        return -len(played), stop.division != rank.division, others

    in_order = sorted(playing, key=rules)
    return tuple(_first_held(in_order, pipe) for pipe in pipes)


def held_key(organ: Organ, pipe: PipeRef) -> Held | None:
    """The stop and key that sound one pipe, chosen as in `held_keys`."""
    return held_keys(organ, organ.rank(pipe.rank), [pipe])[0]


def _first_held(stops: Sequence[Stop], pipe: PipeRef) -> Held | None:
    for stop in stops:
        for plays in stop.plays:
            if plays.rank == pipe.rank:
                key = plays.key_sounding(pipe.number)
                if key is not None:
                    return Held(stop, key)
    return None
