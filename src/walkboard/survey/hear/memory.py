"""What is remembered of an organ's pipes from holds in which it was plain which pipe was heard.

Plain it is where no other pipe of nearly the same pitch sounded too, or where the name was sure.
Then its place, its level and the levels of its partials are its own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from walkboard.listening.readings import Measured
from walkboard.organ.model import PipeRef
from walkboard.survey.hear.heard_walk import HeardWalk

_NEIGHBOURS = 6  # keys either side that say where a rank stands; chosen
_SURE = 0.99  # from which a name is as good as none to ask for


@dataclass(frozen=True)
class Memory:
    """Readings of pipes that sounded without a near unison or were surely named, by pipe.

    Attributes
    ----------
    alone : dict of PipeRef to Measured
    """

    alone: dict[PipeRef, Measured[PipeRef]]

    @classmethod
    def of(cls, walks: Iterable[HeardWalk]) -> Memory:
        """From walks: the later counts, and one heard without a neighbour before all others."""
        heard = [
            reading
            for walk in walks
            for hold in walk.holds
            for reading in hold.readings
            if isinstance(reading, Measured)
        ]
        named = [r for r in heard if r.name_sureness is not None and r.name_sureness >= _SURE]
        alone = [r for r in heard if r.name_sureness is None]
        return cls({reading.pipe: reading for reading in (*named, *alone)})

    def neighbours(self, pipe: PipeRef) -> list[Measured[PipeRef]]:
        """Readings of the pipe's neighbours in the rank, the nearest first."""
        away = sorted(range(-_NEIGHBOURS, _NEIGHBOURS + 1), key=abs)
        numbers = [pipe.number + n for n in away if n and pipe.number + n >= 1]
        others = [PipeRef(pipe.rank, number) for number in numbers]
        return [self.alone[other] for other in others if other in self.alone]
