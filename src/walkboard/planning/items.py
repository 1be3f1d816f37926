"""The lines of a worklist: the chosen pipes in their order, with their targets and reasons."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from walkboard.condition.kinds import Role
from walkboard.condition.shift import air_cents
from walkboard.organ.model import Organ
from walkboard.planning.air_course import AirCourse
from walkboard.planning.minutes import RANK_MINUTES
from walkboard.planning.pitch import DivisionPitch
from walkboard.planning.plan import PlanItem
from walkboard.planning.reasons import move, why
from walkboard.planning.route.order import in_order, reference_rank, visit_of
from walkboard.planning.route.ways import Leg
from walkboard.planning.value.pipe_offset import PipeOffset
from walkboard.quantities import ratio_of_cents

WARMER_CELSIUS = 0.1  # from here on the course of the air enters the target: 0.3 cent


@dataclass(frozen=True, slots=True)
class Timed:
    """A pipe of the worklist and when it is reached, in minutes from the start."""

    offset: PipeOffset
    at_minutes: float


def ordered_work(
    organ: Organ, picked: Collection[PipeOffset], legs: Sequence[Leg]
) -> tuple[Timed, ...]:
    """The chosen pipes in working order, each with its starting minute."""
    panels = {chest.id: chest.minutes for chest in organ.chests}
    walk = {leg.visit: leg.minutes for leg in legs}
    clock = 0.0
    opened: set[str] = set()
    timed: list[Timed] = []
    last: PipeOffset | None = None
    for offset in in_order(picked, legs, reference_rank(organ)):
        if last is None or visit_of(offset) != visit_of(last):
            clock += walk[visit_of(offset)]
        if offset.rank.chest not in opened:
            opened.add(offset.rank.chest)
            clock += panels[offset.rank.chest]
        if last is None or offset.rank.id != last.rank.id:
            clock += RANK_MINUTES
        timed.append(Timed(offset, clock))
        clock += offset.minutes
        last = offset
    return tuple(timed)


def items_of(
    work: Sequence[Timed],
    reference: Mapping[str, float],
    pitches: Mapping[str, DivisionPitch],
    air: Mapping[str, AirCourse],
) -> tuple[PlanItem, ...]:
    """The lines of the worklist.

    Parameters
    ----------
    work : sequence of Timed
        In order.
    reference : mapping of division id to cents
        How far above its current pitch each division is tuned.
    pitches : mapping of division id to DivisionPitch
    air : mapping of division id to AirCourse
        Flues' targets are for the air when the pipe is reached, as far as known.
    """
    return tuple(
        _item(order, timed, reference, pitches, air) for order, timed in enumerate(work, start=1)
    )


def _item(
    order: int,
    timed: Timed,
    reference: Mapping[str, float],
    pitches: Mapping[str, DivisionPitch],
    air: Mapping[str, AirCourse],
) -> PlanItem:
    offset = timed.offset
    division = offset.rank.division
    pitch, above = pitches[division], offset.reference_of(reference[division])
    off = offset.cents - above
    warmer = 0.0
    if offset.role is not Role.REED and division in air:
        course = air[division]
        if course.slope_celsius_per_hour:
            warmer = course.at(timed.at_minutes) - pitch.air_celsius
        if abs(warmer) < WARMER_CELSIUS:
            warmer = 0.0
    moved = air_cents(pitch.air_celsius, pitch.air_celsius + warmer)
    return PlanItem(
        order=order,
        pipe=offset.pipe,
        cents=off,
        target_hz=offset.target_hz * ratio_of_cents(above + moved),
        move=move(off),
        minutes=offset.minutes,
        why=why(offset, above, pitch, warmer_celsius=warmer),
        gain=offset.badness_at(above) - offset.badness_left,
    )
