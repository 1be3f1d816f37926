"""Turns tables into lines: CSV, cells of a spreadsheet, divisions side by side on a page."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence

from walkboard.organ.stoplist.divisions import heading
from walkboard.organ.stoplist.entries import Line
from walkboard.organ.stoplist.keys import take_compass
from walkboard.organ.stoplist.names import plain

# Column headings of tables with one stop per row.
_HEADS = {
    "division": {"division", "werk", "teilwerk", "clavier", "plan", "werken", "sezione", "manual",
                 "department", "organ", "keyboard", "corpo", "cuerpo"},
    "stop": {"stop", "register", "jeu", "name", "stop name", "registro", "juego", "registers",
             "rank"},
    "feet": {"pitch", "feet", "fuss", "fusslage", "fusz", "pieds", "pied", "voet", "piedi", "pies",
             "length", "lage", "ft"},
    "pipes": {"pipes", "pfeifen", "tuyaux", "pijpen", "canne", "tubos", "no of pipes"},
    "ranks": {"ranks", "fach", "rangs", "sterk", "file", "hileras", "rks"},
    "from": {"from", "compass", "ab", "umfang"},
    "remark": {"remarks", "notes", "bemerkung", "material", "remark", "note"},
}  # fmt: skip
LEAST_ROWS = 2  # least rows below a heading that make a table; chosen


def lines_of(text: str) -> list[Line]:
    """The lines of a list, with tables split up; drops blank lines, keeps line numbers."""
    raw = text.replace("\r\n", "\n").replace("\r", "\n").removeprefix("\ufeff").split("\n")
    cells = _cells(raw)
    if cells is not None:
        by_column = _stops_by_row(cells) or _side_by_side(cells)
        if by_column is not None:
            return by_column
    return [Line(number, one.strip()) for number, one in enumerate(raw, 1) if one.strip()]


def _cells(raw: Sequence[str]) -> list[tuple[int, list[str]]] | None:
    """Rows of cells with their line numbers, if most lines are divided the same way."""
    lines = [(number, one) for number, one in enumerate(raw, 1) if one.strip()]
    for mark in ("\t", ";", "|", ","):
        divided = [one for _, one in lines if mark in one]
        if len(divided) > 0.6 * len(lines) and len(divided) > LEAST_ROWS:
            rows = list(csv.reader((one for _, one in lines), delimiter=mark))
            if len(rows) != len(lines):
                return None
            return [
                (number, [cell.strip() for cell in row])
                for (number, _), row in zip(lines, rows, strict=True)
            ]
    return None


def _stops_by_row(rows: list[tuple[int, list[str]]]) -> list[Line] | None:
    """A table with one stop per row and column headings."""
    number, head = rows[0]
    columns: dict[str, int] = {}
    for place, cell in enumerate(head):
        for kind, words in _HEADS.items():
            if plain(cell) in words:
                columns.setdefault(kind, place)
    if "stop" not in columns:
        return None
    found = [Line(number, "; ".join(head))]
    division = ""
    for at, row in rows[1:]:
        values = {kind: row[place] for kind, place in columns.items() if place < len(row)}
        if values.get("division") and values["division"] != division:
            division = values["division"]
            found.append(Line(at, division, 1))
        text = " ".join(filter(None, (values.get(k, "") for k in ("stop", "ranks", "feet"))))
        if values.get("from"):
            text += f" (from {values['from']})"
        if values.get("pipes"):
            text += f" {values['pipes']} pipes"
        if text.strip():
            found.append(Line(at, text, 2 if division else 0))
        elif not values.get("division") or values["division"] == division:
            found.append(Line(at, "; ".join(row)))  # a row without a stop is asked about
    return found


def _side_by_side(rows: list[tuple[int, list[str]]]) -> list[Line] | None:
    """A table with a division in each column, its name at the top."""
    number, head = rows[0]
    named = [bool(cell) and _is_heading(cell) for cell in head]
    if sum(named) < 2 or not all(
        is_named or not cell for is_named, cell in zip(named, head, strict=True)
    ):
        return None
    found: list[Line] = []
    for place, cell in enumerate(head):
        if not cell:
            continue
        found.append(Line(number, cell, place + 1))
        found += [
            Line(at, row[place], place + 1)
            for at, row in rows[1:]
            if place < len(row) and row[place]
        ]
    return found


def _is_heading(cell: str) -> bool:
    compass = take_compass(cell)
    return heading(re.sub(r"\s+", " ", cell if compass is None else compass.rest)) is not None
