"""The state of each rank and division at a glance, each from the last visit that heard it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from walkboard.book.records import KeptFault, KeptOrgan, KeptReading, KeptVisit, Tick, TickState
from walkboard.condition.state import DivisionState
from walkboard.errors import UnknownNameError
from walkboard.listening.readings import Measured
from walkboard.organ.celestes import partner_of
from walkboard.organ.model import Division, Organ, PipeRef, Rank
from walkboard.organ.nearest import meant_instead
from walkboard.organ.years import compared_with_today
from walkboard.sheets.rank_charts import STRAY_CENTS, ChartContext, rank_chart
from walkboard.sheets.values import Mark, RankChart
from walkboard.survey.hear.heard_walk import Reading
from walkboard.work.pipe_offsets import visit_facts
from walkboard.work.snapshot import Snapshot, described

if TYPE_CHECKING:
    from walkboard.book.cache.seen import SeenBook

_VISITS_BACK = 12  # how far back to look for a rank's last hearing
_PIPES_FOR_SPREAD = 3
_VISITS_RECALLED = 4


@dataclass(frozen=True, slots=True)
class Tuned:
    """A pipe that was tuned at a visit.

    Attributes
    ----------
    at : datetime
    before_cents, after_cents : float or None
        Deviation from its rank's line, as measured before and afterwards [cents]; None if it was
        not.
    """

    at: datetime
    before_cents: float | None
    after_cents: float | None


@dataclass(frozen=True, slots=True)
class RankState:
    """A rank's state when it was last heard.

    Attributes
    ----------
    rank : Rank
    visit : KeptVisit or None
        The last visit that heard it; None if none did, and then the rest is empty.
    chart : RankChart or None
        Its pipes relative to their line.
    middle_cents : float or None
        Median of its pipes against that line [cents].
    half_within_cents : float or None
        Half of its pipes are within this of their own median [cents].
    strays, careful, unread : int
        Pipes beyond the tolerance from the line; flagged ones; those without a value at that visit,
        except tuned ones.
    tuned : mapping of int to Tuned
        The pipes tuned at that visit, by number.
    faults : tuple of KeptFault
        Open faults.
    """

    rank: Rank
    visit: KeptVisit | None = None
    chart: RankChart | None = None
    middle_cents: float | None = None
    half_within_cents: float | None = None
    strays: int = 0
    careful: int = 0
    unread: int = 0
    tuned: Mapping[int, Tuned] = field(default_factory=dict)
    faults: tuple[KeptFault, ...] = ()


@dataclass(frozen=True, slots=True)
class DivisionOverview:
    """A division with its ranks; `state` is of the last visit that heard it."""

    division: Division
    state: DivisionState | None
    visit: KeptVisit | None
    ranks: tuple[RankState, ...]


def overview(book: SeenBook, kept: KeptOrgan) -> tuple[DivisionOverview, ...]:
    """Every division and rank of an organ as last heard."""
    return book.seen(("overview", kept.id), lambda: _overview(book, book.organ(kept.id)))


def recall(book: SeenBook, kept: KeptOrgan) -> None:
    """Warm the cache with what pages show of the last visits, so that they need not wait."""
    visits = book.visits(kept.id)[-_VISITS_RECALLED:]
    for visit in visits:
        snapshot = Snapshot(book, visit.id)
        _ = snapshot.by_rank, snapshot.stated_air
    for visit in visits[-1:]:
        book.recordings(visit.id)


def rank_state(book: SeenBook, kept: KeptOrgan, rank_id: str) -> RankState:
    """One rank of an organ; UnknownNameError if there is none."""
    for division in overview(book, kept):
        for state in division.ranks:
            if state.rank.id == rank_id:
                return state
    names = [(rank.id, rank.name) for rank in described(book, kept).ranks]
    raise UnknownNameError(
        f"The organ has no rank {rank_id!r}.",
        fix=meant_instead(rank_id, names, "Choose one of its ranks."),
    )


def earlier_readings(
    book: SeenBook, kept: KeptOrgan, rank_id: str, before: KeptVisit, most: int = 3
) -> tuple[tuple[KeptVisit, Mapping[PipeRef, KeptReading]], ...]:
    """A rank's readings at earlier visits that heard it, newest first.

    Pipes are named as today; readings from before the rank was replaced or revoiced are left out.
    """
    organ = described(book, kept)
    names = {rank_id, *(c.was for r in organ.ranks for c in r.changes if c.was is not None)}
    found: list[tuple[KeptVisit, Mapping[PipeRef, KeptReading]]] = []
    for visit in reversed(book.visits(kept.id)):
        if len(found) == most:
            break
        # Which ranks a visit heard is a fraction of the work of reading them.
        if visit.id >= before.id or names.isdisjoint(book.ranks_heard(visit.id)):
            continue
        today = compared_with_today(organ, visit.opened_at.year)
        own = {
            now: reading
            for readings in Snapshot(book, visit.id).by_rank.values()
            for pipe, reading in readings.items()
            if (now := today(pipe)) is not None and now.rank == rank_id
        }
        if own:
            found.append((visit, own))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class RankGlance:
    """A rank at one visit: which pipes were measured, and how far the strays were from their
    line.
    """

    read: frozenset[int]
    strays: Mapping[int, float]


def visits_at_a_glance(
    book: SeenBook, kept: KeptOrgan, most: int
) -> list[tuple[KeptVisit, Mapping[str, RankGlance]]]:
    """Every rank at each of the last visits that heard something, the oldest first."""
    found: list[tuple[KeptVisit, Mapping[str, RankGlance]]] = []
    for visit in reversed(book.visits(kept.id)):
        if len(found) == most:
            break
        ranks = _glance(book, visit)
        if ranks:
            found.append((visit, ranks))
    return found[::-1]


def _glance(book: SeenBook, visit: KeptVisit) -> Mapping[str, RankGlance]:
    snapshot = Snapshot(book, visit.id)

    def work_out() -> Mapping[str, RankGlance]:
        context = chart_context(book, snapshot.visit)
        glances = {}
        for rank_id, readings in snapshot.by_rank.items():
            line = context.lines(snapshot.organ, snapshot.organ.rank(rank_id))[0].cents
            away = {
                pipe.number: kept.reading.cents - line
                for pipe, kept in readings.items()
                if isinstance(kept.reading, Measured)
            }
            strays = {n: cents for n, cents in away.items() if abs(cents) > STRAY_CENTS}
            glances[rank_id] = RankGlance(frozenset(away), strays)
        return glances

    return book.seen(("glance", visit.id), work_out)


def faults_of_rank(organ: Organ, rank: Rank, faults: tuple[KeptFault, ...]) -> list[KeptFault]:
    """The faults that are linked to a pipe of a rank, or to a stop that plays it alone."""
    alone = {s.id for s in organ.stops if {p.rank for p in s.plays} == {rank.id}}
    return [
        fault
        for fault in faults
        if (fault.pipe.rank == rank.id if fault.pipe is not None else fault.stop in alone)
    ]


def chart_context(book: SeenBook, visit: KeptVisit) -> ChartContext:
    """What the charts of a visit need to know besides the readings."""
    plan = book.current_plan(visit.id)
    kept_plan = None if plan is None else plan.plan
    # Charts only need the air, which takes a hundredth of the time of the divisions' states: a
    # rank's page must not wait for those, least of all for earlier visits.
    facts = visit_facts(book, visit)
    air = {**facts.air_celsius, **Snapshot(book, visit.id).stated_air}
    return ChartContext(replace(facts, air_celsius=air), None, kept_plan, STRAY_CENTS)


def _overview(book: SeenBook, kept: KeptOrgan) -> tuple[DivisionOverview, ...]:
    organ = described(book, kept)
    visits = tuple(reversed(book.visits(kept.id)))[:_VISITS_BACK]
    open_faults = book.open_faults(kept.id)
    last: dict[str, KeptVisit] = {}
    for visit in visits:
        if len(last) == len(organ.ranks):
            break
        for rank_id in Snapshot(book, visit.id).by_rank:
            last.setdefault(rank_id, visit)
    found: list[DivisionOverview] = []
    for division in organ.divisions:
        ranks = []
        for rank in (r for r in organ.ranks if r.division == division.id):
            faults = tuple(faults_of_rank(organ, rank, open_faults))
            heard_at = last.get(rank.id)
            if heard_at is None:
                ranks.append(RankState(rank, faults=faults))
            else:
                ranks.append(_rank_state(book, kept, rank, heard_at, faults))
        heard = [r.visit for r in ranks if r.visit is not None]
        newest = max(heard, key=lambda v: v.id, default=None)
        state = None
        if newest is not None:
            state = Snapshot(book, newest.id).division(division.id)
        found.append(DivisionOverview(division, state, newest, tuple(ranks)))
    return tuple(found)


def _rank_state(
    book: SeenBook,
    kept: KeptOrgan,
    rank: Rank,
    visit: KeptVisit,
    faults: tuple[KeptFault, ...],
) -> RankState:
    # Only the rank's own readings and ticks: so a tick costs little.
    snapshot = Snapshot(book, visit.id)

    def work_out() -> RankState:
        organ, visit = described(book, book.organ(kept.id)), snapshot.visit
        own, ticks = snapshot.of_rank(rank.id), snapshot.ticks_of_rank(rank.id)
        partner = partner_of(organ, rank) if rank.is_celeste else None
        beside = {} if partner is None else snapshot.of_rank(partner.id)
        found: dict[PipeRef, Reading] = {}
        done = {p: t for p, t in ticks.items() if t.state == TickState.DONE}
        for pipe, reading in own.items():
            if pipe not in done or not _is_before(reading, done[pipe].at):
                found[pipe] = reading.reading
        heard = found | {pipe: kept.reading for pipe, kept in beside.items()}
        chart = rank_chart(organ, rank, heard, {}, chart_context(book, visit))
        target = chart.lines[0].cents
        away = [p.cents - target for p in chart.points if p.cents is not None]
        middle = float(np.median(away)) if away else None
        within = None
        if len(away) >= _PIPES_FOR_SPREAD:
            within = float(np.median(np.abs(np.array(away) - middle)))
        tuned = {
            pipe.number: _tuned(
                [kept for kept in book.readings(visit.id) if kept.reading.pipe == pipe],
                tick,
                found.get(pipe),
                target,
            )
            for pipe, tick in done.items()
        }
        not_heard_since = sum(t.after_cents is None for t in tuned.values())
        marks_of = [p.mark for p in chart.points if p.cents is not None]
        return RankState(
            rank=rank,
            visit=visit,
            chart=chart,
            middle_cents=middle,
            half_within_cents=within,
            strays=sum(m in {Mark.FLAT, Mark.SHARP} for m in marks_of),
            careful=sum(m is Mark.CARE for m in marks_of),
            unread=rank.pipes - len(away) - not_heard_since,
            tuned=tuned,
        )

    found = book.seen(("rank", visit.id, kept.version, rank.id), work_out)
    return replace(found, faults=faults)


def _tuned(
    of_pipe: list[KeptReading], tick: Tick, after: Reading | None, line_cents: float
) -> Tuned:
    """A pipe before it was tuned, and as measured afterwards."""
    known = [
        kept.reading.cents
        for kept in of_pipe
        if isinstance(kept.reading, Measured) and _is_before(kept, tick.at)
    ]
    after_cents = after.cents - line_cents if isinstance(after, Measured) else None
    return Tuned(tick.at, known[-1] - line_cents if known else None, after_cents)


def _is_before(reading: KeptReading, instant: datetime) -> bool:
    return reading.sounded_at is None or reading.sounded_at <= instant
