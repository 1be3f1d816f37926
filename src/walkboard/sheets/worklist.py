"""Builds the worklist sheet from a plan."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from walkboard.languages.translation import Own
from walkboard.organ.model import Family, Organ, PipeRef, Rank, TunedBy
from walkboard.organ.sounding import held_keys
from walkboard.physics.air import Air, pitch_ratio, speed_of_sound_m_s
from walkboard.physics.moving import movement, spring_movement
from walkboard.planning.plan import Plan, PlanItem, Reference
from walkboard.planning.value.risk import risk_of
from walkboard.quantities import cents_of_ratio, ratio_of_cents
from walkboard.sheets.beats import Beats, beats_against, reference_in
from walkboard.sheets.cautions import DEFERENCE, caution_lines
from walkboard.sheets.keyholder import draw_words, key_label
from walkboard.sheets.values import (
    CurvePlace,
    Fact,
    PlanCurve,
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
    flat_or_sharp,
    hertz,
    key_words,
    minutes,
    pitch_words,
    rank_words,
    signed,
    temperament_words,
)

_OTHER_AIR_CENTS = 0.5  # from here on, reeds show both figures: a sixth of a degree. Chosen.
_PROVED_MINUTES = 0.05
LEAST_BEATS_HZ = 0.05  # slower beats take twenty seconds: printed as 0


def worklist_sheet(organ: Organ, visit: VisitFacts, work: Work) -> WorklistSheet:
    """The worklist of a visit, in the plan's order of work.

    Parameters
    ----------
    organ : Organ
    visit : VisitFacts
    work : Work
        The plan, and what is already ticked: a sheet printed in the middle of a visit shows
        it.

    Raises
    ------
    UnknownNameError
        If the plan names a rank or division that the organ does not have.
    """
    plan = work.plan
    references = {reference.division: reference for reference in plan.reference}
    ticks = {tick.pipe: tick for tick in work.ticks}
    groups = tuple(
        _group(
            organ,
            organ.rank(rank_id),
            tuple(items),
            references,
            ticks,
            total_gain=sum(item.gain for item in plan.items),
        )
        for rank_id, items in groupby(plan.items, key=lambda item: item.pipe.rank)
    )
    ranks = tuple(dict.fromkeys(item.pipe.rank for item in plan.items))
    touched = [organ.rank(rank) for rank in ranks]
    divisions = [organ.division(d) for d in dict.fromkeys(rank.division for rank in touched)]
    return WorklistSheet(
        title=f"Worklist for {organ.name}, {day_words(visit.day)}",
        heading=f"Worklist, {day_words(visit.day)}",
        organ=Own(organ.name),
        day=visit.day,
        strip=_strip(organ, visit, plan.reference),
        facts=_facts(organ, visit, work),
        references=tuple(_reference(organ, reference) for reference in plan.reference),
        cautions=caution_lines(touched, divisions),
        deference=DEFERENCE,
        groups=groups,
        curve=plan_curve(plan),
        nothing="The plan has no pipes: nothing heard is worth moving in the time there is.",
    )


def plan_curve(plan: Plan) -> PlanCurve | None:
    """The curve of a plan with its words; None where it has no two points."""
    if len(plan.curve) < 2:
        return None
    points = tuple(CurvePlace(p.minutes, p.cost) for p in plan.curve)
    removed = plan.cost_before - plan.cost_after
    share = removed / plan.cost_before if plan.cost_before else 0.0
    more = next((p for p in plan.curve if p.minutes > plan.minutes + 5.0), None)
    first = (
        f"Doing nothing leaves a badness of {plan.cost_before:.0f}; {minutes(plan.minutes)} leave "
        f"{plan.cost_after:.0f}, {100.0 * share:.0f} % less."
    )
    sentences = [first]
    if more is not None:
        gained = max(plan.cost_after - more.cost, 0.0)
        sentences.append(
            f"{minutes(more.minutes - plan.minutes)} more would remove {gained:.1f} of that."
        )
    sentences.append("1 means one open flue pipe of average loudness, completely out of tune.")
    return PlanCurve(
        heading="What the minutes buy",
        caption=" ".join(sentences),
        points=points,
        minutes=plan.minutes,
        cost=plan.cost_after,
        words=f"this visit, {plan.cost_after:.0f} left",
    )


def _event_words(organ: Organ, rank: Rank, reference: Reference | None) -> str:
    """Both figures of reeds that are set for another air, and why."""
    if reference is None or reference.event_celsius is None or rank.family is not Family.REED:
        return ""
    above = cents_of_ratio(pitch_ratio(reference.air_celsius, reference.event_celsius))
    if abs(above) < _OTHER_AIR_CENTS:
        return ""
    return (
        f"leave these reeds {flat_or_sharp(above)} of the flues' present pitch, in cents. The "
        f"{organ.division(rank.division).name} has {celsius(reference.air_celsius)} now and "
        f"{celsius(reference.event_celsius)} at the event; the flues will "
        f"{'rise' if above > 0.0 else 'fall'} by that much, the reeds will not move. They "
        "will beat with the flues until then."
    )


def _group(
    organ: Organ,
    rank: Rank,
    items: Sequence[PlanItem],
    references: dict[str, Reference],
    ticks: dict[PipeRef, Ticked],
    *,
    total_gain: float,
) -> RankGroup:
    held = held_keys(organ, rank, [item.pipe for item in items])
    first = next((h for h in held if h is not None), None)
    labels = [key_label(h, first) for h in held]
    reference = references.get(rank.division)
    air = organ.pitch.at_celsius if reference is None else reference.air_celsius
    beside = reference_in(organ, rank)
    rows = []
    for item, label in zip(items, labels, strict=True):
        tick = ticks.get(item.pipe)
        beats = None if beside is None else beats_against(organ, item, beside, reference)
        rows.append(
            WorkRow(
                order=item.order,
                key=label,
                pipe=f"pipe {item.pipe.number}",
                stands=flat_or_sharp(item.cents),
                move=item.move,
                hand=hand_words(rank, item, air),
                target=hertz(item.target_hz),
                beats="" if beats is None else _beats(beats),
                minutes=minutes(item.minutes),
                state=TickState.OPEN if tick is None else tick.state,
                note=_note(rank, item, tick),
            )
        )
    return RankGroup(
        heading=rank_words(organ, rank),
        draw=draw_words(organ, held),
        keys=", ".join(labels),
        beside="" if beside is None else rank_words(organ, beside),
        device=_device(rank, [item.pipe.number for item in items]),
        why=_why(items, labels, total_gain),
        minutes=minutes(sum(item.minutes for item in items)),
        rows=tuple(rows),
        event=_event_words(organ, rank, reference),
    )


def _beats(beats: Beats) -> str:
    """``3.1 → 0``: beats a second now and at the target."""
    now, then = (
        f"{hz:.1f}" if hz >= LEAST_BEATS_HZ else "0" for hz in (beats.now_hz, beats.target_hz)
    )
    return f"{now} → {then}"


def _why(items: Sequence[PlanItem], labels: Sequence[str], total_gain: float) -> str:
    """``Off by 2.1 to 12 cents, most at G4 (12 flat). These 6 min take away 14 % of …``"""
    sizes = sorted(abs(item.cents) for item in items)
    worst = max(range(len(items)), key=lambda n: abs(items[n].cents))
    if len(items) == 1:
        first = f"Off by {sizes[0]:.1f} cents."
    else:
        first = (
            f"Off by {sizes[0]:.1f} to {sizes[-1]:.1f} cents, most at {labels[worst]} "
            f"({flat_or_sharp(items[worst].cents)})."
        )
    gain = sum(item.gain for item in items)
    if total_gain <= 0.0 or gain <= 0.0:
        return first
    spent = minutes(sum(item.minutes for item in items))
    return f"{first} These {spent} bring {100.0 * gain / total_gain:.0f} % of what this plan gains."


def _note(rank: Rank, item: PlanItem, tick: Ticked | None) -> str:
    """What was noted, and a warning where moving the pipe may harm it."""
    risk = risk_of(rank.tuned_by_of(item.pipe.number), item.cents)
    parts = [risk.why if risk.is_risky else "", "" if tick is None else tick.note]
    return "; ".join(part for part in parts if part)


def hand_words(rank: Rank, item: PlanItem, air_celsius: float) -> str:
    """What the hand does, ``slide up, about 0.45 mm``, with the distance where physics knows one.

    Parameters
    ----------
    rank : Rank
    item : PlanItem
    air_celsius : float
        Air that the pipe's target is for [°C].
    """
    change = -item.cents
    if change == 0.0:
        return "leave it"
    tongue_mm = rank.tongues_mm.get(item.pipe.number)
    tuned_by = rank.tuned_by_of(item.pipe.number)
    if tuned_by is TunedBy.SPRING and tongue_mm is not None:
        moved = spring_movement(change, tongue_mm=tongue_mm)
    else:
        moved = movement(
            tuned_by.value,
            change,
            hz=item.target_hz * ratio_of_cents(item.cents),
            speed_m_s=speed_of_sound_m_s(Air(air_celsius)),
        )
    distance = moved.distance.replace(" ", BOUND)
    return f"{moved.words}, {distance}" if distance else moved.words


def _device(rank: Rank, numbers: Sequence[int]) -> str:
    """``Tuned by slide. To sharpen: slide down. To flatten: slide up.``, a sentence a device."""
    pipes: dict[TunedBy, list[int]] = {}
    for number in sorted(numbers):
        pipes.setdefault(rank.tuned_by_of(number), []).append(number)
    parts = []
    for tuned_by, own in pipes.items():
        ways = [
            movement(tuned_by.value, cents, hz=440.0, speed_m_s=343.0).words
            for cents in (1.0, -1.0)
        ]
        which = ""
        if len(pipes) > 1:
            low, high = (key_words(rank.key_of(number)) for number in (own[0], own[-1]))
            which = f"{low}: " if low == high else f"{low} to {high}: "
        head = f"{which}tuned" if which else "Tuned"
        parts.append(f"{head} by {tuned_by.value}. To sharpen: {ways[0]}. To flatten: {ways[1]}.")
    if rank.historic:
        parts.append("Historic: do nothing without the organ's adviser.")
    return " ".join(parts)


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
    parts.append(pitch_words(organ))
    shifts = [r.shift_cents for r in references]
    if shifts and signed(min(shifts)) == signed(max(shifts)):
        at_pitch = float(signed(shifts[0]).replace("−", "-")) == 0.0
        parts.append("today at pitch" if at_pitch else f"today {signed(shifts[0])} cents")
    elif shifts:
        parts.append(f"today {signed(min(shifts))} to {signed(max(shifts))} cents")
    return " · ".join(parts)


def _facts(organ: Organ, visit: VisitFacts, work: Work) -> tuple[Fact, ...]:
    plan = work.plan
    facts = []
    if visit.purpose:
        facts.append(Fact("Purpose", Own(visit.purpose)))
    facts.append(
        Fact("Organ's pitch", f"{pitch_words(organ)}, {temperament_words(organ.temperament.name)}")
    )
    if visit.air_celsius:
        air = ", ".join(
            f"{organ.division(d).name} {celsius(c)}" for d, c in visit.air_celsius.items()
        )
        facts.append(Fact("Air now", air))
    events = {r.division: r.event_celsius for r in plan.reference if r.event_celsius is not None}
    if len({celsius(air) for air in events.values()}) > 1:
        each = ", ".join(f"{organ.division(d).name} {celsius(c)}" for d, c in events.items())
        facts.append(Fact("Air at the event", each))
    elif visit.event_air_celsius is not None:
        facts.append(Fact("Air at the event", celsius(visit.event_air_celsius)))
    used = f"{minutes(plan.minutes_used)} of {minutes(plan.minutes)}, including ways between"
    facts.append(Fact("Work", f"{counted(len(plan.items), 'pipe')}, {used}"))
    if plan.walk_minutes:
        facts.append(Fact("Ways", _ways(plan)))
    facts += [Fact("Not planned", note) for note in plan.notes]
    done = sum(tick.state is TickState.DONE for tick in work.ticks)
    if done:
        facts.append(Fact("Done so far", counted(done, "pipe")))
    return tuple(facts)


def _ways(plan: Plan) -> str:
    shorter = plan.walk_minutes - plan.walk_bound_minutes
    if shorter > _PROVED_MINUTES:
        return (
            f"{minutes(plan.walk_minutes)}; a route shorter by up to {minutes(shorter)} is not "
            "ruled out"
        )
    return f"{minutes(plan.walk_minutes)}; no other order of these ranks is better"
