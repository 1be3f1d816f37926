"""Builds the visit report for the venue."""

from __future__ import annotations

from collections.abc import Sequence

from walkboard.condition.state import Condition
from walkboard.languages.translation import Own
from walkboard.listening.readings import Measured, Withheld
from walkboard.listening.types import ReadingFlag
from walkboard.organ.model import Organ, PipeRef
from walkboard.sheets import summary
from walkboard.sheets.front_page.build import front_page
from walkboard.sheets.front_page.news import FrontPage, VenueNews
from walkboard.sheets.keyholder import key_labels
from walkboard.sheets.rank_charts import (
    STRAY_CENTS,
    ChartContext,
    best_of_each,
    flag_words,
    rank_chart,
)
from walkboard.sheets.values import (
    Fact,
    Fault,
    FaultRow,
    FlagRow,
    Passage,
    Picture,
    RankChart,
    VisitFacts,
    VisitReport,
    Work,
)
from walkboard.sheets.wording import celsius, day_words, minutes, pitch_words, rank_words, signed
from walkboard.survey.hear.heard_walk import Reading


def visit_report(
    organ: Organ,
    visit: VisitFacts,
    readings: Sequence[Reading],
    *,
    front: FrontPage | None = None,
    left: Sequence[Reading] = (),
    silent: Sequence[PipeRef] = (),
    condition: Condition | None = None,
    work: Work | None = None,
    faults: Sequence[Fault] = (),
    notices: Sequence[str] = (),
    pictures: Sequence[Picture] = (),
    stray_cents: float = STRAY_CENTS,
) -> VisitReport:
    """The report of a visit.

    Parameters
    ----------
    organ : Organ
    visit : VisitFacts
    readings : sequence of Reading
        As found; if a pipe was read several times, the surest reading counts.
    front : FrontPage or None
        Page 1; None makes one that says how little is known.
    left : sequence of Reading
        As left, where pipes were heard again after tuning.
    silent : sequence of PipeRef
        Pipes whose key was held and gave nothing (`walkboard.sheets.rank_charts.silent_pipes`).
    condition : Condition or None
    work : Work or None
        The plan and its ticks.
    faults : sequence of Fault
        Those still open, and those fixed at this visit.
    notices : sequence of str
        Whole sentences about the recordings.
    pictures : sequence of Picture
    stray_cents : float
        From its line, for a pipe to be called out [cents].

    Raises
    ------
    UnknownNameError
        If a reading, plan or division belongs to another organ.
    """
    found = best_of_each(readings)
    found.update({pipe: _unheard(pipe) for pipe in silent if pipe not in found})
    heard_again = best_of_each(left)
    for pipe in (*found, *heard_again):
        organ.rank(pipe.rank)
    context = ChartContext(visit, condition, None if work is None else work.plan, stray_cents)
    touched = {pipe.rank for pipe in (*found, *heard_again)}
    charts = {
        rank.id: rank_chart(organ, rank, found, heard_again, context)
        for rank in organ.ranks
        if rank.id in touched
    }
    passages = [
        summary.in_short(organ, list(charts.values()), work),
        summary.pitch(organ, context),
        summary.temperature(organ, context),
        summary.done(organ, work),
        summary.left(organ, work, charts, stray_cents),
        summary.faults(faults),
        summary.advice(organ, visit, faults, charts),
    ]
    if visit.closing_note:
        passages.append(Passage("The tuner's note", (Own(visit.closing_note),)))
    front = front or front_page(VenueNews(organ.name, visit.day))
    return VisitReport(
        title=Own(front.title),
        heading=f"For the file: the visit of {day_words(visit.day)}",
        organ=Own(organ.name),
        day=visit.day,
        front=front,
        strip=pitch_words(organ),
        facts=_facts(organ, visit),
        summary=tuple(passages),
        charts=tuple(charts.values()),
        flags=_flag_rows(organ, found, charts),
        faults=tuple(_fault_row(fault) for fault in faults),
        nothing="No pipe was measured at this visit.",
        notices=tuple(notices),
        pictures=tuple(pictures),
        language=front.language.value,
    )


def _unheard(pipe: PipeRef) -> Reading:
    return Withheld(pipe=pipe, start_s=0.0, end_s=0.0, flags=(ReadingFlag.SILENT,))


def _facts(organ: Organ, visit: VisitFacts) -> tuple[Fact, ...]:
    facts = []
    if visit.purpose:
        facts.append(Fact("Purpose", Own(visit.purpose)))
    if visit.minutes is not None:
        facts.append(Fact("Time", minutes(visit.minutes)))
    if visit.wind_mm:
        wind = ", ".join(f"{organ.division(d).name} {mm:g} mm" for d, mm in visit.wind_mm.items())
        facts.append(Fact("Wind", wind))
    if visit.event_air_celsius is not None:
        facts.append(Fact("Air at the event", celsius(visit.event_air_celsius)))
    return tuple(facts)


def _flag_rows(
    organ: Organ, found: dict[PipeRef, Reading], charts: dict[str, RankChart]
) -> tuple[FlagRow, ...]:
    rows = []
    for rank_id in charts:
        rank = organ.rank(rank_id)
        labels = key_labels(organ, rank)
        flagged = [
            reading
            for pipe, reading in found.items()
            if pipe.rank == rank_id and (reading.flags or not isinstance(reading, Measured))
        ]
        for reading in sorted(flagged, key=lambda r: r.pipe.number):
            value = "–"
            if isinstance(reading, Measured):
                value = f"{signed(reading.cents)} ± {2.0 * reading.sigma_cents:.1f}"
            rows.append(
                FlagRow(
                    rank=rank_words(organ, rank),
                    key=labels[reading.pipe.number],
                    pipe=str(reading.pipe.number),
                    value=value,
                    why=flag_words(reading) or "not read",
                )
            )
    return tuple(rows)


def _fault_row(fault: Fault) -> FaultRow:
    if fault.fixed_on is None:
        stands = f"open since {day_words(fault.reported)}"
    else:
        note = f": {fault.fix_note}" if fault.fix_note else ""
        stands = f"fixed {day_words(fault.fixed_on)}{note}"
    return FaultRow(fault.kind, Own(fault.place), fault.words, stands, Own(fault.repair))
