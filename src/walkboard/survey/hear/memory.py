"""What is remembered of an organ's pipes, from holds in which the pipe was clearly identified.

That is so if no other pipe of nearly the same pitch sounded, or if its name was sure. Then its
pitch, its level and the levels of its partials are its own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from walkboard.listening.readings import Measured
from walkboard.organ.model import PipeRef
from walkboard.survey.hear.heard_walk import HeardWalk

_NEIGHBOURS = 6  # keys either side that show where a rank is; chosen
_SURE = 0.99  # probability from which a name is beyond question


@dataclass(frozen=True)
class Memory:
    """Readings of pipes that sounded without a near unison or had a sure name, by pipe.

    Attributes
    ----------
    alone : dict of PipeRef to Measured
    """

    alone: dict[PipeRef, Measured[PipeRef]]

    @classmethod
    def of(cls, walks: Iterable[HeardWalk]) -> Memory:
        """From walks: later readings replace earlier ones; those heard alone come first."""
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
        """Readings of the pipe's neighbours in the rank, nearest first."""
        away = sorted(range(-_NEIGHBOURS, _NEIGHBOURS + 1), key=abs)
        numbers = [pipe.number + n for n in away if n and pipe.number + n >= 1]
        others = [PipeRef(pipe.rank, number) for number in numbers]
        return [self.alone[other] for other in others if other in self.alone]
