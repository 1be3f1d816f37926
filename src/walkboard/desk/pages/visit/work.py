"""The worklist at the desk: in the order of work, ticked off here or on a phone."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from walkboard.desk.pages.visit.frame import differ_words, render_step, to_visit, visit_at_work
from walkboard.sheets.cautions import DEFERENCE, cautions_for
from walkboard.work.worklist import progress_of, work_groups


def work(request: Request) -> Response:
    """The worklist."""
    at = visit_at_work(request)
    if at is None:
        return to_visit(request)
    groups = work_groups(at.desk.book, at.visit)
    if groups is None:
        return render_step(request, at, "work", "visit/work_nothing.html")
    ranks = [group.rank for group in groups]
    divisions = [at.organ.division(d) for d in dict.fromkeys(r.division for r in ranks)]
    return render_step(
        request,
        at,
        "work",
        "visit/work.html",
        groups=groups,
        progress=progress_of(groups),
        differing=differ_words(at),
        cautions=cautions_for(ranks, divisions),
        deference=DEFERENCE,
    )
