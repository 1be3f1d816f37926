"""What the pages of a visit have in common: which visit it is, its steps, its frame."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.book.records import KeptOrgan, KeptVisit
from walkboard.desk.background import upload_queue
from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.rendering import render
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.figures import clock, decimal
from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.work.pipe_offsets import latest_air
from walkboard.work.snapshot import organ_at
from walkboard.work.ticking import disagreements
from walkboard.work.worklist import progress_of, work_groups

if TYPE_CHECKING:
    from walkboard.book.cache.seen import SeenBook
    from walkboard.desk.live.hub import Hub

STEPS = ("arrival", "listen", "plan", "work", "close")


@dataclass(frozen=True, slots=True)
class AtVisit:
    """An open visit, with the organ as it was described when it was opened."""

    desk: Desk
    kept: KeptOrgan
    organ: Organ
    visit: KeptVisit

    @property
    def book(self) -> SeenBook:
        """The book that it is in."""
        return self.desk.book

    @property
    def hub(self) -> Hub:
        """Where pages are notified of news."""
        return self.desk.hub


def visit_at_work(request: Request) -> AtVisit | None:
    """The open visit to the organ of an address; None if none is open."""
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    visit = open_visit(desk, kept.id)
    return None if visit is None else AtVisit(desk, kept, organ_at(desk.book, visit), visit)


def open_visit(desk: Desk, organ_id: int) -> KeptVisit | None:
    """The open visit to an organ, or None."""
    return next((v for v in reversed(desk.book.visits(organ_id)) if v.is_open), None)


def asked_visit(request: Request) -> AtVisit:
    """The visit of an address with ``{visit:int}``, open or closed.

    Raises
    ------
    HTTPException
        404 where the organ has none of that number.
    """
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    number = int(request.path_params["visit"])
    visit = next((v for v in desk.book.visits(kept.id) if v.id == number), None)
    if visit is None:
        raise HTTPException(404)
    return AtVisit(desk, kept, organ_at(desk.book, visit), visit)


def surely_at_work(request: Request) -> AtVisit:
    """The open visit; InputError if none is open."""
    found = visit_at_work(request)
    if found is None:
        raise InputError(say("visit.none_open_what"), fix=say("visit.none_open_fix"))
    return found


def to_visit(request: Request, step: str = "") -> Response:
    """To a step of the visit, or to where one is opened."""
    organ_id = request.path_params["organ"]
    return RedirectResponse(f"/organ/{organ_id}/visit{f'/{step}' if step else ''}", 303)


def render_step(request: Request, at: AtVisit, step: str, template: str, **values: Any) -> Response:
    """A page of the visit with its steps above it; ``status`` among the values is the answer's."""
    return render(
        request,
        template,
        **{
            "organ": at.organ,
            "visit": at.visit,
            "steps": steps_of(at, step),
            "trouble": None,
            **values,
        },
    )


def steps_of(at: AtVisit, here: str) -> list[Mapping[str, Any]]:
    """The steps of a visit with how far each has come."""
    states = {
        "arrival": _air_words(at),
        "listen": _listen_words(at),
        "plan": "",
        "work": "",
        "close": "",
    }
    plan = at.desk.book.current_plan(at.visit.id)
    if plan is not None:
        states["plan"] = say("visit.step_minutes", n=round(plan.plan.minutes))
        groups = work_groups(at.desk.book, at.visit) or ()
        progress = progress_of(groups)
        states["work"] = say("visit.step_done", done=progress.done, n=progress.pipes)
    return [
        {
            "address": f"/organ/{at.kept.id}/visit/{step}",
            "words": say(f"visit.step_{step}"),
            "state": states[step],
            "is_here": step == here,
        }
        for step in STEPS
    ]


def number_in(text: str, what: str) -> float | None:
    """A number as typed, with point or comma; None if nothing is.

    Raises
    ------
    InputError
        If it is not one.
    """
    plain = text.strip().replace(",", ".").replace("−", "-")
    if not plain:
        return None
    try:
        value = float(plain)
    except ValueError:
        value = float("nan")
    if not -1e6 < value < 1e6:
        raise InputError(
            say("visit.no_number_what", text=text.strip()[:20], what=what),
            fix=say("visit.no_number_fix"),
        )
    return value


def _air_words(at: AtVisit) -> str:
    airs = latest_air(at.visit).celsius.values()
    if not airs:
        return ""
    low, high = decimal(min(airs)), decimal(max(airs))
    return say("visit.step_air" if low == high else "visit.step_airs", low=low, high=high)


def _listen_words(at: AtVisit) -> str:
    heard = len(at.desk.book.recording_airs(at.visit.id))
    coming = len(upload_queue.waiting(at.desk.book.path, at.visit.id))
    if coming:
        return say("visit.step_coming", heard=heard, n=coming)
    return say("visit.step_heard", n=heard) if heard else ""


def differ_words(at: AtVisit) -> dict[str, str]:
    """What to say of each pipe that one device did and another skipped."""
    return {
        pipe: say(
            "pipe.differ",
            done_by=done.device or say("pipe.desk_did"),
            done_at=clock(done.at),
            skipped_by=skipped.device or say("pipe.desk_did"),
            skipped_at=clock(skipped.at),
        )
        for pipe, (done, skipped) in disagreements(at.desk.book.ticks(at.visit.id)).items()
    }
