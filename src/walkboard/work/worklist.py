"""The worklist in use: each pipe with its key, its target and what the hand does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

from walkboard.book.records import KeptPlan, KeptVisit, Tick, TickState
from walkboard.organ.model import Organ, PipeRef, Rank
from walkboard.organ.sounding import Held, held_keys
from walkboard.planning.plan import Plan, PlanItem
from walkboard.sheets.keyholder import draw_words
from walkboard.sheets.wording import flat_or_sharp, rank_words
from walkboard.sheets.worklist import hand_words
from walkboard.work.snapshot import described

if TYPE_CHECKING:
    from walkboard.book.cache.seen import SeenBook


@dataclass(frozen=True, slots=True)
class WorkStep:
    """One pipe of the worklist.

    Attributes
    ----------
    item : PlanItem
    held : Held or None
        The stop and the key that sound it; None where no stop does.
    stands : str
        ``7.2 flat``.
    hand : str
        ``slide up, about 0.45 mm``.
    tick : Tick or None
        The one that counts.
    """

    item: PlanItem
    held: Held | None
    stands: str
    hand: str
    tick: Tick | None = None

    @property
    def state(self) -> TickState:
        """``open`` until ticked otherwise."""
        return TickState.OPEN if self.tick is None else TickState(self.tick.state)


@dataclass(frozen=True, slots=True)
class WorkGroup:
    """Pipes of one rank that are tuned one after another.

    Attributes
    ----------
    rank : Rank
    heading : str
        ``Great · Principal 4′``.
    draw : str
        What the key holder draws, as a sentence.
    steps : tuple of WorkStep
    """

    rank: Rank
    heading: str
    draw: str
    steps: tuple[WorkStep, ...]

    @property
    def minutes(self) -> float:
        """For the pipes themselves [min]."""
        return sum(step.item.minutes for step in self.steps)

    @property
    def open(self) -> int:
        """How many are still to be done."""
        return sum(step.state is TickState.OPEN for step in self.steps)


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a worklist has come."""

    pipes: int
    done: int
    skipped: int
    open_minutes: float

    @property
    def open(self) -> int:
        """Neither done nor skipped."""
        return self.pipes - self.done - self.skipped


def work_groups(book: SeenBook, visit: KeptVisit) -> tuple[WorkGroup, ...] | None:
    """The current plan of a visit as a worklist; None if there is no plan."""

    def work_out() -> tuple[WorkGroup, ...] | None:
        kept = book.current_plan(visit.id)
        if kept is None:
            return None
        organ = organ_of_plan(book, book.visit(visit.id), kept)
        bare = book.memory.get(("worklist", kept.id), lambda: groups_of(organ, kept.plan))
        ticks = book.pipe_states(visit.id)
        return tuple(_ticked(group, ticks) for group in bare)

    return book.seen(("worklist", visit.id), work_out)


def organ_of_plan(book: SeenBook, visit: KeptVisit, kept: KeptPlan) -> Organ:
    """The organ by the description that a plan was made by."""
    version = visit.organ_version if kept.organ_version is None else kept.organ_version
    versions = book.organ_versions(visit.organ_id)
    return described(book, next(v for v in versions if v.version == version))


def groups_of(organ: Organ, plan: Plan) -> tuple[WorkGroup, ...]:
    """A plan as a worklist, nothing ticked."""
    airs = {reference.division: reference.air_celsius for reference in plan.reference}
    groups = []
    for rank_id, found in groupby(plan.items, key=lambda item: item.pipe.rank):
        rank, items = organ.rank(rank_id), tuple(found)
        held = held_keys(organ, rank, [item.pipe for item in items])
        air = airs.get(rank.division, organ.pitch.at_celsius)
        steps = tuple(
            WorkStep(item, hold, flat_or_sharp(item.cents), hand_words(rank, item, air))
            for item, hold in zip(items, held, strict=True)
        )
        groups.append(WorkGroup(rank, rank_words(organ, rank), draw_words(organ, held), steps))
    return tuple(groups)


def progress_of(groups: tuple[WorkGroup, ...]) -> Progress:
    """How far a worklist has come."""
    steps = [step for group in groups for step in group.steps]
    states = [step.state for step in steps]
    return Progress(
        len(steps),
        states.count(TickState.DONE),
        states.count(TickState.SKIPPED),
        sum(step.item.minutes for step in steps if step.state is TickState.OPEN),
    )


def _ticked(group: WorkGroup, ticks: Mapping[PipeRef, Tick]) -> WorkGroup:
    steps = tuple(
        WorkStep(s.item, s.held, s.stands, s.hand, ticks.get(s.item.pipe)) for s in group.steps
    )
    return WorkGroup(group.rank, group.heading, group.draw, steps)
