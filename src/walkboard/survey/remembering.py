"""What is remembered of an organ's pipes from holds in which it was plain which pipe was heard.

Plain it is where no other pipe of nearly the same pitch sounded too, or where the name was sure.
Then its level and the levels of its partials are its own. A pipe that was not heard so is taken to
sound like the nearest pipes of its rank.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from walkboard.organ.model import PipeRef
from walkboard.survey.heard import HeardWalk, Reading

_NEIGHBOURS = 6  # keys either side from which a level or a spectrum is taken; own choice
_LEAST_PARTIALS = 2
_SURE = 0.99  # from which a name is as good as none to ask for


@dataclass(frozen=True)
class Memory:
    """Readings of pipes that sounded without a near unison or were surely named, by pipe.

    Attributes
    ----------
    alone : dict of PipeRef to Reading
    """

    alone: dict[PipeRef, Reading]

    @classmethod
    def of(cls, walks: Iterable[HeardWalk]) -> Memory:
        """From walks: a later one stands over an earlier, one without a neighbour over all."""
        heard = [
            reading
            for walk in walks
            for hold in walk.holds
            for reading in hold.readings
            if reading.hz is not None
        ]
        named = [r for r in heard if r.name_sureness is not None and r.name_sureness >= _SURE]
        alone = [r for r in heard if r.name_sureness is None]
        return cls({reading.pipe: reading for reading in (*named, *alone)})

    def near(self, pipe: PipeRef, *, itself: bool = True) -> list[Reading]:
        """Readings of the pipe and its neighbours in the rank, the nearest first."""
        away = sorted(range(-_NEIGHBOURS, _NEIGHBOURS + 1), key=abs)
        numbers = [pipe.number + n for n in away if (n or itself) and pipe.number + n >= 1]
        others = [PipeRef(pipe.rank, number) for number in numbers]
        return [self.alone[other] for other in others if other in self.alone]

    def level_db(self, pipe: PipeRef) -> float | None:
        """Its own level, else the middle one of its nearest three neighbours [dB]."""
        levels = [r.level_db for r in self.near(pipe) if r.level_db is not None]
        own = self.alone.get(pipe)
        if own is not None and own.level_db is not None:
            return own.level_db
        return float(np.median(levels[:3])) if levels else None

    def partials_db(self, pipe: PipeRef) -> tuple[float, ...] | None:
        """Levels of its partials from 1, the nearest pipe's where it was not heard itself [dB].

        Up to the first that was not heard; None where fewer than two are known.
        """
        for reading in self.near(pipe):
            levels = {partial.number: partial.level_db for partial in reading.partials}
            known: list[float] = []
            while len(known) + 1 in levels:
                known.append(levels[len(known) + 1])
            if len(known) >= _LEAST_PARTIALS:
                return tuple(known)
        return None
