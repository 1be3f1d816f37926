"""The organ: what to do now, and the map of its ranks with their strays."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from walkboard.book.records import Fork, KeptOrgan
from walkboard.desk.drawing.organ_map import SmallRow, axis, small_map, strip
from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import ON_ITS_WAY, render
from walkboard.desk.pages.finding import pipe_index
from walkboard.desk.pages.what_now import steps_now
from walkboard.desk.text.preferences import preferences_of
from walkboard.desk.text.stops import rank_in_division
from walkboard.organ.model import Organ, Rank
from walkboard.work.before_planning import last_heard, moved_is_known, moved_since
from walkboard.work.overview import (
    DivisionOverview,
    RankGlance,
    RankState,
    overview,
    visits_at_a_glance,
)
from walkboard.work.pipe_offsets import latest_air

_VISITS_SHOWN = 6
_PATIENCE_S, _PART_PATIENCE_S = 0.15, 30.0
_MANY = 0.1  # of a rank's pipes astray: more than the odd one


def organ_page(request: Request) -> Response:
    """What to do now, and every rank at a glance."""
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    # Just after the start the page comes at once and its ranks follow; a page that fetches its
    # parts again has time to wait for them.
    is_part = "walkboard-part" in request.headers
    is_warm = desk.is_warm.wait(_PART_PATIENCE_S if is_part else _PATIENCE_S)
    change: dict[str, Any] = {} if is_warm else {"change": ON_ITS_WAY}
    moved = _moved(desk, kept, waits=is_part) if is_warm else None
    if moved is None:
        change = {"change": ON_ITS_WAY}
    visits = desk.book.visits(kept.id)
    last = visits[-1] if visits else None
    chosen = preferences_of(request)
    found = overview(desk.book, kept) if is_warm else ()
    lowest, highest = _ends(organ)
    heard = [s for d in found for s in d.ranks if s.chart is not None]
    return render(
        request,
        "organ.html",
        organ=organ,
        found_among=pipe_index(organ, kept.id, chosen),
        pipes=sum(rank.pipes for rank in organ.ranks),
        steps=steps_now(desk, kept, organ, chosen),
        divisions=[_division(organ, d, lowest, highest) for d in found],
        axis=axis(lowest, highest, chosen.key),
        strays=sum(state.strays for state in heard),
        heard=len(heard),
        earlier=_earlier(desk, kept, organ, (lowest, highest)) if is_warm else (),
        is_warm=is_warm,
        is_visited=bool(visits),
        moved=moved or (),
        forks=_forks(desk, kept),
        air=None if last is None else latest_air(last),
        noted=None if last is None or not last.conditions else last.conditions[-1].noted_at,
        **change,
    )


def _moved(desk: Desk, kept: KeptOrgan, *, waits: bool) -> tuple[str, ...] | None:
    """What has moved since the visit before the last that heard anything; None if on its way."""
    visit = last_heard(desk.book, kept.id)
    if visit is None:
        return ()
    if not waits and not moved_is_known(desk.book, visit):
        return None
    return moved_since(desk.book, visit)


def _forks(desk: Desk, kept: KeptOrgan) -> tuple[Fork, ...]:
    """What several devices did to the same thing, and what someone has yet to decide."""
    found = desk.book.seen(("forks", kept.id), lambda: desk.book.forks(kept.id))
    return tuple(fork for fork in found if not fork.kind.is_settled)


def _ends(organ: Organ) -> tuple[int, int]:
    """The lowest and highest key of any rank, so that the strips line up key by key."""
    lowest = min((r.from_key.semitone for r in organ.ranks), default=0)
    highest = max((r.key_of(r.pipes).semitone for r in organ.ranks), default=60)
    return lowest, max(highest, lowest + 11)


def _division(
    organ: Organ, division: DivisionOverview, lowest: int, highest: int
) -> dict[str, Any]:
    rows = []
    for state in division.ranks:
        tuned = [
            state.rank.key_of(number).semitone
            for number, one in state.tuned.items()
            if one.after_cents is None
        ]
        rows.append(
            {
                "state": state,
                "name": rank_in_division(organ, state.rank),
                "strip": strip(state.chart, lowest, highest, tuned),
                "sign": _sign(state),
                "is_older": state.visit is not None and state.visit != division.visit,
            }
        )
    return {"of": division, "rows": rows}


def _earlier(
    desk: Desk, kept: KeptOrgan, organ: Organ, ends: tuple[int, int]
) -> list[dict[str, Any]]:
    """The whole organ at each of the last visits, the oldest first."""
    found = []
    for visit, ranks in visits_at_a_glance(desk.book, kept, _VISITS_SHOWN):
        rows = [_small(rank, ranks.get(rank.id)) for rank in organ.ranks]
        found.append(
            {
                "visit": visit,
                "drawing": small_map(rows, *ends),
                "read": sum(len(g.read) for g in ranks.values()),
                "strays": sum(len(g.strays) for g in ranks.values()),
            }
        )
    return found if len(found) > 1 else []


def _small(rank: Rank, glance: RankGlance | None) -> SmallRow | None:
    if glance is None:
        return None
    numbers = range(1, rank.pipes + 1)
    return SmallRow(
        {rank.key_of(n).semitone for n in glance.read if n in numbers},
        {rank.key_of(n).semitone: cents for n, cents in glance.strays.items() if n in numbers},
    )


def _sign(state: RankState) -> str:
    """Which sign is shown before a rank: its word is ``organ.sign_…``."""
    if state.chart is None:
        return "unheard"
    if state.faults or state.strays > _MANY * state.rank.pipes:
        return "many"
    return "few" if state.strays else "in"


PAGE = Page(
    "organ",
    (Door("/organ/{organ:int}", organ_page, Permission.READ_RECORDS),),
    place="/organ/{organ}",
    rank=0,
)
