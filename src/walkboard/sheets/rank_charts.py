"""Builds the chart of each rank: its pipes' deviations, key by key, and the same in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from walkboard.condition.celestes import CelesteBeats, celeste_beats
from walkboard.condition.gather import pipe_cents_of
from walkboard.condition.state import Condition
from walkboard.listening.readings import Bounded, Measured, best_reading
from walkboard.listening.types import ReadingFlag
from walkboard.organ.celestes import partner_of
from walkboard.organ.model import Organ, PipeRef, Rank
from walkboard.physics.air import pitch_ratio
from walkboard.planning.plan import Plan
from walkboard.quantities import cents_of_ratio
from walkboard.sheets.keyholder import key_labels
from walkboard.sheets.values import ChartLine, ChartPoint, Mark, RankChart, VisitFacts
from walkboard.sheets.wording import celsius, counted, listed, rank_words, signed
from walkboard.survey.hear.heard_walk import HeardWalk, Reading

STRAY_CENTS = 3.0  # from its line, for a pipe to be called out: about 1 °C of air. Chosen.
_MOST_NAMED = 6  # strays in a caption; the chart shows them all

FLAG_WORDS: Mapping[ReadingFlag, str] = {
    ReadingFlag.SILENT: "silent",
    ReadingFlag.MERGED: "merged",
    ReadingFlag.UNSTEADY: "unsteady",
    ReadingFlag.FAINT: "faint",
    ReadingFlag.CLIPPED: "clipped",
    ReadingFlag.SHORT: "short",
    ReadingFlag.OCTAVE: "overblows",
    ReadingFlag.FAR: "far off",
    ReadingFlag.LOCKED: "in step with another",
    ReadingFlag.OTHER: "another pipe sounds too",
    ReadingFlag.TREMULANT: "tremulant on",
    ReadingFlag.GAP: "samples missing",
}


def best_of_each(readings: Iterable[Reading]) -> dict[PipeRef, Reading]:
    """Of each pipe the reading with the smallest σ, or the last one where none has a value."""
    of_pipe: dict[PipeRef, list[Reading]] = {}
    for reading in readings:
        of_pipe.setdefault(reading.pipe, []).append(reading)
    return {pipe: best_reading(found, lambda reading: reading) for pipe, found in of_pipe.items()}


def silent_pipes(organ: Organ, walk: HeardWalk) -> tuple[PipeRef, ...]:
    """The pipes at the keys that a walk passed over with nothing heard."""
    found: dict[PipeRef, None] = {}
    for key in walk.silent_keys:
        found.update(dict.fromkeys(organ.sounding(walk.drawn, key)))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class ChartContext:
    """What the charts of a visit need to know besides the readings.

    Attributes
    ----------
    visit : VisitFacts
    condition : Condition or None
    plan : Plan or None
    stray_cents : float
    """

    visit: VisitFacts
    condition: Condition | None
    plan: Plan | None
    stray_cents: float

    def air_of(self, organ: Organ, division: str) -> float:
        """The air that a division's readings are given at [°C]."""
        state = None if self.condition is None else self.condition.divisions.get(division)
        if state is not None:
            return state.stated_celsius
        return self.visit.air_celsius.get(division, organ.pitch.at_celsius)

    def lines(self, organ: Organ, rank: Rank) -> tuple[ChartLine, ...]:
        """The levels across a rank's chart, the one to tune to first."""
        air = self.air_of(organ, rank.division)
        references = () if self.plan is None else self.plan.reference
        reference = next((r for r in references if r.division == rank.division), None)
        flues = 0.0
        words = "organ's pitch"
        if reference is not None:
            flues = reference.shift_cents + _air_cents(air, reference.air_celsius)
            words = "tuned to" if abs(flues) >= 0.05 else words
        meaning = "the pitch that it was tuned to" if words == "tuned to" else "the organ's pitch"
        event = self.visit.event_air_celsius
        if not rank.family.is_flue and event is not None:
            shift = 0.0 if reference is None else reference.shift_cents
            target = shift + _air_cents(air, event)
            at_event = ChartLine(
                target,
                f"flues at the event, {celsius(event)}",
                f"where the flues will be at the event, in air of {celsius(event)}",
                is_target=True,
            )
            return at_event, ChartLine(flues, "flues today", "the flues today", is_target=False)
        target_line = ChartLine(flues, words, meaning, is_target=True)
        if words == "organ's pitch":
            return (target_line,)
        return target_line, ChartLine(0.0, "organ's pitch", "the organ's pitch", is_target=False)


def rank_chart(
    organ: Organ,
    rank: Rank,
    found: Mapping[PipeRef, Reading],
    left: Mapping[PipeRef, Reading],
    context: ChartContext,
) -> RankChart:
    """The chart of one rank.

    Parameters
    ----------
    organ : Organ
    rank : Rank
    found, left : mapping of pipe to Reading
        As found and as left. Other ranks' pipes are passed over, but a celeste is judged against
        its partner where that is among them.
    context : ChartContext
    """
    lines = context.lines(organ, rank)
    beside = _beside_partners(organ, rank, found)
    beside_left = _beside_partners(organ, rank, found, left)
    if beside:
        name = rank_words(organ, organ.rank(next(iter(beside.values())).partner.rank))
        name = name.partition(" · ")[2]
        meaning = f"where they should be beside the {name} as heard"
        lines = (ChartLine(lines[0].cents, f"beside {name}", meaning, is_target=True),)
    band = (lines[0].cents, context.stray_cents)
    labels = key_labels(organ, rank)
    points = []
    for number in range(1, rank.pipes + 1):
        pipe = PipeRef(rank.id, number)
        if pipe in found or pipe in left:
            place = (rank.key_of(number).semitone, labels[number])
            point = _point(place, found.get(pipe), left.get(pipe), band)
            points.append(_restated(point, band, beside.get(pipe), beside_left.get(pipe)))
    return RankChart(
        heading=rank_words(organ, rank),
        caption=_caption(rank, points, lines, context.stray_cents),
        lowest=rank.from_key.semitone,
        highest=rank.key_of(rank.pipes).semitone,
        points=tuple(points),
        lines=lines,
        stray_cents=context.stray_cents,
    )


def flag_words(reading: Reading) -> str:
    """Each flag of a reading in one word, and the bound of one without a value."""
    words = [FLAG_WORDS[flag] for flag in reading.flags]
    if isinstance(reading, Bounded):
        bound = reading.bound
        words.append(f"within ±{bound.bound_cents:.1f} cents of {bound.near_hz:.1f} Hz")
    return ", ".join(words)


def _point(
    place: tuple[int, str],
    found: Reading | None,
    left: Reading | None,
    band: tuple[float, float],
) -> ChartPoint:
    """A pipe's point.

    Parameters
    ----------
    place : (int, str)
        Semitone along the chart, and the key's name.
    found, left : Reading or None
    band : (float, float)
        Middle and half the width of the band in which a pipe is in tune [cents].
    """
    semitone, key = place
    left_cents = None if left is None else left.cents_or_none
    if not isinstance(found, Measured):
        word = "not heard" if found is None else flag_words(found).partition(",")[0] or "not read"
        return ChartPoint(semitone, key, None, word=word, left_cents=left_cents)
    away = found.cents - band[0]
    mark = Mark.CARE if found.flags else _mark(away, band[1])
    return ChartPoint(
        semitone=semitone,
        key=key,
        cents=found.cents,
        two_sigma_cents=2.0 * found.sigma_cents,
        mark=mark,
        word=flag_words(found).partition(",")[0],
        left_cents=left_cents,
    )


def _beside_partners(
    organ: Organ, rank: Rank, *heard: Mapping[PipeRef, Reading]
) -> dict[PipeRef, CelesteBeats]:
    """A celeste's pipes beside their partners as heard last; empty for other ranks."""
    partner = partner_of(organ, rank) if rank.is_celeste else None
    if partner is None:
        return {}
    last = {pipe: reading for readings in heard for pipe, reading in readings.items()}
    air = organ.pitch.at_celsius  # only the difference counts
    known = [
        stands
        for pipe, reading in last.items()
        if pipe.rank in {rank.id, partner.id}
        and (stands := pipe_cents_of(reading, air)) is not None
    ]
    return {found.pipe: found for found in celeste_beats(organ, known)}


def _restated(
    point: ChartPoint,
    band: tuple[float, float],
    beside: CelesteBeats | None,
    beside_left: CelesteBeats | None,
) -> ChartPoint:
    """The point of a celeste's pipe, against its partner where that was heard."""
    if beside_left is not None and point.left_cents is not None:
        point = replace(point, left_cents=band[0] + beside_left.cents)
    if beside is None or point.cents is None:
        return point
    return replace(
        point,
        cents=band[0] + beside.cents,
        two_sigma_cents=2.0 * beside.sigma_cents,
        mark=Mark.CARE if point.mark is Mark.CARE else _mark(beside.cents, band[1]),
    )


def _mark(away_cents: float, stray_cents: float) -> Mark:
    if abs(away_cents) <= stray_cents:
        return Mark.IN
    return Mark.SHARP if away_cents > 0.0 else Mark.FLAT


def _caption(
    rank: Rank, points: Sequence[ChartPoint], lines: Sequence[ChartLine], stray_cents: float
) -> str:
    target = lines[0]
    read = [point for point in points if point.cents is not None]
    sentences = [f"{len(read)} of {counted(rank.pipes, 'pipe')} read."]
    aways = [(p.key, p.cents - target.cents) for p in read if p.cents is not None]
    if aways:
        middle = float(np.median([abs(away) for _, away in aways]))
        sentences.append(f"Half of them were within {middle:.1f} cents of {target.meaning}.")
        strays = sorted((a for a in aways if abs(a[1]) > stray_cents), key=lambda a: -abs(a[1]))
        named = listed([f"{key} ({signed(away)})" for key, away in strays], _MOST_NAMED)
        if strays:
            sentences.append(f"More than {stray_cents:g} cents from it: {named}.")
        else:
            sentences.append(f"None was more than {stray_cents:g} cents from it.")
    unread = [f"{point.key} {point.word}" for point in points if point.cents is None]
    if unread:
        sentences.append(f"Without a value: {listed(unread, _MOST_NAMED)}.")
    return " ".join(sentences)


def _air_cents(from_celsius: float, to_celsius: float) -> float:
    """How much flues rise between two air temperatures [cents]."""
    return cents_of_ratio(pitch_ratio(from_celsius, to_celsius))
