"""The open table of stop names, and finding a name in it.

``names.csv`` holds the trade's names in six languages with their spellings; ``kinds.csv`` says what
each kind of stop usually is: family, way of tuning, scale, build, the partial that stands out. No
published table gives all of these, so the source column says ``common practice, no source``.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from functools import cache
from importlib.resources import files

from walkboard.organ.kinds import Build, Family, TunedBy

ALMOST = 0.9  # similarity above which one letter or two are wrong; chosen
MISSPELT = 0.8  # least similarity of a misspelt name, 0 to 1; chosen, by the lists in tests
SHORTEST_PART = 5  # letters of a known name within a longer word; chosen, so that "horn" is not one
MOST_CUT = 3  # words left out at the front or the back of a name; chosen


class Role(StrEnum):
    """What kind of thing a name stands for, beyond one plain rank."""

    PLAIN = ""
    CELESTE = "celeste"
    MIXTURE = "mixture"
    SESQUIALTERA = "sesquialtera"
    CORNET = "cornet"
    RAUSCHQUINT = "rauschquint"
    RESULTANT = "resultant"
    TREMULANT = "tremulant"
    TOY = "toy"

    @property
    def is_compound(self) -> bool:
        """Whether it has several ranks."""
        return self in {Role.MIXTURE, Role.SESQUIALTERA, Role.CORNET, Role.RAUSCHQUINT}


@dataclass(frozen=True, slots=True)
class Kind:
    """What stops of a kind usually are.

    Attributes
    ----------
    id : str
    family, tuned_by
        None for what has no pipes to tune.
    scale : str
        In words.
    build : Build
    partial : int or None
        The partial that stands out: 2 for what overblows, 3 for a quint-rich stopped rank.
    role : Role
    source : str
    """

    id: str
    family: Family | None
    tuned_by: TunedBy | None
    scale: str
    build: Build
    partial: int | None
    role: Role
    source: str


@dataclass(frozen=True, slots=True)
class StopName:
    """One name of the table in one language.

    Attributes
    ----------
    name : str
        As it is usually written.
    language : str
        ``en``, ``de``, ``fr``, ``nl``, ``it`` or ``es``.
    kind : Kind
    feet : str
        The usual pitch, where the list gives none; may be empty.
    """

    name: str
    language: str
    kind: Kind
    feet: str


@dataclass(frozen=True, slots=True)
class Found:
    """What a written name was taken for.

    Attributes
    ----------
    entries : tuple of StopName
        Those of that spelling, in every language that has it.
    why : str
        Empty where the name is in the table as written; else how it was found.
    """

    entries: tuple[StopName, ...]
    why: str = ""


@cache
def kinds() -> dict[str, Kind]:
    """Kinds of stops by id."""
    return {
        row["kind"]: Kind(
            row["kind"],
            Family(row["family"]) if row["family"] else None,
            TunedBy(row["tuned_by"]) if row["tuned_by"] else None,
            row["scale"],
            Build(row["build"] or "plain"),
            int(row["partial"]) if row["partial"] else None,
            Role(row["role"]),
            row["source"],
        )
        for row in _rows("kinds.csv")
    }


@cache
def spellings() -> dict[str, tuple[StopName, ...]]:
    """Every spelling of the table, plain as `plain` makes it, with the names it may stand for."""
    found: dict[str, list[StopName]] = {}
    for row in _rows("names.csv"):
        name = StopName(row["name"], row["language"], kinds()[row["kind"]], row["feet"])
        for spelling in (row["name"], *filter(None, row["variants"].split(";"))):
            entries = found.setdefault(plain(spelling), [])
            if name not in entries:
                entries.append(name)
    return {spelling: tuple(entries) for spelling, entries in found.items()}


def plain(text: str) -> str:
    """A name without accents, capitals, marks and double spaces, to compare it with others."""
    decomposed = unicodedata.normalize("NFKD", text.replace("ß", "ss").replace("ø", "o"))
    letters = "".join(c for c in decomposed if not unicodedata.combining(c)).lower()
    return re.sub(r"[^a-z0-9]+", " ", letters).strip()


@cache
def find(name: str) -> Found | None:
    """What a written name may stand for; None if it is like none that is known.

    Tried in turn: the name as written; without words before or after it (``Echo``, ``No. 1``); a
    longer word that begins or ends with a known name; a misspelling.
    """
    wanted = plain(name)
    if not wanted:
        return None
    table = spellings()
    for spelling in (wanted, wanted.replace(" ", ""), _joined(wanted)):
        if spelling in table:
            return Found(table[spelling])
    words = wanted.split()
    near = _nearest(wanted, table, ALMOST)
    if near is not None:
        return Found(table[near], f"taken for a spelling of {table[near][0].name}")
    for part in _parts(words):
        if part in table:
            shown = table[part][0].name
            return Found(table[part], f"the name contains {shown}")
    near = _nearest(wanted, table, MISSPELT)
    if near is not None:
        return Found(table[near], f"taken for a spelling of {table[near][0].name}")
    compound = _compound(words, table)
    if compound is not None:
        return Found(table[compound], f"the name is made with {table[compound][0].name}")
    for part in _parts(words):
        near = _nearest(part, table, MISSPELT) if len(part) > SHORTEST_PART else None
        if near is not None:
            return Found(table[near], f"taken for a spelling of {table[near][0].name}")
    return None


def _joined(wanted: str) -> str:
    """German ``ae``, ``oe`` and ``ue`` as the table has them without dots."""
    return re.sub(r"([aou])e(?=[^aeiou])", r"\1", wanted)


def _parts(words: list[str]) -> Iterator[str]:
    """Runs of the words, longest first; at one length the last words first."""
    for length in range(len(words) - 1, 0, -1):
        if len(words) - length > MOST_CUT:
            return
        for start in range(len(words) - length, -1, -1):
            part = " ".join(words[start : start + length])
            if len(part) > 3:
                yield part


def _nearest(wanted: str, table: Iterable[str], cutoff: float) -> str | None:
    if len(wanted) < 3:
        return None
    # people slip within a word, hardly ever at its first letter
    table = [one for one in table if one[0] == wanted[0]]
    near = get_close_matches(wanted, table, n=1, cutoff=cutoff)
    return near[0] if near else None


def _compound(words: list[str], table: dict[str, tuple[StopName, ...]]) -> str | None:
    """The longest known name that the last or first word ends or begins with."""
    for word in (words[-1], words[0]):
        for cut in range(1, len(word) - SHORTEST_PART + 1):
            if word[cut:] in table:
                return word[cut:]
        for end in range(len(word) - 1, SHORTEST_PART, -1):
            if word[:end] in table:
                return word[:end]
    return None


def _rows(file: str) -> Iterator[dict[str, str]]:
    with files(__package__).joinpath(file).open(encoding="utf-8") as stream:
        yield from csv.DictReader(stream)
