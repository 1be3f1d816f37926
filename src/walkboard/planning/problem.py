"""From standings to the task: gains, times and set-ups as arrays."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.organ.model import Organ
from walkboard.planning.arrays import FloatArray
from walkboard.planning.minutes import RANK_MINUTES, in_steps
from walkboard.planning.ordering import visit_of
from walkboard.planning.standing import REFERENCES_CENTS, Standing, left_badness, untouched_badness
from walkboard.planning.task import Level, Task
from walkboard.planning.walking import Visit


@dataclass(frozen=True, slots=True)
class Problem:
    """The pipes that may be tuned, side by side by chest, round and rank, with what they gain.

    Attributes
    ----------
    tunable : tuple of Standing
        In the order of the arrays.
    untouched, gain : arrays
        As in `Task`.
    """

    tunable: tuple[Standing, ...]
    untouched: FloatArray
    gain: FloatArray

    def task(self, organ: Organ, charges: Mapping[Visit, float]) -> Task:
        """The task with the walks to the chests charged as given [min].

        Set-ups: a chest's panels, once; coming to it, in the flues' and in the reeds' round; a
        rank.
        """
        panels = {chest.id: in_steps(chest.minutes) for chest in organ.chests}
        ranks = _level(self.tunable, lambda s: s.rank.id, lambda _: in_steps(RANK_MINUTES))
        first_of_rank = [self.tunable[i] for i in ranks.starts]
        visits = _level(first_of_rank, visit_of, lambda s: in_steps(charges[visit_of(s)]))
        first_of_visit = [first_of_rank[i] for i in visits.starts]
        chests = _level(first_of_visit, lambda s: s.rank.chest, lambda s: panels[s.rank.chest])
        return Task(
            references_cents=REFERENCES_CENTS,
            untouched=self.untouched,
            gain=self.gain,
            steps=np.array([in_steps(s.minutes) for s in self.tunable], dtype=np.int64),
            levels=(ranks, visits, chests),
        )


def pose(standing: Sequence[Standing], pull: FloatArray) -> Problem:
    """The choice to be made among these pipes.

    Parameters
    ----------
    standing : sequence of Standing
        Every pipe that was heard; those that may not be tuned count where they stand.
    pull : (references,) array
        From `walkboard.planning.standing.unheard_pull`.
    """
    ordered = sorted(
        standing, key=lambda s: (s.rank.chest, visit_of(s).round, s.rank.id, s.pipe.number)
    )
    worth = untouched_badness(ordered)
    may = np.array([s.tunable for s in ordered], dtype=np.bool_)
    left = left_badness(ordered)
    return Problem(
        tunable=tuple(s for s in ordered if s.tunable),
        untouched=worth.sum(axis=1) + pull,
        gain=np.ascontiguousarray((worth - left)[:, may]),
    )


def _level(
    members: Sequence[Standing],
    name: Callable[[Standing], object],
    steps: Callable[[Standing], int],
) -> Level:
    starts = [i for i, m in enumerate(members) if i == 0 or name(m) != name(members[i - 1])]
    return Level(
        np.array(starts, dtype=np.int64),
        np.array([steps(members[i]) for i in starts], dtype=np.int64),
    )
