"""Reads a whole stop list, line by line; no line is dropped."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from walkboard.organ.stoplist.changes import Change, changed
from walkboard.organ.stoplist.couplers import read_couplers
from walkboard.organ.stoplist.entries import DivisionEntry, Guess, Line, Row, Said, State
from walkboard.organ.stoplist.facts import read_fact
from walkboard.organ.stoplist.figures import tidy
from walkboard.organ.stoplist.headings import (
    USUAL_KEYS,
    compass_row,
    heading_row,
    heading_with_more_row,
    title_row,
)
from walkboard.organ.stoplist.keys import Compass
from walkboard.organ.stoplist.names import Role, find, plain
from walkboard.organ.stoplist.so_far import USUAL_MANUAL, SoFar
from walkboard.organ.stoplist.sources import taken_from
from walkboard.organ.stoplist.stops import read_stop, without_marks
from walkboard.organ.stoplist.tables import lines_of

MOST_TITLE_WORDS = 12  # a longer first line is a remark; chosen


_HEADINGS = {
    "couplers", "accessories", "koppeln", "spielhilfen", "nebenzuge", "accouplements",
    "koppelingen",
    "specification", "disposition", "stop list", "dispositie", "composition", "unioni", "accessori",
    "acoplamientos", "combinations", "nevenregisters", "tirasses", "pedales de combinaisons",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class StopList:
    """A stop list as understood.

    Attributes
    ----------
    rows : tuple of Row
        One for each non-blank line, in the list's order; a table's cells column by column.
    divisions : tuple of DivisionEntry
    """

    rows: tuple[Row, ...]
    divisions: tuple[DivisionEntry, ...]


def read_stop_list(text: str, changes: Mapping[str, Change] = MappingProxyType({})) -> StopList:
    """Read a stop list as people write it.

    Parameters
    ----------
    text : str
        The list: typed, or cells copied from a table, or CSV.
    changes : mapping of str to Change
        Someone's corrections of lines, by `Line.id`; they override every guess.

    Returns
    -------
    StopList
    """
    lines = lines_of(text)
    first = _read_all(lines, changes, {})
    counted = _keys_by_pipes(first)
    last = _read_all(lines, changes, counted) if counted else first
    return StopList(tuple(_as_their_sources(last.rows)), tuple(last.divisions.values()))


def _as_their_sources(rows: list[Row]) -> list[Row]:
    """The same, with borrowed and extended stops built like the stops whose pipes they use."""
    own = [row.stop for row in rows if row.stop is not None and row.stop.source is None]
    found = []
    for row in rows:
        stop = row.stop
        source = None
        if stop is not None and stop.source is not None and stop.role != Role.RESULTANT:
            source = taken_from(stop, own)
        if stop is None or source is None:
            found.append(row)
            continue
        built = replace(stop, family=source.family, tuned_by=source.tuned_by)
        if stop.feet == source.feet:
            built = replace(built, build=source.build)
        guesses = tuple(g for g in row.guesses if g.field not in {"family", "tuned_by"})
        state = row.state
        if state is State.GUESSED and all(guess.usual for guess in guesses):
            state = State.UNDERSTOOD
        found.append(replace(row, stop=built, guesses=guesses, state=state))
    return found


def _read_all(
    lines: list[Line], changes: Mapping[str, Change], counted: Mapping[str, int]
) -> SoFar:
    state = SoFar(counted=counted)
    for line in lines:
        change = changes.get(line.id, {})
        row = changed(_read(line, state, change), change, state.context())
        _take(row, state)
    return state


def _keys_by_pipes(state: SoFar) -> dict[str, int]:
    """Set each division's keys by the number of pipes that most of its stops have."""
    pipes: dict[str, Counter[int]] = {}
    for row in state.rows:
        stop = row.stop
        if stop is not None and stop.pipes and stop.rows == 1 and stop.source is None:
            pipes.setdefault(stop.division, Counter())[stop.pipes] += 1
    commonest = {id_: counts.most_common(1)[0][0] for id_, counts in pipes.items()}
    return {id_: keys for id_, keys in commonest.items() if keys in USUAL_KEYS}


def _take(row: Row, state: SoFar) -> None:
    state.rows.append(row)
    if row.division is not None:
        state.division = row.division
        state.divisions[row.division.id] = row.division
    if row.stop is not None:
        found = find(row.stop.name)
        if found is not None:
            # a name found in only one language shows the list's language
            languages = {entry.language for entry in found.entries}
            state.languages.update(languages if len(languages) < 3 else ())
        if state.division is None and row.stop.division:
            state.division = state.divisions[row.stop.division]
    _take_compass_and_wind(row, state)


def _take_compass_and_wind(row: Row, state: SoFar) -> None:
    if "wind_mm" in row.values:
        mm = float(row.values["wind_mm"])
        for id_, division in state.divisions.items():
            if division.wind_mm is None:
                state.divisions[id_] = replace(division, wind_mm=mm)
    if row.said in {Said.COMPASS, Said.TITLE}:
        for which, is_pedal in (("manual", False), ("pedal", True)):
            if which not in row.values:
                continue
            lowest = str(row.values.get(f"{which}_lowest", "C2"))
            octave = row.values.get(f"{which}_octave")
            given = Compass(
                int(row.values[which]),
                lowest,
                None if octave is None else str(octave),
                tuple(str(row.values.get(f"{which}_missing", "")).split()),
            )
            state.given[is_pedal] = given
            for id_, division in state.divisions.items():
                if division.is_pedal == is_pedal:
                    state.divisions[id_] = replace(
                        division,
                        keys=given.keys,
                        lowest=given.lowest,
                        octave=given.octave,
                        missing=given.missing,
                    )


def _read(line: Line, state: SoFar, change: Change) -> Row:
    text = tidy(line.text)
    bare, number = without_marks(tidy(line.text) if "\t" not in line.text else line.text)
    bare = tidy(re.sub(r"\s*[\t|]\s*", " ", bare)).strip(" *=_|")
    if not re.search(r"[^\W_]", text) or not bare:
        return Row(line, Said.REMARK)
    if change.get("as") in {"remark", "title"}:
        return Row(line, Said(change["as"]))
    if plain(bare.strip(" :")) in _HEADINGS:
        return Row(line, Said.REMARK)
    found = heading_row(line, bare, state)
    if found is not None:
        return found
    for read in (read_fact,):
        fact = read(line, bare)
        if fact is not None:
            return fact
    context = state.context()
    compass = compass_row(line, bare)
    if compass is not None:
        return compass
    effect = _effect(line, bare, state)
    if effect is not None:
        return effect
    couplers = read_couplers(bare, list(context.divisions), context.division)
    if couplers is not None:
        guesses = (Guess("from", "", f"{couplers.why}.".capitalize()),) if couplers.why else ()
        return Row(
            line,
            Said.COUPLER,
            State.GUESSED if guesses else State.UNDERSTOOD,
            guesses,
            couplers=couplers.couplers,
        )
    more = heading_with_more_row(line, bare, state)
    if more is not None:
        return more
    if _is_table_head(line, bare, state):
        return Row(line, Said.REMARK)
    if state.division is None and _is_title(bare, line, state):
        return title_row(line, bare)
    stop = read_stop(line, bare, number, context)
    if stop is not None:
        return _on_some_division(stop, state)
    question = "What is this? A stop, a division or only a remark?"
    return Row(line, Said.UNKNOWN, State.ASKED, question=question)


def _effect(line: Line, bare: str, state: SoFar) -> Row | None:
    """A tremulant or a toy counter."""
    if re.search(r"\d", bare):
        return None
    found = find(re.sub(r"\([^)]*\)", " ", bare))
    roles = set() if found is None else {entry.kind.role for entry in found.entries}
    if found is None or not roles & {Role.TOY, Role.TREMULANT}:
        return None
    if found.why and not found.why.startswith("the name contains"):
        return None
    guesses: tuple[Guess, ...] = ()
    if Role.TREMULANT in roles:
        own = state.division
        if own is None:
            return None
        guesses = (Guess("divisions", own.id, "It is listed under this division.", usual=True),)
        if own.is_pedal:
            why = "It is listed under the pedal, but may act on the whole organ."
            guesses = (Guess("divisions", own.id, why),)
        state_of = State.GUESSED if own.is_pedal else State.UNDERSTOOD
        values = MappingProxyType({"division": own.id, "name": bare})
        return Row(line, Said.TREMULANT, state_of, guesses, values=values)
    return Row(line, Said.TOY, values=MappingProxyType({"name": bare}))


def _is_title(bare: str, line: Line, state: SoFar) -> bool:
    """Whether a line above all divisions and stops is the organ's name."""
    if any(row.said in {Said.TITLE, Said.STOP} for row in state.rows):
        return False
    if re.search(r"(?<!\w)(?:\d{1,2}\s*'|\d{1,2}\s*(?:ft|vt|fuß)\b|\b(?:32|16|8|4|2)\s*$)", bare):
        return False
    del line
    named = find(re.sub(r"\s+bass$", "", bare, flags=re.IGNORECASE))
    if named is not None and not named.why:
        return False  # a stop without a length
    return len(bare.split()) <= MOST_TITLE_WORDS


def _is_table_head(line: Line, bare: str, state: SoFar) -> bool:
    if state.rows or line.column:
        return False
    words = plain(bare).split()
    return bool({"division", "werk", "stop", "register"} & set(words)) and len(words) <= 8


def _on_some_division(row: Row, state: SoFar) -> Row:
    """Put a stop above all headings on a manual created for it."""
    if row.stop is None or state.division is not None:
        return row
    compass = state.given.get(False, Compass(USUAL_MANUAL))
    manual = DivisionEntry(
        "manual",
        "Manual",
        compass.keys,
        compass.lowest,
        octave=compass.octave,
        missing=compass.missing,
    )
    state.division = manual
    state.divisions[manual.id] = manual
    why = "No division is named above it."
    return replace(
        row,
        state=State.GUESSED,
        stop=replace(row.stop, division=manual.id),
        guesses=(*row.guesses, Guess("division", manual.id, why)),
    )
