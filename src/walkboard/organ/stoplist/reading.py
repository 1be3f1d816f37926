"""Reads a whole stop list, line by line; no line is dropped."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from walkboard.organ.stoplist.changes import Change, changed
from walkboard.organ.stoplist.couplers import read_couplers
from walkboard.organ.stoplist.divisions import ATTACHED, Heading, heading, heading_with_more
from walkboard.organ.stoplist.entries import DivisionEntry, Guess, Line, Row, Said, State
from walkboard.organ.stoplist.facts import WIND_BESIDE, read_fact, wind_mm
from walkboard.organ.stoplist.figures import take_feet, tidy
from walkboard.organ.stoplist.keys import Compass, take_compass
from walkboard.organ.stoplist.names import Role, find, plain
from walkboard.organ.stoplist.sources import taken_from
from walkboard.organ.stoplist.stops import Context, read_stop, without_marks
from walkboard.organ.stoplist.tables import lines_of

# Used if the list gives no compass. Common practice, no source.
USUAL_MANUAL, USUAL_PEDAL = 56, 30
USUAL_KEYS = range(24, 74)  # plausible numbers of keys or pipes; chosen
MOST_TITLE_WORDS = 12  # a longer first line is a remark; chosen

_WITH = re.compile(r"(?:mit|with|avec|met|con)\b", re.IGNORECASE)

_HEADINGS = {
    "couplers", "accessories", "koppeln", "spielhilfen", "nebenzuge", "accouplements",
    "koppelingen",
    "specification", "disposition", "stop list", "dispositie", "composition", "unioni", "accessori",
    "acoplamientos", "combinations", "nevenregisters", "tirasses", "pedales de combinaisons",
}  # fmt: skip


@dataclass(slots=True)
class _State:
    """What has been read so far."""

    division: DivisionEntry | None = None
    divisions: dict[str, DivisionEntry] = field(default_factory=dict)
    languages: Counter[str] = field(default_factory=Counter)
    rows: list[Row] = field(default_factory=list)
    counted: Mapping[str, int] = field(default_factory=dict)
    given: dict[bool, Compass] = field(default_factory=dict)  # for all manuals, for the pedal

    def context(self) -> Context:
        own = self.division
        return Context(
            "" if own is None else own.id,
            own is not None and own.is_pedal,
            USUAL_MANUAL if own is None else own.keys,
            self.languages,
            tuple((d.id, d.is_pedal) for d in self.divisions.values()),
        )


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
) -> _State:
    state = _State(counted=counted)
    for line in lines:
        change = changes.get(line.id, {})
        row = changed(_read(line, state, change), change, state.context())
        _take(row, state)
    return state


def _keys_by_pipes(state: _State) -> dict[str, int]:
    """Set each division's keys by the number of pipes that most of its stops have."""
    pipes: dict[str, Counter[int]] = {}
    for row in state.rows:
        stop = row.stop
        if stop is not None and stop.pipes and stop.rows == 1 and stop.source is None:
            pipes.setdefault(stop.division, Counter())[stop.pipes] += 1
    commonest = {id_: counts.most_common(1)[0][0] for id_, counts in pipes.items()}
    return {id_: keys for id_, keys in commonest.items() if keys in USUAL_KEYS}


def _take(row: Row, state: _State) -> None:
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


def _take_compass_and_wind(row: Row, state: _State) -> None:
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


def _read(line: Line, state: _State, change: Change) -> Row:
    text = tidy(line.text)
    bare, number = without_marks(tidy(line.text) if "\t" not in line.text else line.text)
    bare = tidy(re.sub(r"\s*[\t|]\s*", " ", bare)).strip(" *=_|")
    if not re.search(r"[^\W_]", text) or not bare:
        return Row(line, Said.REMARK)
    if change.get("as") in {"remark", "title"}:
        return Row(line, Said(change["as"]))
    if plain(bare.strip(" :")) in _HEADINGS:
        return Row(line, Said.REMARK)
    found = _heading(line, bare, state)
    if found is not None:
        return found
    for read in (read_fact,):
        fact = read(line, bare)
        if fact is not None:
            return fact
    context = state.context()
    compass = _compass(line, bare)
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
    more = _heading_with_more(line, bare, state)
    if more is not None:
        return more
    if _is_table_head(line, bare, state):
        return Row(line, Said.REMARK)
    if state.division is None and _is_title(bare, line, state):
        return _title(line, bare)
    stop = read_stop(line, bare, number, context)
    if stop is not None:
        return _on_some_division(stop, state)
    question = "What is this? A stop, a division or only a remark?"
    return Row(line, Said.UNKNOWN, State.ASKED, question=question)


def _heading(line: Line, bare: str, state: _State) -> Row | None:
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


def _heading_with_more(line: Line, bare: str, state: _State) -> Row | None:
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


def _title(line: Line, bare: str) -> Row:
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
    head: Heading, compass: Compass | None, mm: float | None, bare: str, state: _State
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


def _usual_compass(head: Heading, state: _State) -> Compass:
    before = [d for d in state.divisions.values() if d.is_pedal == head.is_pedal]
    if before:
        last = before[-1]
        return Compass(last.keys, last.lowest, last.octave, last.missing)
    return Compass(USUAL_PEDAL if head.is_pedal else USUAL_MANUAL)


def _compass(line: Line, bare: str) -> Row | None:
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


def _effect(line: Line, bare: str, state: _State) -> Row | None:
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


def _is_title(bare: str, line: Line, state: _State) -> bool:
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


def _is_table_head(line: Line, bare: str, state: _State) -> bool:
    if state.rows or line.column:
        return False
    words = plain(bare).split()
    return bool({"division", "werk", "stop", "register"} & set(words)) and len(words) <= 8


def _on_some_division(row: Row, state: _State) -> Row:
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
