"""The description of an organ, written in the page, with the checker's messages beside the line."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from walkboard.book.records import KeptOrgan
from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.text.catalogue import say
from walkboard.errors import BookError, DescriptionError, InputError, Problem
from walkboard.languages.translation import translate
from walkboard.organ.checking_builds import TUNED_BY
from walkboard.organ.editing import EDITED, CellChange, edited, rank_cells
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ

LARGEST_BYTES = 1 << 19  # the hall's description has 14 kB

_BEGINNING = """format = 1
name = ""
temperament = "equal"

[pitch]
a4_hz = 440.0
at_celsius = 18.0

[[division]]
id = "great"
name = "Great"
keys = 61

[[rank]]
id = "great.principal8"
division = "great"
name = "Principal"
family = "open"
feet = "8"
pipes = 61
tuned_by = "slide"
"""


def new(request: Request) -> Response:
    """An empty description to begin with."""
    return _draw(request, _BEGINNING, None, ())


def edit(request: Request) -> Response:
    """The current description."""
    kept = desk_of(request).book.organ(_kept(request).id)
    return _draw(request, kept.description, kept, ())


async def check(request: Request) -> Response:
    """Problems of a text, as JSON, while it is being written."""
    text = (await request.body()).decode("utf-8", "replace")
    return JSONResponse(await run_in_threadpool(_checked, text))


class Edit(BaseModel):
    """A change of one cell of the table of ranks."""

    model_config = ConfigDict(extra="forbid")

    text: str = Field(max_length=LARGEST_BYTES)
    id: str = ""
    field: str = ""
    value: str = ""


async def table(request: Request) -> Response:
    """The ranks of a text as a table; with a change, the text with that one value changed."""
    try:
        edit = Edit.model_validate_json(await request.body())
    except ValidationError:
        return JSONResponse({"what": say("description.table_not_read")}, 400)
    return await run_in_threadpool(_table, edit)


def _table(edit: Edit) -> Response:
    text = edit.text
    try:
        if edit.field in EDITED:
            text = edited(text, [CellChange("rank", edit.id, edit.field, edit.value)])
        return JSONResponse({"text": text, "rows": rank_cells(text)})
    except InputError as error:
        return JSONResponse({"what": f"{translate(error.what)} {translate(error.fix)}"}, 400)


async def keep_new(request: Request) -> Response:
    """Add an organ."""
    text = _text(await request.form())
    return await run_in_threadpool(_keep, request, text, None, 0)


async def keep_changed(request: Request) -> Response:
    """Store a changed description as the newest version."""
    form = await request.form()
    version = str(form.get("version", ""))
    kept = await run_in_threadpool(_kept, request)
    return await run_in_threadpool(
        _keep, request, _text(form), kept, int(version) if version.isdecimal() else 0
    )


def _keep(request: Request, text: str, kept: KeptOrgan | None, version: int) -> Response:
    desk = desk_of(request)
    try:
        organ = read_organ(text)
        if kept is not None and kept.version != version:
            problem = Problem(None, "", say("description.changed_meanwhile"), "")
            return _draw(request, text, kept, (problem,), 409)
        saved = _saved(desk, organ, text, kept)
    except DescriptionError as error:
        return _draw(request, text, kept, error.problems, 422)
    except BookError as error:
        return _draw(request, text, kept, (Problem(None, "", error.what, error.fix),), 409)
    return RedirectResponse(f"/organ/{saved.id}", 303)


def _saved(desk: Desk, organ: Organ, text: str, kept: KeptOrgan | None) -> KeptOrgan:
    if kept is not None:
        return desk.book.revise_organ(kept.id, organ.name, text)
    if any(o.name.casefold() == organ.name.casefold() for o in desk.book.organs()):
        raise BookError(
            say("description.name_taken", name=organ.name), fix=say("description.name_fix")
        )
    return desk.book.add_organ(organ.name, text)


def _checked(text: str) -> dict[str, object]:
    try:
        organ = read_organ(text)
    except DescriptionError as error:
        return {
            "problems": [
                {
                    "line": p.line,
                    "field": p.field,
                    "what": translate(p.what),
                    "mend": translate(p.fix),
                }
                for p in error.problems
            ],
            "size": "",
        }
    return {"problems": [], "size": _size(organ)}


def _size(organ: Organ) -> str:
    pipes = sum(rank.pipes for rank in organ.ranks)
    return say("description.size", ranks=len(organ.ranks), pipes=pipes)


def _text(form: object) -> str:
    # A browser sends lines with CR LF (HTML, form submission); the book keeps them as they were.
    value = form.get("text", "")  # type: ignore[attr-defined]
    return str(value).replace("\r\n", "\n")


def _kept(request: Request) -> KeptOrgan:
    # Not `Desk.organ`: a description that the program can no longer read must stay editable.
    desk = desk_of(request)
    return desk.book.organ(int(request.path_params["organ"]))


def _draw(
    request: Request,
    text: str,
    kept: KeptOrgan | None,
    problems: tuple[Problem, ...],
    status: int = 200,
) -> Response:
    return render(
        request,
        "description.html",
        status=status,
        text=text,
        kept=kept,
        problems=problems,
        families=[family.value for family in TUNED_BY],
        ways=list(dict.fromkeys(way.value for ways in TUNED_BY.values() for way in ways)),
        action="/organs/new" if kept is None else f"/organ/{kept.id}/description",
    )


PAGE = Page(
    "description",
    (
        Door("/organs/new/text", new, Permission.ADD_ORGANS),
        Door(
            "/organs/new", keep_new, Permission.ADD_ORGANS, ("POST",), largest_bytes=LARGEST_BYTES
        ),
        Door("/organs/check", check, Permission.DESCRIBE, ("POST",), largest_bytes=LARGEST_BYTES),
        Door(
            "/organs/table", table, Permission.DESCRIBE, ("POST",), largest_bytes=2 * LARGEST_BYTES
        ),
        Door("/organ/{organ:int}/description", edit, Permission.DESCRIBE),
        Door(
            "/organ/{organ:int}/description",
            keep_changed,
            Permission.DESCRIBE,
            ("POST",),
            largest_bytes=LARGEST_BYTES,
        ),
    ),
)
