"""Builds the sheet of a complete tuning: what to do each day, in order, and where to stop."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from walkboard.languages.translation import Own
from walkboard.organ.model import Organ
from walkboard.planning.complete import CompleteStep, CompleteTuning, Stage
from walkboard.sheets.cautions import DEFERENCE, caution_lines
from walkboard.sheets.values import CautionLine, SheetHead
from walkboard.sheets.wording import (
    counted,
    day_words,
    key_words,
    minutes,
    pitch_words,
    rank_words,
)

STAGE_WORDS = {
    Stage.CHECK: "Check the reference rank",
    Stage.BEARINGS: "Set the bearings",
    Stage.OCTAVES: "Tune out in octaves",
    Stage.RANK: "Tune the rank",
    Stage.CELESTE: "Set the celeste",
    Stage.MIXTURE: "Tune the row",
    Stage.REED: "Tune the reeds",
}


@dataclass(frozen=True, slots=True)
class CompleteRow:
    """One step; every field in words."""

    do: str
    rank: str
    keys: str
    against: str
    silence: str
    minutes: str


@dataclass(frozen=True, slots=True)
class CompleteDay:
    """One day's steps, under a heading, and how the day ends."""

    heading: str
    rows: tuple[CompleteRow, ...]
    ends: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CompleteSheet(SheetHead):
    """A complete tuning on paper.

    Attributes
    ----------
    summary : str
    days : tuple of CompleteDay
    cautions : tuple of CautionLine
    deference : str
    notes : tuple of str
        What is left out, and why.
    """

    summary: str
    days: tuple[CompleteDay, ...]
    cautions: tuple[CautionLine, ...]
    deference: str
    notes: tuple[str, ...]


def complete_sheet(organ: Organ, found: CompleteTuning, first: date) -> CompleteSheet:
    """The sheet of a complete tuning.

    Parameters
    ----------
    organ : Organ
    found : CompleteTuning
    first : date
        Of the first day; the others follow it.
    """
    touched = [organ.rank(id_) for id_ in dict.fromkeys(step.rank for step in found.steps)]
    divisions = [organ.division(id_) for id_ in dict.fromkeys(r.division for r in touched)]
    hours = found.minutes / 60.0
    summary = (
        f"{counted(found.days, 'day')} of up to {minutes(found.day_minutes)}, {hours:.1f} hours in "
        "all. Every pipe, in the order of the trade: the reference rank, then rank by rank from "
        "it, mixtures row by row, reeds last. Tune the reeds when the air is nearest the event's."
    )
    return CompleteSheet(
        title=f"Complete tuning of {organ.name}, from {day_words(first)}",
        heading="Complete tuning",
        organ=Own(organ.name),
        day=first,
        strip=pitch_words(organ),
        summary=summary,
        days=tuple(
            _day(organ, found, day, list(steps), first)
            for day, steps in groupby(found.steps, key=lambda step: step.day)
        ),
        cautions=caution_lines(touched, divisions),
        deference=DEFERENCE,
        notes=found.notes,
    )


def _day(
    organ: Organ, found: CompleteTuning, day: int, steps: list[CompleteStep], first: date
) -> CompleteDay:
    last = steps[-1]
    rank = organ.rank(last.rank)
    after = f"the {rank.name}"
    if last.last not in {0, rank.pipes}:
        after = f"{key_words(rank.key_of(last.last))} of {after}"
    used = minutes(found.minutes_of(day))
    rest = "" if day == found.days else " The next day begins by checking the reference rank."
    return CompleteDay(
        heading=f"Day {day}, {day_words(first + timedelta(days=day - 1))}",
        rows=tuple(_row(organ, step) for step in steps),
        ends=f"Stop after {after}: {used} of {minutes(found.day_minutes)}.{rest}",
    )


def _row(organ: Organ, step: CompleteStep) -> CompleteRow:
    rank = organ.rank(step.rank)
    keys = ""
    if step.first:
        low, high = (key_words(rank.key_of(number)) for number in (step.first, step.last))
        keys = low if low == high else f"{low} to {high}"
    against = "" if not step.against else organ.rank(step.against).name
    silence = ", ".join(organ.rank(id_).name for id_ in step.silence)
    return CompleteRow(
        do=STAGE_WORDS[step.stage],
        rank=rank_words(organ, rank),
        keys=keys,
        against=against,
        silence=silence,
        minutes=minutes(step.walk_minutes + step.minutes),
    )
