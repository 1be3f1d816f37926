"""The measured figures of a visit in words, after page 1 of its report."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from walkboard.condition.state import DivisionState
from walkboard.organ.model import Organ, PipeRef
from walkboard.physics.air import Air, pitch_ratio
from walkboard.physics.room import concerns
from walkboard.quantities import ratio_of_cents
from walkboard.scales.pitch import A4
from walkboard.sheets.keyholder import pipe_words
from walkboard.sheets.rank_charts import ChartContext
from walkboard.sheets.values import Fault, Mark, Passage, RankChart, TickState, VisitFacts, Work
from walkboard.sheets.wording import (
    BOUND,
    against,
    celsius,
    counted,
    flat_or_sharp,
    key_words,
    listed,
    minutes,
    rank_words,
    temperament_words,
)

_MOST = 5  # of a kind named on the page; tables further on hold all
_FAR_CELSIUS = 1.0  # of the air from what it should be, for advice: 3 cents. Chosen.
_CENT = "A cent is one hundredth of a semitone."


def in_short(organ: Organ, charts: Sequence[RankChart], work: Work | None) -> Passage:
    """How many pipes were heard, how many were in tune, how many were tuned."""
    points = [point for chart in charts for point in chart.points]
    read = [point for point in points if point.cents is not None]
    sentences = []
    if read:
        strays = sum(point.mark in (Mark.SHARP, Mark.FLAT) for point in read)
        doubtful = sum(point.mark is Mark.CARE for point in read)
        sentences.append(
            f"{counted(len(points), 'pipe')} of {counted(len(charts), 'rank')} were listened to; "
            f"{len(read)} gave a pitch. {len(read) - strays - doubtful} were where they should be, "
            f"within {charts[0].stray_cents:g} cents; {strays} were not. {_CENT}"
        )
        if doubtful:
            sentences.append(f"{counted(doubtful, 'reading needs', 'readings need')} care.")
    else:
        sentences.append(f"No pipe of {organ.name} was measured in this visit.")
    if work is not None:
        done = sum(tick.state is TickState.DONE for tick in work.ticks)
        sentences.append(f"{counted(done, 'pipe was', 'pipes were')} tuned.")
    return Passage("In short", tuple(sentences))


def pitch(organ: Organ, context: ChartContext) -> Passage:
    """The flues' pitch on arrival, the pitch they were tuned to, and the reeds beside them."""
    sentences = []
    states = _states(organ, context)
    heard = [
        f"{organ.division(s.division).name} {_a4_hz(organ, s, s.shift_cents):.1f}{BOUND}Hz"
        for s in states
        if s.shift_cents is not None
    ]
    if heard:
        sentences.append(
            f"On arrival {key_words(A4)} of the flue pipes was at: {listed(heard)}. The organ's "
            f"own pitch is {organ.pitch.a4_hz:g} Hz in air of {organ.pitch.at_celsius:g} °C."
        )
    else:
        sentences.append("Too few flue pipes were heard to know the pitch of the organ.")
    reeds = [
        f"{organ.division(s.division).name} {flat_or_sharp(s.reed_shift_cents - s.shift_cents)}"
        for s in states
        if s.reed_shift_cents is not None and s.shift_cents is not None
    ]
    if reeds:
        sentences.append(
            f"The reeds against the flues of their division, in cents: {listed(reeds)}."
        )
    if context.plan is not None and context.plan.reference:
        shifts = Counter(
            against(r.shift_cents, "the organ's pitch") for r in context.plan.reference
        )
        if len(shifts) == 1:
            (one,) = shifts
            sentences.append(f"Everything was tuned to one pitch, {one} for its air.")
        else:
            parts = [
                f"{organ.division(r.division).name} {against(r.shift_cents, 'it')}"
                for r in context.plan.reference
            ]
            sentences.append(f"Tuned to, against the organ's pitch for its air: {listed(parts)}.")
    finding = None if context.condition is None else context.condition.temperament
    if finding is not None and finding.claimed is not None:
        name, *others = map(temperament_words, finding.claimed.names)
        if others:
            sentences.append(f"It is tuned to {name}, which is the same as {others[0]}.")
        else:
            sentences.append(f"It is tuned to {name}.")
    return Passage("Pitch", tuple(sentences))


def temperature(organ: Organ, context: ChartContext) -> Passage:
    """What the thermometers said, and whether the pipes agree."""
    visit = context.visit
    sentences = []
    if visit.air_celsius:
        air = [f"{organ.division(d).name} {celsius(c)}" for d, c in visit.air_celsius.items()]
        sentences.append(f"Thermometers: {listed(air)}.")
    else:
        sentences.append("No thermometer was read.")
    if visit.humidity is not None:
        sentences.append(f"Relative humidity {100 * visit.humidity:.0f} %.")
    for state in _states(organ, context):
        name = organ.division(state.division).name
        if state.agrees is False and state.implied_celsius is not None:
            sentences.append(
                f"In the {name} the pipes sound as in air of {celsius(state.implied_celsius)}, "
                "but the thermometer says otherwise: either it was not hung among the "
                "pipes, or the whole division has moved."
            )
    sentences.append(
        "Flue pipes rise by about 3 cents for each degree; reeds hardly move. The organ is in "
        "tune with itself only near the temperature that it was tuned at."
    )
    if visit.event_air_celsius is not None:
        sentences.append(f"This visit tuned for an event at {celsius(visit.event_air_celsius)}.")
    return Passage("Temperature", tuple(sentences))


def done(organ: Organ, work: Work | None) -> Passage:
    """Which ranks were tuned."""
    heading = "What was done"
    if work is None:
        return Passage(heading, ("No work was planned in this visit.",))
    ticked = [tick.pipe for tick in work.ticks if tick.state is TickState.DONE]
    if not ticked:
        return Passage(heading, ("No pipe has been ticked off as tuned.",))
    ranks = Counter(pipe.rank for pipe in ticked)
    parts = [f"{rank_words(organ, organ.rank(r))} ({n})" for r, n in ranks.most_common()]
    planned = {item.pipe for item in work.plan.items}
    pipes, named = counted(len(ticked), "pipe"), listed(parts, 2 * _MOST)
    if planned:
        pipes = f"{pipes} of {len(planned)} planned"
    one = len(ticked) == 1
    return Passage(
        heading, (f"{pipes} was tuned: {named}." if one else f"{pipes} were tuned: {named}.",)
    )


def left(
    organ: Organ, work: Work | None, charts: Mapping[str, RankChart], stray_cents: float
) -> Passage:
    """What was not done, and why."""
    sentences = []
    ticks = {} if work is None else {tick.pipe: tick for tick in work.ticks}
    planned = [] if work is None else [item.pipe for item in work.plan.items]
    skipped = [t for t in ticks.values() if t.state is TickState.SKIPPED]
    if skipped:
        found = [
            f"{pipe_words(organ, tick.pipe)}{f' ({tick.note})' if tick.note else ''}"
            for tick in skipped
        ]
        sentences.append(f"Skipped: {listed(found, _MOST)}.")
    unreached = [p for p in planned if p not in ticks or ticks[p].state is TickState.OPEN]
    if unreached:
        ranks = Counter(pipe.rank for pipe in unreached)
        parts = [f"{rank_words(organ, organ.rank(r))} ({n})" for r, n in ranks.most_common()]
        sentences.append(
            f"Planned but not reached: {counted(len(unreached), 'pipe')}, {listed(parts, _MOST)}."
        )
    others = _strays(organ, charts) - set(planned) - set(ticks)
    if others:
        why = "as no work was planned"
        if work is not None:
            why = f"as {minutes(work.plan.minutes)} are best spent on the others"
        sentences.append(
            f"1 other pipe is more than {stray_cents:g} cents off and was left {why}."
            if len(others) == 1
            else f"{len(others)} other pipes are more than {stray_cents:g} cents off and were "
            f"left {why}."
        )
    historic = [rank_words(organ, rank) for rank in organ.ranks if rank.historic]
    if historic:
        sentences.append(
            f"Historic, not to be touched without the organ's adviser: {listed(historic, _MOST)}."
        )
    nothing = "No work was planned." if work is None else "Nothing: all that was planned is done."
    return Passage("What was left, and why", tuple(sentences) or (nothing,))


def faults(reported: Sequence[Fault]) -> Passage:
    """The faults that still need fixing, and those that were fixed."""
    open_faults = [fault for fault in reported if fault.fixed_on is None]
    fixed = [fault for fault in reported if fault.fixed_on is not None]
    sentences = []
    if open_faults:
        found = [f"{f.kind}{f', {f.place}' if f.place else ''}" for f in open_faults]
        sentences.append(f"Still to be fixed: {listed(found, _MOST)}.")
    if fixed:
        found = [f"{f.kind}{f', {f.place}' if f.place else ''}" for f in fixed]
        sentences.append(f"Fixed: {listed(found, _MOST)}.")
    return Passage("Faults", tuple(sentences) or ("No fault is noted.",))


def advice(
    organ: Organ, visit: VisitFacts, reported: Sequence[Fault], charts: Mapping[str, RankChart]
) -> Passage:
    """What the venue can do."""
    sentences: list[str] = []
    if visit.air_celsius:
        mean = sum(visit.air_celsius.values()) / len(visit.air_celsius)
        event = visit.event_air_celsius
        if visit.humidity is not None or event is not None:
            air = Air(mean) if visit.humidity is None else Air(mean, visit.humidity)
            sentences.extend(concerns(air, mean if event is None else event))
        wanted = organ.pitch.at_celsius if event is None else event
        if event is None and abs(mean - wanted) > _FAR_CELSIUS:
            sentences.append(
                f"The organ is pitched for {celsius(wanted)}; today it was at {celsius(mean)}."
            )
        if abs(mean - wanted) > _FAR_CELSIUS:
            sentences.append(
                "Have the building at the temperature of services and concerts when the tuner "
                "comes, and well before that."
            )
    words = Counter(point.word for chart in charts.values() for point in chart.points if point.word)
    if words["silent"] or any(fault.fixed_on is None for fault in reported):
        sentences.append(
            "Ask an organ builder to look at the silent pipes and the faults that are left."
        )
    if words["unsteady"] >= 5:
        sentences.append(
            f"{words['unsteady']} pipes were unsteady: have the wind looked at before they are "
            "tuned again."
        )
    sentences.append("Note what players hear, with stop, key and day: it saves the next visit.")
    return Passage("Advice", tuple(sentences))


def _states(organ: Organ, context: ChartContext) -> list[DivisionState]:
    if context.condition is None:
        return []
    states = context.condition.divisions
    return [states[d.id] for d in organ.divisions if d.id in states]


def _a4_hz(organ: Organ, state: DivisionState, shift_cents: float) -> float:
    air = pitch_ratio(organ.pitch.at_celsius, state.stated_celsius)
    return organ.pitch.a4_hz * air * ratio_of_cents(shift_cents)


def _strays(organ: Organ, charts: Mapping[str, RankChart]) -> set[PipeRef]:
    found: set[PipeRef] = set()
    for rank_id, chart in charts.items():
        lowest = organ.rank(rank_id).from_key.semitone
        found.update(
            PipeRef(rank_id, point.semitone - lowest + 1)
            for point in chart.points
            if point.mark in (Mark.SHARP, Mark.FLAT)
        )
    return found
