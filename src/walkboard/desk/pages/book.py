"""The book: its visits with their readings and works, search, sheets, and exports."""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.book.records import Fork, Found, KeptOrgan, KeptVisit
from walkboard.book.visits.summaries import VisitSummary
from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.pages.book_export import export, export_rows, make
from walkboard.desk.pages.fault_forms import plain, word_of
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.preferences import preferences_of
from walkboard.errors import InputError
from walkboard.organ.model import Organ, PipeRef
from walkboard.sheets.keyholder import full_stop_words
from walkboard.sheets.wording import rank_words
from walkboard.work.faults import place_words
from walkboard.work.pipe_offsets import latest_air
from walkboard.work.snapshot import organ_at

LONGEST_SEARCH, LONGEST_NOTE = 200, 4000
MOST_FOUND = 200


def book(request: Request) -> Response:
    """Every visit, newest first; what a search found; exports."""
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    words = plain(request.query_params.get("words", ""), LONGEST_SEARCH)
    found = [f for f in desk.book.search(words) if f.organ_id == kept.id] if words else []
    sums = desk.book.visit_summaries(kept.id)
    return render(
        request,
        "book.html",
        organ_name=organ.name,
        visits=[_visit_row(visit, sums[visit.id]) for visit in reversed(desk.book.visits(kept.id))],
        words=words,
        found=[_found(kept, one) for one in found[:MOST_FOUND]],
        found_all=len(found),
        descriptions=desk.book.organ_versions(kept.id),
        longest_search=LONGEST_SEARCH,
        exports=export_rows(desk, kept),
    )


def visit(request: Request) -> Response:
    """The record of one visit; of the readings those of the rank that is asked for."""
    desk = desk_of(request)
    kept, record = _visit(request)
    organ = organ_at(desk.book, record)
    recordings = desk.book.recordings(record.id)
    best = desk.book.best_readings(record.id)
    read = {pipe.rank for pipe in best}
    ranks = [rank for rank in organ.ranks if rank.id in read]
    asked = request.query_params.get("rank", ranks[0].id if ranks else "")
    if asked:
        organ.rank(asked)
    name_key = preferences_of(request).key
    return render(
        request,
        "book/visit.html",
        visit=record,
        organ_name=organ.name,
        air=latest_air(record),
        divisions=organ.divisions,
        works=_works(request, organ, record),
        recordings=recordings,
        stop_names={stop.id: full_stop_words(organ, stop) for stop in organ.stops},
        ranks=ranks,
        rank_names={rank.id: rank_words(organ, rank) for rank in ranks},
        rank=asked,
        readings=[
            {
                "pipe": pipe,
                "key": name_key(organ.rank(asked).key_of(pipe.number)),
                "reading": best[pipe].reading,
            }
            for pipe in sorted(p for p in best if p.rank == asked)
        ],
        fixed=[
            {
                "fault": fault,
                "name": say(f"faults.name_{word_of(fault.kind)}"),
                "where": place_words(organ, fault, name_key),
            }
            for fault in desk.book.faults(kept.id)
            if fault.mended_in_visit == record.id
        ],
        has_plan=desk.book.current_plan(record.id) is not None,
        longest_note=LONGEST_NOTE,
        recorded=desk.book.recorded_at_visit(record.id),
        missed=_missed(request, kept, record),
    )


async def note(request: Request) -> Response:
    """Add a note to a visit, open or closed."""
    given = await request.form(max_files=0, max_fields=4)
    return await run_in_threadpool(_note, request, given)


def _note(request: Request, given: FormData) -> Response:
    _, record = _visit(request)
    words = plain(given.get("words", ""), LONGEST_NOTE)
    if not words:
        raise InputError("The note is empty.", fix="Write it first.")
    desk_of(request).book.add_note(record.id, words)
    return RedirectResponse(f"{request.url.path.removesuffix('/note')}#notes", 303)


def close_again(request: Request) -> Response:
    """Close a visit with the work that its closing missed."""
    _, record = _visit(request)
    book = desk_of(request).book
    book.close_visit(record.id, record.closing_note)
    return RedirectResponse(request.url.path.removesuffix("/close"), 303)


def _missed(request: Request, kept: KeptOrgan, record: KeptVisit) -> Fork | None:
    """What was done at a visit on a device that did not know that it was closed."""
    forks = desk_of(request).book.forks(kept.id)
    return next((fork for fork in forks if fork.visit_id == record.id), None)


def _visit(request: Request) -> tuple[KeptOrgan, KeptVisit]:
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    number = int(request.path_params["visit"])
    found = next((v for v in desk.book.visits(kept.id) if v.id == number), None)
    if found is None:
        raise HTTPException(404)
    return kept, found


def _visit_row(record: KeptVisit, summary: VisitSummary) -> dict[str, Any]:
    return {
        "visit": record,
        "read": summary.pipes_read,
        "done": summary.pipes_done,
        "has_plan": summary.has_plan,
    }


def _works(request: Request, organ: Organ, record: KeptVisit) -> list[dict[str, Any]]:
    """What was planned, in order, with its outcome; then what was done outside the plan."""
    seen = desk_of(request).book
    name_key = preferences_of(request).key
    plan = seen.current_plan(record.id)
    planned = {} if plan is None else {item.pipe: item for item in plan.plan.items}
    ticks = seen.pipe_states(record.id)

    def row(pipe: PipeRef) -> dict[str, Any]:
        rank = organ.rank(pipe.rank)
        tick = ticks.get(pipe)
        return {
            "pipe": pipe,
            "rank": rank_words(organ, rank),
            "key": name_key(rank.key_of(pipe.number)),
            "cents": planned[pipe].cents if pipe in planned else None,
            "state": "open" if tick is None else tick.state,
            "note": "" if tick is None else tick.note,
            "at": None if tick is None else tick.at,
        }

    return [row(pipe) for pipe in [*planned, *(p for p in sorted(ticks) if p not in planned)]]


def _found(kept: KeptOrgan, one: Found) -> dict[str, Any]:
    at = f"/organ/{kept.id}"
    address = {
        "fault": f"{at}/faults/{one.id}",
        "event": f"{at}/calendar",
    }.get(one.kind, f"{at}/book/visit/{one.visit_id}")
    return {"found": one, "address": address, "kind": say(f"book.kind_{one.kind}")}


PAGE = Page(
    "book",
    (
        Door("/organ/{organ:int}/book", book, Permission.READ_RECORDS),
        Door("/organ/{organ:int}/book/visit/{visit:int}", visit, Permission.READ_RECORDS),
        Door("/organ/{organ:int}/book/visit/{visit:int}/note", note, Permission.RECORD, ("POST",)),
        Door(
            "/organ/{organ:int}/book/visit/{visit:int}/close",
            close_again,
            Permission.RECORD,
            ("POST",),
        ),
        Door("/organ/{organ:int}/book/export/{file}", export, Permission.READ_RECORDS),
        Door("/organ/{organ:int}/book/make/{ending}", make, Permission.TAKE_BOOK, ("POST",)),
    ),
    place="/organ/{organ}/book",
    rank=80,
)
