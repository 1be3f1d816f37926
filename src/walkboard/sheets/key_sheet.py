"""The key holder's sheet of a survey: what to draw, which keys to walk, and how."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from textwrap import wrap

from walkboard.languages.translation import Own
from walkboard.organ.model import Organ, PipeRef
from walkboard.sheets.keyholder import stop_words
from walkboard.sheets.values import Fact, SheetHead
from walkboard.sheets.wording import counted, day_words, listed, minutes, rank_words, span_words
from walkboard.survey.plan.walk_plan import SurveyPlan, SurveyWalk

HOW = (
    "Draw the stops of a walk and no others. Boxes open, tremulants and couplers off.",
    (
        "Start the recording, then hold the keys one after another, upward, each for the time "
        "given; release each before the next. Stop the recording after the last. One recording "
        "per walk."
    ),
    "Keep talk and steps for the time between walks. A wrong key does no harm: go on.",
)


@dataclass(frozen=True, slots=True)
class WalkLine:
    """One walk as it is printed.

    Attributes
    ----------
    order : int
    keyboard : str
    draw : tuple of str
        Names of the stops.
    keys : tuple of str
        Runs of keys, as ``C2–B4``.
    count : str
        ``37 keys``.
    hold : str
        ``4 s each``.
    minutes : str
    note : str
    stops : str
        Their ids, to be given to ``walkboard listen --drawn``.
    """

    order: int
    keyboard: str
    draw: tuple[str, ...]
    keys: tuple[str, ...]
    count: str
    hold: str
    minutes: str
    note: str
    stops: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeySheet(SheetHead):
    """The key holder's sheet; fields as in `walkboard.sheets.values.WorklistSheet`.

    Attributes
    ----------
    facts : tuple of Fact
    how : tuple of str
        Sentences for the key holder.
    walks : tuple of WalkLine
    nothing : str
        What to say where there are no walks.
    remarks : tuple of Fact
        What is left out, and what no stop sounds.
    """

    facts: tuple[Fact, ...]
    how: tuple[str, ...]
    walks: tuple[WalkLine, ...]
    nothing: str
    remarks: tuple[Fact, ...]


def key_sheet(organ: Organ, plan: SurveyPlan, day: date) -> KeySheet:
    """The sheet of a plan.

    Raises
    ------
    UnknownNameError
        When the plan is of another organ.
    """
    return KeySheet(
        title=f"Survey of {organ.name}, {day_words(day)}",
        heading="Walks for the key holder",
        organ=Own(organ.name),
        day=day,
        strip=f"{counted(len(plan.walks), 'walk')}, {minutes(plan.minutes)}",
        facts=_facts(plan),
        how=HOW,
        walks=tuple(
            _line(organ, plan, walk, order) for order, walk in enumerate(plan.walks, start=1)
        ),
        nothing="There is nothing to walk: no stop sounds what was asked for.",
        remarks=_remarks(organ, plan),
    )


def _line(organ: Organ, plan: SurveyPlan, walk: SurveyWalk, order: int) -> WalkLine:
    return WalkLine(
        order=order,
        keyboard=organ.division(walk.division).name,
        draw=tuple(stop_words(organ, organ.stop(stop)) for stop in walk.drawn),
        keys=tuple(span_words(run) for run in walk.runs),
        count=counted(len(walk.keys), "key"),
        hold=f"{plan.pace_of(walk).hold_s:g} s each",
        minutes=minutes(plan.minutes_of(walk)),
        note=" ".join(f"Doubtful: {span_words(doubt)}." for doubt in walk.doubts),
        stops=",".join(walk.drawn),
    )


def _facts(plan: SurveyPlan) -> tuple[Fact, ...]:
    given = "" if plan.minutes_given is None else f" of {minutes(plan.minutes_given)}"
    held = f"{plan.pace.hold_s:g} s"
    if plan.pace.of_one_pipe != plan.pace:
        held += f", or {plan.pace.of_one_pipe.hold_s:g} s where one pipe sounds alone"
    facts = [
        Fact("Time in all", f"{minutes(plan.minutes)}{given}"),
        Fact("Pipes read", f"{len(plan.wanted)} in {counted(plan.holds, 'hold')}"),
        Fact(
            "Each key",
            f"held {held}, then {plan.pace.gap_s:g} s; "
            f"{minutes(plan.pace.setting_minutes)} to set each walk",
        ),
        Fact("Rank by rank", f"would take {minutes(plan.by_rank_minutes)}"),
    ]
    if plan.gap is None:
        facts.append(Fact("Proof", "none: too many registrations are possible"))
    elif plan.walks:
        least = "by these rules nothing takes less" if plan.gap < 5e-5 else (
            f"by these rules at most {plan.gap:.1%} more than the minimum"
        )  # fmt: skip
        facts.append(Fact("Proof", least))
    return tuple(facts)


def _remarks(organ: Organ, plan: SurveyPlan) -> tuple[Fact, ...]:
    remarks = []
    if plan.left_out:
        words = f"{counted(len(plan.left_out), 'pipe')}: one key in {plan.every} is walked"
        remarks.append(Fact("Left out", f"{words}, every rank kept."))
    if plan.unheard:
        remarks.append(Fact("No stop sounds", _by_rank(organ, plan.unheard)))
    return tuple(remarks)


def _by_rank(organ: Organ, pipes: Iterable[PipeRef]) -> str:
    counts = Counter(pipe.rank for pipe in pipes)
    words = [f"{rank_words(organ, organ.rank(r))} ({n})" for r, n in counts.items()]
    return f"{listed(words)}."


def key_sheet_text(sheet: KeySheet, *, width: int = 88) -> str:
    """The sheet as plain text, a tick box before each walk."""
    lines = [sheet.title, "", *_facts_text(sheet.facts, width), ""]
    for sentence in sheet.how:
        lines += wrap(sentence, width)
    if not sheet.walks:
        lines += ["", sheet.nothing]
    for walk in sheet.walks:
        draw = f"[ ] {walk.order:2}  {walk.keyboard}: draw {listed(walk.draw)}."
        lines += ["", *wrap(draw, width, subsequent_indent=" " * 8)]
        keys = f"Keys {'; '.join(walk.keys)}: {walk.count}, {walk.hold}; {walk.minutes}."
        for words in (f"{keys} {walk.note}".strip(), f"--drawn {walk.stops}"):
            lines += wrap(
                words,
                width,
                initial_indent=" " * 8,
                subsequent_indent=" " * 8,
                break_long_words=False,
                break_on_hyphens=False,
            )
    if sheet.remarks:
        lines += ["", *_facts_text(sheet.remarks, width)]
    return "\n".join(lines).replace("\N{NO-BREAK SPACE}", " ")


def _facts_text(facts: Sequence[Fact], width: int) -> list[str]:
    lines = []
    for fact in facts:
        lines += wrap(f"{fact.label + ':':<16}{fact.value}", width, subsequent_indent=" " * 16)
    return lines
