"""From the pipes' deviations to the task: gains, times, set-ups and requirements as arrays."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from walkboard.organ.model import Rank
from walkboard.planning.arrays import BoolArray, FloatArray, IntArray
from walkboard.planning.choose.demands import Demands, pipes_of_stop
from walkboard.planning.choose.task import Level, Parts, Task
from walkboard.planning.minutes import RANK_MINUTES, STEP_MINUTES, in_steps
from walkboard.planning.route.order import visit_of_rank
from walkboard.planning.route.ways import Visit
from walkboard.planning.value.celestes import pairs_known
from walkboard.planning.value.cost import LIMITS as COST
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.pipe_offset import PipeOffset
from walkboard.planning.value.pipe_offsets import (
    REFERENCE_STEP_CENTS,
    REFERENCES_CENTS,
    Situation,
)
from walkboard.planning.value.risk import RISKY, RiskyPipes

# A pipe of a stop that must be within a tolerance is left only if it is this sure to be; own
# choice, four out of five.
SURE = 0.8

# A pipe that probably sticks out is a stray; so is one this close to the limit [cents] that may be
# beyond it with this chance, so that a reading's error does not decide. Chosen.
STRAY_CHANCE = 0.5
NEARLY_CENTS, NEARLY_CHANCE = 0.5, 0.02
# All strays are tuned if so much of the visit is left for the rest, at most so many minutes. A
# stray in tune beats slowly with neighbours that are not, so strays alone would beat more than now.
# Chosen on the organs of bench ear_fit: with less, a rule of practice beats less at 75 minutes.
REST_SHARE, REST_MINUTES = 0.25, 20.0

# Moving the reference must pay, or the organ stays where it is: other instruments, and pipes not
# heard, stay there too. It must save this share of all badness if it moves by more than
# `STAYS_CENTS`, and this much more for each cent. Chosen.
STAYS_CENTS = 0.3
MOVING_SHARE, MOVING_SHARE_PER_CENT = 0.01, 0.01


@dataclass(frozen=True)
class Problem:
    """The tunable pipes, grouped by division, chest, round and rank.

    Attributes
    ----------
    situation : Situation
    order : (n,) array of int
        Index in the situation of each tunable pipe, in the order of the arrays.
    ranks : tuple of Rank
        Rank of each.
    untouched_by_division : (k, divisions) array
        Badness of each division at each reference with nothing tuned.
    gain, must : (k, n) arrays
        As in `Task`; `must` may be None.
    steps : (n,) array of int
    tie_cents : float
    notes : tuple of str
        Demands that are impossible.
    standing_badness : float
        Badness of everything at the organ's present pitch, nothing tuned. A share of it is the
        charge for moving the reference; included in `untouched_by_division`.
    """

    situation: Situation
    order: IntArray
    ranks: tuple[Rank, ...]
    untouched_by_division: FloatArray
    gain: FloatArray
    must: BoolArray | None
    steps: IntArray
    tie_cents: float
    notes: tuple[str, ...]
    standing_badness: float = 0.0

    def charge_for_moving(self, references_cents: FloatArray) -> FloatArray:
        """Badness that moving the reference so far must save; (k,)."""
        return _charge_for_moving(self.standing_badness, references_cents)

    @property
    def untouched(self) -> FloatArray:
        """Badness of everything at each reference, nothing tuned; (k,)."""
        whole: FloatArray = self.untouched_by_division.sum(axis=1)
        return whole

    @property
    def tunable(self) -> tuple[PipeOffset, ...]:
        """The tunable pipes, in the order of the arrays."""
        return tuple(self.situation.offset(int(i)) for i in self.order)

    def picked(self, chosen: BoolArray) -> list[PipeOffset]:
        """The pipes chosen."""
        return [self.situation.offset(int(i)) for i in self.order[chosen]]

    def ranks_of(self, chosen: BoolArray) -> tuple[str, ...]:
        """Ids of the ranks with a chosen pipe."""
        return tuple(dict.fromkeys(self.ranks[int(i)].id for i in np.flatnonzero(chosen)))

    def visit_of(self, rank_id: str) -> Visit:
        """The visit in which a rank is tuned."""
        layout = self.situation.layout
        return visit_of_rank(layout.organ.rank(rank_id), layout.role[rank_id])

    def ranks_once(self) -> tuple[Rank, ...]:
        """Each rank once, in the order of the arrays."""
        return tuple({rank.id: rank for rank in self.ranks}.values())

    def task(
        self, charges: Mapping[Visit, float], arrive: Mapping[str, float] | None = None
    ) -> Task:
        """The task with the walks to the chests charged as given [min].

        Parameters
        ----------
        charges : mapping of Visit to minutes
            Minutes of each visit to a chest.
        arrive : mapping of chest id to minutes, optional
            Also charged once for each chest.

        Set-ups: a chest's panels, once; walking to it, in the flues' and in the reeds' round; a
        rank.
        """
        organ = self.situation.layout.organ
        role = self.situation.layout.role
        once = arrive or {}
        panels = {
            chest.id: in_steps(chest.minutes) + in_steps(once.get(chest.id, 0.0))
            for chest in organ.chests
        }
        ranks = _level(self.ranks, lambda r: r.id, lambda _: in_steps(RANK_MINUTES))
        first_of_rank = [self.ranks[i] for i in ranks.starts]
        visits = _level(
            first_of_rank,
            lambda r: visit_of_rank(r, role[r.id]),
            lambda r: in_steps(charges[visit_of_rank(r, role[r.id])]),
        )
        first_of_visit = [first_of_rank[i] for i in visits.starts]
        chests = _level(first_of_visit, lambda r: r.chest, lambda r: panels[r.chest])
        return Task(
            references_cents=REFERENCES_CENTS,
            untouched=self.untouched,
            gain=self.gain,
            steps=self.steps,
            levels=(ranks, visits, chests),
            must=self.must,
            parts=self._parts([first_of_visit[i] for i in chests.starts]),
        )

    def divisions(self) -> tuple[str, ...]:
        """Divisions with a pipe that may be tuned, in the order of the arrays."""
        return tuple(dict.fromkeys(rank.division for rank in self.ranks_once()))

    def _parts(self, of_chest: Sequence[Rank]) -> Parts | None:
        within = round(self.tie_cents / REFERENCE_STEP_CENTS)
        if not of_chest or not within:
            return None
        starts = [
            i for i, r in enumerate(of_chest) if i == 0 or r.division != of_chest[i - 1].division
        ]
        number = {d.id: i for i, d in enumerate(self.situation.layout.organ.divisions)}
        columns = [number[of_chest[i].division] for i in starts]
        untouched = self.untouched_by_division[:, columns].copy()
        # a division without a pipe to tune joins the first of the others
        others = [i for i in number.values() if i not in columns]
        untouched[:, 0] += self.untouched_by_division[:, others].sum(axis=1)
        return Parts(np.array(starts, dtype=np.int64), untouched, within)


def pose(situation: Situation, pull: FloatArray, demands: Demands | None = None) -> Problem:
    """The choice among the known pipes.

    Parameters
    ----------
    situation : Situation
        Pipes that may not be tuned count as they are.
    pull : (k, divisions) array
        From `walkboard.planning.value.pipe_offsets.unheard_pull`.
    demands : Demands, optional
        Already checked.
    """
    demands = demands or Demands()
    layout = situation.layout
    may = _may_be_tuned(situation, demands)
    places = situation.place
    order = _side_by_side(layout, places)
    order = order[may[order]]
    cost = situation.cost
    divisions = len(layout.organ.divisions)
    of_division = layout.division_of[places]
    untouched = pull + np.stack(
        [cost[:, of_division == d].sum(axis=1) for d in range(divisions)], axis=1
    )
    standing = float(untouched[len(REFERENCES_CENTS) // 2].sum())
    untouched = untouched + _charge_for_moving(standing, REFERENCES_CENTS)[:, None] / divisions
    gain = np.ascontiguousarray(cost[:, order] - situation.cost_left[order])
    must, notes = _musts(situation, demands, may)
    return Problem(
        situation=situation,
        order=order,
        ranks=tuple(layout.organ.ranks[int(r)] for r in layout.rank_of[places[order]]),
        untouched_by_division=untouched,
        gain=gain,
        must=None if must is None else must[:, order],
        steps=_steps(situation, demands)[order],
        tie_cents=demands.tie_cents,
        notes=notes,
        standing_badness=standing,
    )


def with_partners(problem: Problem, tuned: Situation) -> Problem:
    """The same, and tuning a partner also gains all that its celeste could win by it.

    Parameters
    ----------
    problem : Problem
        With the partners of celestes as they are.
    tuned : Situation
        Of the same pipes, with all partners tuned.

    Returns
    -------
    Problem
        No choice costs less in it than it does once its partners are tuned: for bounds.
    """
    situation = problem.situation
    saved = np.maximum(situation.cost - tuned.cost, 0.0)
    lower = np.maximum(situation.cost_left - tuned.cost_left, 0.0)[problem.order]
    gain = problem.gain + lower
    column = {index: n for n, index in enumerate(problem.order.tolist())}
    for celeste, partner in pairs_known(situation.layout.organ, situation.known):
        if partner in column:
            gain[:, column[partner]] += saved[:, celeste]
    return replace(problem, gain=gain)


def with_strays(problem: Problem) -> Problem:
    """The same, but every pipe that sticks out in the played range must be tuned."""
    situation = problem.situation
    middle = REFERENCES_CENTS[len(REFERENCES_CENTS) // 2 :][:1]
    outside = 1.0 - situation.chance_within(middle, COST.stray_cents)[0]
    near = 1.0 - situation.chance_within(middle, COST.stray_cents - NEARLY_CENTS)[0]
    sticks_out = outside >= STRAY_CHANCE
    sticks_out |= (near >= STRAY_CHANCE) & (outside >= NEARLY_CHANCE)
    # except pipes the event does not use, or with a low weight
    counts = (situation.stray > 0.5 * COST.stray_badness) & (situation.weight > 0.0)
    stray = (sticks_out & counts)[problem.order]
    if not stray.any():
        return problem
    must = np.zeros(problem.gain.shape, dtype=np.bool_) if problem.must is None else problem.must
    return replace(problem, must=must | stray)


def strays_fit(problem: Problem, capacity: int) -> bool:
    """Whether the required pipes leave time for others, counting panels and ranks but not walks."""
    if problem.must is None:
        return True
    ranks = problem.ranks
    must = problem.must[len(REFERENCES_CENTS) // 2]
    organ = problem.situation.layout.organ
    panels = {chest.id: in_steps(chest.minutes) for chest in organ.chests}
    there = {ranks[int(i)].id: ranks[int(i)].chest for i in np.flatnonzero(must)}
    steps = int(problem.steps[must].sum()) + len(there) * in_steps(RANK_MINUTES)
    steps += sum(panels[chest] for chest in set(there.values()))
    return steps + min(REST_SHARE * capacity, in_steps(REST_MINUTES)) <= capacity


def _charge_for_moving(standing_badness: float, references_cents: FloatArray) -> FloatArray:
    away = np.abs(references_cents)
    share = MOVING_SHARE_PER_CENT * away + MOVING_SHARE * (away > STAYS_CENTS + 1e-9)
    charge: FloatArray = standing_badness * share
    return charge


def _steps(situation: Situation, demands: Demands) -> IntArray:
    """Steps of time for each known pipe, including other work on it."""
    minutes = situation.minutes.copy()
    if demands.extra_minutes:
        minutes += [demands.extra_minutes.get(k.pipe, 0.0) for k in situation.known]
    steps: IntArray = np.maximum(1, np.ceil(minutes / STEP_MINUTES - 1e-6)).astype(np.int64)
    return steps


def _side_by_side(layout: Layout, places: IntArray) -> IntArray:
    """Order of pipes by division, chest, round, rank and number."""
    ranks = layout.organ.ranks
    chest = {c: i for i, c in enumerate(sorted({rank.chest for rank in ranks}))}
    turn = np.array([visit_of_rank(r, layout.role[r.id]).round.value for r in ranks])
    name = np.argsort(np.argsort([rank.id for rank in ranks]))
    of_chest = np.array([chest[rank.chest] for rank in ranks])
    rank = layout.rank_of[places]
    order: IntArray = np.lexsort(
        (places, name[rank], turn[rank], of_chest[rank], layout.division_of[places])
    )
    return order


def _may_be_tuned(situation: Situation, demands: Demands) -> BoolArray:
    may = situation.tunable.copy()
    reach = np.array(
        [rank.id not in demands.out_of_reach for rank in situation.layout.organ.ranks],
        dtype=np.bool_,
    )
    may &= reach[situation.layout.rank_of[situation.place]]
    if demands.must_not:
        may &= np.array([k.pipe not in demands.must_not for k in situation.known], dtype=np.bool_)
    if demands.risky is RiskyPipes.LEAVE:
        asked = np.array([k.pipe in demands.must for k in situation.known], dtype=np.bool_)
        may &= asked | (situation.chance_worse < RISKY)
    return may


def _musts(
    situation: Situation, demands: Demands, may: BoolArray
) -> tuple[BoolArray | None, tuple[str, ...]]:
    """What must be tuned at each reference, (k, known), and the impossible demands."""
    index = {k.pipe: i for i, k in enumerate(situation.known)}
    must = np.zeros((len(REFERENCES_CENTS), len(situation.known)), dtype=np.bool_)
    notes = []
    for pipe in sorted(demands.must):
        if pipe in index:
            must[:, index[pipe]] = True
        else:
            notes.append(f"{pipe} must be seen to, but it was not heard.")
    for stop, cents in demands.within_cents.items():
        pipes = pipes_of_stop(situation.layout.organ, stop)
        here = np.array([index[p] for p in pipes if p in index], dtype=np.int64)
        if len(here) < len(pipes):
            notes.append(
                f"{stop} within {cents:g} cents: {len(pipes) - len(here)} of its {len(pipes)} "
                "pipes were not heard, so nobody knows."
            )
        if not len(here):
            continue
        inside = situation.chance_within(REFERENCES_CENTS, cents)[:, here]
        needed = inside < SURE
        barred = ~may[here] & needed[len(REFERENCES_CENTS) // 2]
        if barred.any():
            notes.append(
                f"{stop} within {cents:g} cents: {int(barred.sum())} of its pipes are further "
                "off and are not to be tuned."
            )
        must[:, here] |= needed & may[here]
    return (must if must.any() else None), tuple(notes)


def _level(
    members: Sequence[Rank],
    name: Callable[[Rank], object],
    steps: Callable[[Rank], int],
) -> Level:
    names = [name(m) for m in members]
    starts = [i for i, own in enumerate(names) if i == 0 or own != names[i - 1]]
    return Level(
        np.array(starts, dtype=np.int64),
        np.array([steps(members[i]) for i in starts], dtype=np.int64),
    )
