"""Builds the worklist sheet from a plan."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from walkboard.organ.model import Organ, PipeRef, Rank, TunedBy
from walkboard.physics.air import Air, speed_of_sound_m_s
from walkboard.physics.moving import movement, spring_movement
from walkboard.planning.plan import PlanItem, Reference
from walkboard.quantities import ratio_of_cents
from walkboard.sheets.cautions import DEFERENCE, cautions_for
from walkboard.sheets.keyholder import draw_words, held_keys, key_label
from walkboard.sheets.values import (
    CautionLine,
    Fact,
    RankGroup,
    Ticked,
    TickState,
    VisitFacts,
    Work,
    WorklistSheet,
    WorkRow,
)
from walkboard.sheets.wording import (
    BOUND,
    against,
    celsius,
    counted,
    day_words,
    hertz,
    minutes,
    rank_words,
    signed,
    stands,
)


def worklist_sheet(organ: Organ, visit: VisitFacts, work: Work) -> WorklistSheet:
    """The worklist of a visit, in the plan's order of work.

    Parameters
    ----------
    organ : Organ
    visit : VisitFacts
    work : Work
        The plan, and what is ticked of it already: a sheet printed in the middle of a visit shows
        it.

    Raises
    ------
    UnknownNameError
        When the plan names a rank or division that the organ has not.
    """
    plan = work.plan
    references = {reference.division: reference for reference in plan.reference}
    ticks = {tick.pipe: tick for tick in work.ticks}
    groups = tuple(
        _group(organ, organ.rank(rank_id), tuple(items), references, ticks)
        for rank_id, items in groupby(plan.items, key=lambda item: item.pipe.rank)
    )
    ranks = tuple(dict.fromkeys(item.pipe.rank for item in plan.items))
    touched = [organ.rank(rank) for rank in ranks]
    divisions = [organ.division(d) for d in dict.fromkeys(rank.division for rank in touched)]
    return WorklistSheet(
        title=f"Worklist for {organ.name}, {day_words(visit.day)}",
        heading=f"Worklist, {day_words(visit.day)}",
        organ=organ.name,
        day=visit.day,
        strip=_strip(organ, visit, plan.reference),
        facts=_facts(organ, visit, work),
        references=tuple(_reference(organ, reference) for reference in plan.reference),
        cautions=tuple(
            CautionLine(caution.topic.value.capitalize(), caution.text, caution.source)
            for caution in cautions_for(touched, divisions)
        ),
        deference=DEFERENCE,
        groups=groups,
        nothing="The plan holds no pipe: nothing that was heard is worth moving in these minutes.",
    )


def _group(
    organ: Organ,
    rank: Rank,
    items: Sequence[PlanItem],
    references: dict[str, Reference],
    ticks: dict[PipeRef, Ticked],
) -> RankGroup:
    held = held_keys(organ, rank, [item.pipe for item in items])
    first = next((h for h in held if h is not None), None)
    labels = [key_label(h, first) for h in held]
    reference = references.get(rank.division)
    air = organ.pitch.at_celsius if reference is None else reference.air_celsius
    rows = []
    for item, label in zip(items, labels, strict=True):
        tick = ticks.get(item.pipe)
        rows.append(
            WorkRow(
                order=item.order,
                key=label,
                pipe=f"pipe {item.pipe.number}",
                stands=stands(item.cents),
                why=item.why,
                move=item.move,
                hand=_hand(rank, item, air),
                target=hertz(item.target_hz),
                minutes=minutes(item.minutes),
                state=TickState.OPEN if tick is None else tick.state,
                note="" if tick is None else tick.note,
            )
        )
    return RankGroup(
        heading=rank_words(organ, rank),
        draw=draw_words(organ, held),
        keys=", ".join(labels),
        device=_device(rank),
        minutes=minutes(sum(item.minutes for item in items)),
        rows=tuple(rows),
    )


def _hand(rank: Rank, item: PlanItem, air_celsius: float) -> str:
    """What the hand does, with the distance where physics knows one."""
    change = -item.cents
    if change == 0.0:
        return "leave it"
    tongue_mm = rank.tongues_mm.get(item.pipe.number)
    if rank.tuned_by is TunedBy.SPRING and tongue_mm is not None:
        moved = spring_movement(change, tongue_mm=tongue_mm)
    else:
        moved = movement(
            rank.tuned_by.value,
            change,
            hz=item.target_hz * ratio_of_cents(item.cents),
            speed_m_s=speed_of_sound_m_s(Air(air_celsius)),
        )
    distance = moved.distance.replace(" ", BOUND)
    return f"{moved.words}, {distance}" if distance else moved.words


def _device(rank: Rank) -> str:
    """``Tuned by slide. To sharpen: slide down. To flatten: slide up.``"""
    ways = [
        movement(rank.tuned_by.value, cents, hz=440.0, speed_m_s=343.0).words
        for cents in (1.0, -1.0)
    ]
    historic = " Historic: do nothing without the organ's adviser." if rank.historic else ""
    return (
        f"Tuned by {rank.tuned_by.value}. To sharpen: {ways[0]}. To flatten: {ways[1]}.{historic}"
    )


def _reference(organ: Organ, reference: Reference) -> Fact:
    where = against(reference.shift_cents, "the organ's pitch")
    return Fact(
        organ.division(reference.division).name,
        f"{where}, for air of {celsius(reference.air_celsius)}",
    )


def _strip(organ: Organ, visit: VisitFacts, references: Sequence[Reference]) -> str:
    air = visit.air_celsius or {r.division: r.air_celsius for r in references}
    parts = []
    if air:
        low, high = min(air.values()), max(air.values())
        same = celsius(low) == celsius(high)
        parts.append(f"air {celsius(low)}" if same else f"air {celsius(low)} to {celsius(high)}")
    parts.append(_own_pitch(organ))
    shifts = [r.shift_cents for r in references]
    if shifts and signed(min(shifts)) == signed(max(shifts)):
        at_pitch = float(signed(shifts[0]).replace("−", "-")) == 0.0
        parts.append("today at pitch" if at_pitch else f"today {signed(shifts[0])} cents")
    elif shifts:
        parts.append(f"today {signed(min(shifts))} to {signed(max(shifts))} cents")
    return " · ".join(parts)


def _own_pitch(organ: Organ) -> str:
    return f"A4 = {organ.pitch.a4_hz:g} Hz at {organ.pitch.at_celsius:g} °C"


def _facts(organ: Organ, visit: VisitFacts, work: Work) -> tuple[Fact, ...]:
    plan = work.plan
    facts = []
    if visit.purpose:
        facts.append(Fact("Purpose", visit.purpose))
    facts.append(Fact("Organ's pitch", f"{_own_pitch(organ)}, {organ.temperament.name}"))
    if visit.air_celsius:
        air = ", ".join(
            f"{organ.division(d).name} {celsius(c)}" for d, c in visit.air_celsius.items()
        )
        facts.append(Fact("Air now", air))
    if visit.event_air_celsius is not None:
        facts.append(Fact("Air at the event", celsius(visit.event_air_celsius)))
    used = f"{minutes(plan.minutes_used)} of {minutes(plan.minutes)}, with the ways between"
    facts.append(Fact("Work", f"{counted(len(plan.items), 'pipe')}, {used}"))
    done = sum(tick.state is TickState.DONE for tick in work.ticks)
    if done:
        facts.append(Fact("Done so far", counted(done, "pipe")))
    return tuple(facts)
