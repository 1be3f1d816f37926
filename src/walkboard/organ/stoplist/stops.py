"""Reads a stop's line."""

from __future__ import annotations

import re
from dataclasses import replace

from walkboard.organ.kinds import Build, Family
from walkboard.organ.stoplist.borrowed import BRACKETS, source_of
from walkboard.organ.stoplist.context import Context
from walkboard.organ.stoplist.entries import Guess, Line, Row, Said, Source, State, StopEntry
from walkboard.organ.stoplist.figures import (
    Taken,
    take_composition,
    take_feet,
    take_ranks,
    tidy,
)
from walkboard.organ.stoplist.keys import Reach, bass_half, take_reach
from walkboard.organ.stoplist.names import Found, Role, StopName, find, kinds, plain

# Number of ranks of a compound stop and their pitches, if the list gives neither: the most common
# ones. Common practice, no source.
USUAL_ROWS = {Role.MIXTURE: 3, Role.SESQUIALTERA: 2, Role.CORNET: 5, Role.RAUSCHQUINT: 2}
PRACTICE = "common practice, no source"

_NUMBER = re.compile(r"^\(?(\d{1,3})(?:[.):]\s+|\t)")
_PLAIN_NUMBER = re.compile(r"^(\d{1,3})\s+(?=[^\W\d]{2})")
_BULLET = re.compile(r"^(?:[•·*▪◦‣>+]|[-–—](?=\s))\s*")
_PIPES = re.compile(
    r"\b(\d{1,4})\s*(?:pipes|pfeifen|tuyaux|pijpen|canne|tubos|notes)\b(?:\s*\+\s*\d{1,3}\b)?",
    re.IGNORECASE,
)
_ACOUSTIC = re.compile(
    r"\b(?:acoustic|acoustique|akustisch\w*|resultant|acustico)\b", re.IGNORECASE
)
_HARMONIC = re.compile(
    r"überblasend\w*|overblow\w*|overblown|(?<!plein-jeu )(?<!plein jeu )harmoni(?:c|que|sch)\b",
    re.IGNORECASE,
)
_HALF = re.compile(
    r"half[- ]length|halbe (?:länge|becherlänge)|demi-longueur|halve lengte"
    r"|(?:1\s*/\s*2|½)[- ]?(?:longueur|length|länge|lengte)",
    re.IGNORECASE,
)
_FREE = re.compile(
    r"durchschl(?:agend\w*|\.|\b)|free reed|anches? libres?|ance libere", re.IGNORECASE
)
_STOPPED = re.compile(
    r"\b(?:gedeckt|gedackt|stopped|bouch[eé]e?|tappat[oa]|tapad[oa]|gedekt)\b", re.IGNORECASE
)
_WOOD = re.compile(r"\b(?:holz|wood|bois|hout|legno|madera)\b", re.IGNORECASE)
_METAL = re.compile(
    r"\b(?:zinn|zink|metall?|étain|tin|stagno|estaño|kupfer|copper)\b", re.IGNORECASE
)
_BASS_NAME = re.compile(r"\s+bass$", re.IGNORECASE)
_NOISE = re.compile(
    r"\b(?:c\.?\s?c\.?|enclosed|en chamade|horizontal|prospekt|façade|facade|front)\b",
    re.IGNORECASE,
)


def without_marks(text: str) -> tuple[str, int | None]:
    """A line without bullets and its number, and the number."""
    number = None
    for _ in range(2):
        text = _BULLET.sub("", text.strip())
        match = _NUMBER.match(text)
        if match is not None:
            number = int(match[1])
            text = text[match.end() :]
    plain_number = _PLAIN_NUMBER.match(text)
    if number is None and plain_number is not None:
        rest = text[plain_number.end() :]
        ranks = take_ranks(_PIPES.sub(" ", rest))
        if take_feet(_PIPES.sub(" ", rest) if ranks is None else ranks.rest) is not None:
            number, text = int(plain_number[1]), rest  # its length follows its name
    return text.strip(), number


def read_stop(line: Line, text: str, number: int | None, context: Context) -> Row | None:
    """The stop of a line; None if the line does not look like one.

    Parameters
    ----------
    line : Line
    text : str
        The line tidied, without bullets and number.
    number : int or None
        Its number in the list.
    context : Context
    """
    guesses: list[Guess] = []
    rest, pipes = _taken_pipes(text)
    source, rest = source_of(rest, context)
    free, half = bool(_FREE.search(text)), bool(_HALF.search(text))
    rest = _HALF.sub(" ", rest)
    acoustic = bool(_ACOUSTIC.search(rest))
    if source is None and pipes is not None and 0 < pipes <= context.keys // 2:
        source = Source()  # twelve pipes more: an octave added to an existing rank
        why = f"{pipes} pipes on {context.keys} keys: the rest are another stop's."
        guesses.append(Guess("plays", "extension", why))
    composed = take_composition(rest)
    rows_of = composed[0] if composed is not None else ()
    if composed is not None:
        rest = composed[1]
    reach = take_reach(rest)
    rest = reach.rest
    ranks = take_ranks(rest)
    if ranks is not None:
        rest = ranks.rest
    feet = take_feet(rest)
    if feet is not None:
        rest = feet.rest
    name = _name(_FREE.sub(" ", rest))
    found = find(name) if name else None
    name, found = _name_alone(name, found, text, rest)
    if _BASS_NAME.search(name) and reach.from_key is None and reach.to_key is None:
        upper = find(_BASS_NAME.sub("", name))  # the lower half of a divided stop
        if upper is not None and not upper.why and (found is None or found.why):
            found, reach = upper, bass_half(rest)
    whole = find(_name(text))
    if (
        whole is not None
        and not whole.why
        and whole.entries[0].kind.role is Role.PLAIN
        and found is None
    ):
        found = whole
    if acoustic and found is None:
        found = find("Resultant")
    if found is None and "(" in name:
        found = find(BRACKETS.sub(" ", name))
    if feet is None and ranks is None and not rows_of and (found is None or found.why):
        return None
    if found is None:
        return _asked(line, text, name, feet)
    entry = _chosen(found, feet, ranks, rows_of, context)
    kind = entry.kind
    if kind.role in {Role.TOY, Role.TREMULANT}:
        return None
    shown_name = re.sub(r"\s+", " ", name).strip() or entry.name
    other = _other_family(found, entry)
    if other is not None:
        why = f"{entry.name} can also be {other}."
        guesses.append(Guess("family", kind.family or "", why))
    if found.why:
        guesses.append(Guess("name", entry.name, f"{found.why}.".capitalize()))
    if acoustic or kind.role is Role.RESULTANT:
        return _resultant(line, shown_name, number, context, source, feet)
    family, tuned_by, build = kind.family, kind.tuned_by, kind.build
    assert family is not None  # only toys and tremulants have none
    if free:
        family, tuned_by, build = Family.REED, kinds()["freereed"].tuned_by, Build.FREE_REED
    elif (
        family is Family.OPEN and not kind.role.is_compound and _STOPPED.search(_remarks(line.text))
    ):
        family, tuned_by = Family.STOPPED, kinds()["stopwood"].tuned_by
    assert tuned_by is not None
    if half and family is Family.REED:
        build = Build.HALF_LENGTH
    elif _HARMONIC.search(text) and build is Build.PLAIN and not kind.role.is_compound:
        build = Build.HARMONIC
    if family is Family.OPEN and _WOOD.search(line.text) and not _METAL.search(line.text):
        tuned_by = kinds()["woodopen"].tuned_by or tuned_by
    source_words = f"{entry.name}: {kind.source}"
    guesses.append(Guess("family", family, f"The usual kind for {source_words}.", usual=True))
    guesses.append(Guess("tuned_by", tuned_by, f"The usual way for {source_words}.", usual=True))
    if build is not Build.PLAIN:
        guesses.append(Guess("build", build, f"Usual for {source_words}.", usual=True))
    feet_value, why = _feet(feet, entry, context)
    rows = 1
    if kind.role.is_compound:
        rows, row_why = _rows(ranks, rows_of, kind.role, shown_name)
        guesses += [Guess("rows", str(rows), row_why)] if row_why else []
        feet_value, why = (feet.value if feet is not None else ""), ""
        if not rows_of:
            guesses.append(
                Guess(
                    "rows",
                    str(rows),
                    "The list does not give its rows and breaks: usual ones.",
                    usual=True,
                )
            )
    if why:
        guesses.append(Guess("feet", feet_value, why, usual=feet is not None))
    if reach.why:
        guesses.append(
            Guess(
                "from" if reach.from_key else "to",
                reach.from_key or reach.to_key or "",
                f"{reach.why}.",
                usual=True,
            )
        )
    reach, short_why = _short(reach, kind.role, pipes, context, entry)
    if short_why:
        guesses.append(Guess("from", reach.from_key or "", short_why))
    stop = StopEntry(
        name=shown_name,
        division=context.division,
        family=family,
        tuned_by=tuned_by,
        feet=feet_value,
        build=build,
        rows=rows,
        intervals=rows_of if kind.role.is_compound else (),
        role=kind.role.value,
        from_key=reach.from_key,
        to_key=reach.to_key,
        pipes=pipes,
        number=number,
        source=source,
        scale=kind.scale,
        partial=kind.partial,
    )
    if kind.role is Role.CELESTE:
        guesses.append(
            Guess("celeste", "2.0", "The list does not say how fast it beats.", usual=True)
        )
    state = State.UNDERSTOOD if all(g.usual for g in guesses) else State.GUESSED
    return Row(line, Said.STOP, state, tuple(guesses), stop=stop)


def _name_alone(name: str, found: Found | None, text: str, rest: str) -> tuple[str, Found | None]:
    """The name without a remark after it, if only that is in the table.

    A remark is in brackets (``Oboe 8 (needs new tongues)``) or follows the length (``Principal 8'
    C-H Zink``).
    """
    if found is not None and not found.why:
        return name, found
    before = re.match(r"^([^\d(]{3,}?)[\s(]*\d", text)
    tries = [_name(BRACKETS.sub(" ", rest)), _name(before[1]) if before is not None else ""]
    for bare in tries:
        alone = find(bare) if bare and bare != name else None
        if alone is not None and (not alone.why or found is None):
            return bare, alone
    return name, found


def _asked(line: Line, text: str, name: str, feet: Taken | None) -> Row | None:
    """A line that looks like a stop with an unknown name."""
    words = len(re.findall(r"[^\W\d_]{2,}", text))
    if feet is None or words == 0 or words > 5:
        return None
    return Row(
        line,
        Said.UNKNOWN,
        State.ASKED,
        question=f"What kind of stop is {name.strip() or text}?",
    )


def _taken_pipes(text: str) -> tuple[str, int | None]:
    match = _PIPES.search(text)
    if match is None:
        return text, None
    return f"{text[: match.start()]} {text[match.end() :]}", int(match[1])


def _name(text: str) -> str:
    bare = BRACKETS.sub(lambda m: " " if not re.search(r"[^\W\d]{3}", m[1]) else f" {m[1]} ", text)
    bare = re.sub(r"\bno\.?\s*\d\b|\bnr\.?\s*\d\b", " ", bare, flags=re.IGNORECASE)
    return re.sub(r"\s+", " ", bare).strip(" .,:;-–'\"|")


def _remarks(text: str) -> str:
    """The text after the name in further columns and after a comma."""
    cells = re.split(r"\t|,|;|\(", tidy(text) if "\t" not in text else text)
    return " ".join(cells[1:])


def _chosen(
    found: Found,
    feet: Taken | None,
    ranks: Taken | None,
    rows_of: tuple[str, ...],
    context: Context,
) -> StopName:
    """The name that fits this line, of those that a spelling may mean."""
    several = ranks is not None or bool(rows_of)
    length = None if feet is None else feet.value

    def unfitness(entry: StopName) -> tuple[bool, int, bool]:
        compound = entry.kind.role.is_compound
        return (
            compound != several if feet is not None or several else False,
            -context.languages[entry.language],
            entry.feet != length,
        )

    best = min(found.entries, key=unfitness)
    if several and not best.kind.role.is_compound:
        return best
    if not several and best.kind.role is Role.CORNET and length in {"2", "4", "1"}:
        return replace(best, kind=kinds()["reed"])
    return best


def _other_family(found: Found, entry: StopName) -> Family | None:
    """Another family with the same name in the same language, if it is unclear which."""
    families = {
        other.kind.family
        for other in found.entries
        if other.language == entry.language
        and other.kind.role.is_compound == entry.kind.role.is_compound
    }
    return next((f for f in families if f is not None and f is not entry.kind.family), None)


def _feet(feet: Taken | None, entry: StopName, context: Context) -> tuple[str, str]:
    if feet is not None:
        return feet.value, f"{feet.why}." if feet.why else ""
    usual = entry.feet or "8"
    if context.is_pedal and usual == "8" and entry.kind.id == "stopwood":
        usual = "16"
    return usual, f"The list gives no length: usual for {entry.name}."


def _rows(ranks: Taken | None, rows_of: tuple[str, ...], role: Role, name: str) -> tuple[int, str]:
    if rows_of:
        return len(rows_of), ""
    if ranks is not None:
        return int(ranks.value), f"{ranks.why}." if ranks.why else ""
    if re.search(r"\s(?:e|and|und|et|en|y|&)\s", name):
        return 2, "The name means two ranks."
    return USUAL_ROWS[role], "The list does not say how many ranks."


def _short(
    reach: Reach, role: Role, pipes: int | None, context: Context, entry: StopName
) -> tuple[Reach, str]:
    """Where a stop begins if the list does not say: cornets and celestes are often short."""
    if reach.from_key is not None or reach.to_key is not None or reach.full:
        return reach, ""
    if pipes is not None and role in {Role.CELESTE, Role.PLAIN} and pipes == context.keys - 12:
        return replace(reach, from_key="C3"), f"{pipes} pipes on {context.keys} keys: from tenor C."
    del entry
    return reach, ""


def _resultant(  # noqa: PLR0917
    line: Line,
    name: str,
    number: int | None,
    context: Context,
    source: Source | None,
    feet: Taken | None,
) -> Row:
    stop = StopEntry(
        name=name,
        division=context.division,
        family=Family.STOPPED,
        tuned_by=kinds()["stopwood"].tuned_by or kinds()["stopmetal"].tuned_by,  # type: ignore[arg-type]
        feet="32" if feet is None else feet.value,
        role=Role.RESULTANT.value,
        number=number,
        source=source or Source(plain(_ACOUSTIC.sub(" ", name))),
    )
    why = "It has no pipes of its own: it is a 16 foot rank with its fifth."
    return Row(line, Said.STOP, State.GUESSED, (Guess("plays", "16 + 10 2/3", why),), stop=stop)
