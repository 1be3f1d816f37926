"""The organ: its divisions and ranks at a glance, the conditions now, and what comes next."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from walkboard.book.records import KeptEvent
from walkboard.desk.drawing.rank import field
from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.rendering import ON_ITS_WAY, render
from walkboard.sheets.wording import rank_words
from walkboard.work.overview import RankState, overview
from walkboard.work.pipe_offsets import latest_air

_MOST_EVENTS = 3
_PATIENCE_S, _PART_PATIENCE_S = 0.15, 30.0
_MANY = 0.1  # of a rank's pipes astray: more than the odd one


def organ_page(request: Request) -> Response:
    """Draw it."""
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    # Just after the start the page comes at once and its ranks follow; a page that fetches its
    # parts again has time to wait for them.
    is_part = "walkboard-part" in request.headers
    is_warm = desk.is_warm.wait(_PART_PATIENCE_S if is_part else _PATIENCE_S)
    change: dict[str, Any] = {} if is_warm else {"change": ON_ITS_WAY}
    visits = desk.book.visits(kept.id)
    last = visits[-1] if visits else None
    divisions = []
    for division in overview(desk.book, kept) if is_warm else ():
        lowest = min(division.division.lowest, *(r.rank.from_key for r in division.ranks))
        highest = max(
            division.division.highest, *(r.rank.key_of(r.rank.pipes) for r in division.ranks)
        )
        rows = [
            {
                "state": state,
                "name": rank_words(organ, state.rank).partition(" · ")[2],
                "field": None
                if state.chart is None
                else field(state.chart, lowest.semitone, highest.semitone),
                "sign": _sign(state),
            }
            for state in division.ranks
        ]
        divisions.append({"of": division, "rows": rows})
    return render(
        request,
        "organ.html",
        organ=organ,
        pipes=sum(rank.pipes for rank in organ.ranks),
        divisions=divisions,
        is_warm=is_warm,
        visit=last,
        air=None if last is None else latest_air(last),
        noted=None if last is None or not last.conditions else last.conditions[-1].noted_at,
        events=_coming(desk.book.events(kept.id)),
        faults=desk.book.standing_faults(kept.id),
        **change,
    )


def _coming(events: tuple[KeptEvent, ...]) -> list[KeptEvent]:
    now = datetime.now(UTC)
    coming = [event for event in events if event.starts_at >= now and not event.cancelled]
    return sorted(coming, key=lambda event: event.starts_at)[:_MOST_EVENTS]


def _sign(state: RankState) -> str:
    """Which sign stands before a rank: the word for it is ``organ.sign_…``."""
    if state.chart is None:
        return "unheard"
    if state.faults or state.strays > _MANY * state.rank.pipes:
        return "many"
    return "few" if state.strays else "in"


PAGE = Page("organ", (Door("/organ/{organ:int}", organ_page),), place="/organ/{organ}", rank=0)
