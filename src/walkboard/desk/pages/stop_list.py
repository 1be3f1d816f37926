"""A stop list is pasted or typed on the left; the organ appears on the right as a table."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from walkboard.desk.drawing.organ import organ_drawing
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.figures import in_a_field
from walkboard.desk.text.preferences import Preferences, preferences_of
from walkboard.errors import InputError
from walkboard.languages.translation import translate
from walkboard.organ.checking_builds import TUNED_BY
from walkboard.organ.kinds import Family
from walkboard.organ.stoplist.entries import Row, Said, State
from walkboard.parsing import json_value
from walkboard.scales.keys import Key
from walkboard.work.organ_from import (
    LARGEST_BYTES,
    FromStops,
    changes_by_line,
    organ_from_stops,
    row_keys,
    text_of_stops,
)


class Asked(BaseModel):
    """What the page sends while someone types: the list, and the changes in the table."""

    model_config = ConfigDict(extra="forbid")

    text: str = Field(max_length=LARGEST_BYTES)
    changes: dict[str, dict[str, str]] = Field(default_factory=dict)


def new(request: Request) -> Response:
    """The empty list to begin with."""
    return render(request, "stop_list.html", families=list(Family), ways=_ways())


async def read(request: Request) -> Response:
    """What the list says so far, as JSON."""
    try:
        asked = Asked.model_validate(json_value(await request.body()))
    except (ValidationError, ValueError):
        return JSONResponse({"what": say("stop_list.not_read")}, 400)
    chosen = preferences_of(request)
    return JSONResponse(await run_in_threadpool(_answer, asked, chosen))


async def take_file(request: Request) -> Response:
    """The text of a file with a stop list: text, CSV or XLSX."""
    data = await request.body()
    try:
        text = await run_in_threadpool(text_of_stops, data, "")
    except InputError as error:
        return JSONResponse({"what": f"{translate(error.what)} {translate(error.fix)}"}, 400)
    return JSONResponse({"text": text})


def _answer(asked: Asked, chosen: Preferences) -> dict[str, Any]:
    made = organ_from_stops(asked.text, changes_by_line(asked.text, asked.changes))
    keys = row_keys(made.rows)
    states = [row.state for row in made.rows]
    return {
        "rows": [_row(row, key, chosen) for row, key in zip(made.rows, keys, strict=True)],
        "counts": {state.value: states.count(state) for state in State},
        "toml": made.toml if any(row.stop is not None for row in made.rows) else "",
        "size": _size(made),
        "problems": [
            {"field": p.field, "what": translate(p.what), "mend": translate(p.fix)}
            for p in made.problems
        ]
        if any(row.stop is not None for row in made.rows)
        else [],
        "drawing": "" if made.organ is None else str(organ_drawing(made.organ, chosen)),
    }


def _size(made: FromStops) -> str:
    if made.organ is None:
        return ""
    pipes = sum(rank.pipes for rank in made.organ.ranks)
    return say("stop_list.size", stops=len(made.organ.stops), pipes=pipes)


def _row(row: Row, key: str, chosen: Preferences) -> dict[str, Any]:
    """One row of the table: what it is, its cells, and why anything in it was guessed."""
    return {
        "key": key,
        "number": row.line.number,
        "text": row.line.text,
        "said": row.said,
        "state": row.state,
        "is": say(f"stop_list.said_{row.said}"),
        "question": translate(row.question) if row.question else "",
        "why": [translate(guess.why) for guess in row.guesses if not guess.usual],
        "usual": [translate(guess.why) for guess in row.guesses if guess.usual],
        "guessed": sorted({guess.field for guess in row.guesses if not guess.usual}),
        "words": _words(row),
        "cells": _cells(row, chosen),
    }


def _cells(row: Row, chosen: Preferences) -> dict[str, str]:
    if row.stop is not None:
        stop = row.stop
        start = "" if stop.from_key is None else chosen.key(Key.parse(stop.from_key))
        return {
            "name": stop.name,
            "family": stop.family,
            "feet": stop.feet,
            "tuned_by": stop.tuned_by,
            "rows": str(stop.rows),
            "from": start,
        }
    if row.division is not None:
        return {
            "name": row.division.name,
            "keys": str(row.division.keys),
            "enclosed": "true" if row.division.enclosed else "",
        }
    return {}


def _words(row: Row) -> str:
    """What a row says that has no cells to change."""
    if row.said is Said.COUPLER:
        return "; ".join(f"{c.from_division} → {c.to_division}" for c in row.couplers)
    if row.stop is not None:
        return " ".join(translate(guess.why) for guess in row.guesses if guess.field == "plays")
    if row.said is Said.TREMULANT:
        return str(row.values["division"])
    if row.said is Said.UNKNOWN or row.division is not None:
        return ""
    return ", ".join(
        in_a_field(value) if isinstance(value, float) else value for value in row.values.values()
    )


def _ways() -> list[str]:
    return list(dict.fromkeys(way.value for ways in TUNED_BY.values() for way in ways))


PAGE = Page(
    "stop_list",
    (
        Door("/organs/new", new, Permission.ADD_ORGANS),
        Door(
            "/organs/from", read, Permission.ADD_ORGANS, ("POST",), largest_bytes=2 * LARGEST_BYTES
        ),
        Door(
            "/organs/from-file",
            take_file,
            Permission.ADD_ORGANS,
            ("POST",),
            largest_bytes=LARGEST_BYTES,
        ),
    ),
)
