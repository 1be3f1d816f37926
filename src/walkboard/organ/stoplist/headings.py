"""Reads headings: the organ's name, divisions with compass and wind, and lines about compasses."""

from __future__ import annotations

import re
from types import MappingProxyType

from walkboard.organ.stoplist.divisions import ATTACHED, Heading, heading, heading_with_more
from walkboard.organ.stoplist.entries import DivisionEntry, Guess, Line, Row, Said, State
from walkboard.organ.stoplist.facts import WIND_BESIDE, read_fact, wind_mm
from walkboard.organ.stoplist.figures import take_feet
from walkboard.organ.stoplist.keys import Compass, take_compass
from walkboard.organ.stoplist.names import find, plain
from walkboard.organ.stoplist.so_far import USUAL_MANUAL, USUAL_PEDAL, SoFar

USUAL_KEYS = range(24, 74)  # plausible numbers of keys or pipes; chosen
_WITH = re.compile(r"(?:mit|with|avec|met|con)\b", re.IGNORECASE)


def heading_row(line: Line, bare: str, state: SoFar) -> Row | None:
    """The row of a division's heading, with its compass and wind."""
    wind = WIND_BESIDE.search(bare)
    mm = None
    rest = bare
    if wind is not None and re.search(r"wind|pressure|notes|keys", bare, re.IGNORECASE):
        mm = wind_mm(wind[1], wind[2])
        rest = bare[: wind.start()] + " " + bare[wind.end() :]
    compass = take_compass(rest, is_pedal="ped" in plain(rest) or "péd" in rest.lower())
    head = heading(
        re.sub(
            r"\b[Cc]ompass\b|\([\s,]*\)|\bwind\b", " ", rest if compass is None else compass.rest
        )
    )
    if head is None:
        alone = re.fullmatch(r"(.*?)[\s:,-]+(\d{2})", rest)  # Manual 56
        if alone is None or int(alone[2]) not in USUAL_KEYS:
            return None
        head = heading(alone[1])
        if head is None:
            return None
        compass = Compass(int(alone[2]))
    if compass is None and re.search(r"(?<!\w)(?:\d{1,2}\s*'|(?:32|16|8|4|2)\s*$)", bare):
        return None  # a stop named like a division, such as Bombarde 16'
    return Row(line, Said.DIVISION, *_division(head, compass, mm, bare, state))


def heading_with_more_row(line: Line, bare: str, state: SoFar) -> Row | None:
    """The row of a heading with words after its name that are neither compass nor wind."""
    compass = take_compass(bare, is_pedal="ped" in plain(bare))
    found = heading_with_more(bare if compass is None else compass.rest)
    if found is None or (take_feet(bare) is not None and compass is None):
        return None
    head, more = found
    if find(more) is not None and compass is None and not _WITH.match(more):
        return None
    said, guesses, question, division = _division(head, compass, None, bare, state)
    del said
    why = f"The rest of the line is not understood: {more}."
    return Row(
        line, Said.DIVISION, State.GUESSED, (*guesses, Guess("name", head.name, why)), question,
        division,
    )  # fmt: skip


def title_row(line: Line, bare: str) -> Row:
    """The organ's name, with compass, pitch and wind from the same line."""
    values: dict[str, str | float] = {}
    compass = take_compass(bare)
    if compass is not None and compass.keys > USUAL_PEDAL:
        values |= _compass_values("manual", compass)
    fact = read_fact(line, bare)
    if fact is not None:
        values |= fact.values
    return Row(line, Said.TITLE, values=MappingProxyType(values))


def _compass_values(which: str, compass: Compass) -> dict[str, str | float]:
    values: dict[str, str | float] = {which: float(compass.keys)}
    values[f"{which}_lowest"] = compass.lowest
    if compass.octave is not None:
        values[f"{which}_octave"] = compass.octave
    if compass.missing:
        values[f"{which}_missing"] = " ".join(compass.missing)
    return values


def _division(
    head: Heading, compass: Compass | None, mm: float | None, bare: str, state: SoFar
) -> tuple[State, tuple[Guess, ...], str, DivisionEntry]:
    guesses = []
    sure = True
    if compass is None:
        compass = state.given.get(head.is_pedal)
    if compass is None:
        compass = _usual_compass(head, state)
        why = "The list gives no compass: taken as the usual one, or as for the keyboards before."
        if head.id in state.counted:
            compass = Compass(state.counted[head.id])
            why = f"Most of its stops have {compass.keys} pipes."
        guesses.append(Guess("keys", str(compass.keys), why))
        sure = False
    elif compass.why:
        guesses.append(Guess("keys", str(compass.keys), f"{compass.why}.".capitalize()))
        sure = False
    if head.usual and head.enclosed:
        why = f"A {head.name} is usually in a swell box."
        guesses.append(Guess("enclosed", "true", why, usual=True))
    division = DivisionEntry(
        id=head.id,
        name=head.name,
        keys=compass.keys,
        lowest=compass.lowest,
        enclosed=head.enclosed,
        is_pedal=head.is_pedal,
        octave=compass.octave,
        missing=compass.missing,
        wind_mm=mm,
        attached=bool(ATTACHED.search(bare)),
    )
    return State.UNDERSTOOD if sure else State.GUESSED, tuple(guesses), "", division


def _usual_compass(head: Heading, state: SoFar) -> Compass:
    before = [d for d in state.divisions.values() if d.is_pedal == head.is_pedal]
    if before:
        last = before[-1]
        return Compass(last.keys, last.lowest, last.octave, last.missing)
    return Compass(USUAL_PEDAL if head.is_pedal else USUAL_MANUAL)


def compass_row(line: Line, bare: str) -> Row | None:
    """A line about compasses only: ``Compass C–g³ / C–f¹``."""
    words = re.sub(
        r"\b(?:manuals?|manuale?n?|pedal[es]?|pedaal|péd\w*|compass|umfang|tonumfang|omvang|étendue|estensione|extensión)\b\s*:?",
        " ",
        bare,
        flags=re.IGNORECASE,
    )
    parts = [part for part in re.split(r"\s*/\s*|;", bare) if part.strip()]
    found = []
    for place, part in enumerate(parts):
        is_pedal = "ped" in plain(part) or "pedaal" in plain(part) or place > 0
        compass = take_compass(part, is_pedal=is_pedal)
        if compass is None:
            return None
        found.append((is_pedal, compass))
    left = words
    for _, compass in found:
        left = compass.rest if len(parts) == 1 else ""
    left = re.sub(
        r"\b(?:manuals?|manuale?n?|pedal[es]?|pedaal|compass|umfang|tonumfang|omvang|étendue|estensione|extensión)\b\s*:?",
        " ",
        left,
        flags=re.IGNORECASE,
    )
    if not found or re.search(r"[^\W\d]{3}", left):
        return None
    values: dict[str, str | float] = {}
    for is_pedal, compass in found:
        values |= _compass_values("pedal" if is_pedal else "manual", compass)
    return Row(line, Said.COMPASS, values=MappingProxyType(values))
