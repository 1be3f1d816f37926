"""Applies a person's corrections of a line in place of the guesses."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from walkboard.organ.checking_builds import TUNED_BY
from walkboard.organ.kinds import Family, TunedBy
from walkboard.organ.stoplist.context import Context
from walkboard.organ.stoplist.divisions import heading
from walkboard.organ.stoplist.entries import DivisionEntry, Row, Said, State, StopEntry
from walkboard.organ.stoplist.figures import length, shown, take_feet, take_ranks, tidy
from walkboard.organ.stoplist.names import plain
from walkboard.organ.stoplist.stops import without_marks
from walkboard.scales.key_names import read_key

Change = Mapping[str, str]
"""Field to value, named as in the page's table; ``as`` says what the line is."""


def changed(row: Row, change: Change, context: Context) -> Row:
    """A row with someone's corrections; a corrected field is no longer a guess."""
    if not change:
        return row
    row = _said(row, change, context)
    if row.stop is not None:
        row = replace(row, stop=_stop(row.stop, change))
    if row.division is not None:
        row = replace(row, division=_division(row.division, change))
    guesses = tuple(guess for guess in row.guesses if guess.field not in change)
    if change.get("as") == "as read":
        guesses = tuple(replace(guess, usual=True) for guess in guesses)
    if row.state is State.GUESSED and all(guess.usual for guess in guesses):
        row = replace(row, state=State.UNDERSTOOD)
    return replace(row, guesses=guesses)


def _said(row: Row, change: Change, context: Context) -> Row:
    """The row as another kind of line, if someone says so."""
    kind = change.get("as", "")
    if kind == "stop" or (not kind and row.said is Said.UNKNOWN and "family" in change):
        if row.stop is not None:
            return row
        family = Family(change.get("family", "open"))
        text, number = without_marks(tidy(row.line.text))
        feet, ranks = take_feet(text), take_ranks(text)
        stop = StopEntry(
            name=re.sub(r"\s+", " ", text if feet is None else feet.rest).strip(" .'"),
            division=context.division or "manual",
            family=family,
            tuned_by=TUNED_BY[family][0],
            feet="8" if feet is None else feet.value,
            rows=1 if ranks is None else int(ranks.value),
            role="" if ranks is None else "mixture",
            number=number,
        )
        return replace(row, said=Said.STOP, state=State.UNDERSTOOD, question="", stop=stop)
    if kind == "division" and row.division is None:
        name = tidy(row.line.text).strip(" :")
        head = heading(name)
        id_ = plain(name).replace(" ", "-") if head is None else head.id
        division = DivisionEntry(id_ or "division", name, 56)
        return replace(
            row, said=Said.DIVISION, state=State.UNDERSTOOD, question="", division=division
        )
    return row


def _stop(stop: StopEntry, change: Change) -> StopEntry:
    if change.get("family") in set(Family) and change["family"] != stop.family:
        family = Family(change["family"])
        stop = replace(stop, family=family, tuned_by=TUNED_BY[family][0])
    if change.get("tuned_by") in set(TunedBy):
        stop = replace(stop, tuned_by=TunedBy(change["tuned_by"]))
    if change.get("name", "").strip():
        stop = replace(stop, name=change["name"].strip())
    feet = length(tidy(change.get("feet", "")).rstrip("'"))
    if feet is not None:
        stop = replace(stop, feet=shown(feet[0]))
    for field in ("from", "to"):
        if field in change:
            key = read_key(change[field])
            name = None if key is None else key.name
            stop = replace(stop, from_key=name) if field == "from" else replace(stop, to_key=name)
    if change.get("rows", "").isdecimal() and 1 <= int(change["rows"]) <= 12:
        rows = int(change["rows"])
        role = stop.role or ("mixture" if rows > 1 else "")
        stop = replace(
            stop, rows=rows, role=role, intervals=stop.intervals if rows == stop.rows else ()
        )
    if "celeste" in change:
        role = "celeste" if change["celeste"] in {"true", "yes", "on"} else ""
        if stop.role in {"", "celeste"}:
            stop = replace(stop, role=role)
    return stop


def _division(division: DivisionEntry, change: Change) -> DivisionEntry:
    if change.get("name", "").strip():
        division = replace(division, name=change["name"].strip())
    if change.get("keys", "").isdecimal() and 1 <= int(change["keys"]) <= 88:
        division = replace(division, keys=int(change["keys"]))
    key = read_key(change.get("from", ""))
    if key is not None:
        division = replace(division, lowest=key.name)
    if "enclosed" in change:
        division = replace(division, enclosed=change["enclosed"] in {"true", "yes", "on"})
    return division
