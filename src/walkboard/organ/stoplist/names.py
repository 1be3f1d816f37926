"""The open table of stop names, and how to find a name in it.

``names.csv`` has the trade's names in six languages with their spellings; ``kinds.csv`` describes
each kind of stop: family, tuning method, scale, build, most prominent partial. No published table
gives all of these, so the source column says ``common practice, no source``.
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

ALMOST = 0.9  # similarity from which only a letter or two differ; chosen
MISSPELT = 0.8  # least similarity of a misspelt name, 0 to 1; chosen with the lists in tests
SHORTEST_PART = 5  # least letters of a known name within a longer word; chosen, to exclude "horn"
MOST_CUT = 3  # most words dropped at the front or back of a name; chosen


class Role(StrEnum):
    """What a name means, if not a single plain rank."""

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
    """What a kind of stop usually is.

    Attributes
    ----------
    id : str
    family, tuned_by
        None if it has no pipes to tune.
    scale : str
        In words.
    build : Build
    partial : int or None
        The most prominent partial: 2 for an overblown rank, 3 for a quint-rich stopped one.
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
        The usual pitch if the list gives none; may be empty.
    """

    name: str
    language: str
    kind: Kind
    feet: str


@dataclass(frozen=True, slots=True)
class Found:
    """How a written name was understood.

    Attributes
    ----------
    entries : tuple of StopName
        The names with that spelling, in every language that has it.
    why : str
        Empty if the name is in the table as written; else how it was found.
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
    """Every spelling of the table, normalised by `plain`, with the names it may mean."""
    found: dict[str, list[StopName]] = {}
    for row in _rows("names.csv"):
        name = StopName(row["name"], row["language"], kinds()[row["kind"]], row["feet"])
        for spelling in (row["name"], *filter(None, row["variants"].split(";"))):
            entries = found.setdefault(plain(spelling), [])
            if name not in entries:
                entries.append(name)
    return {spelling: tuple(entries) for spelling, entries in found.items()}


def plain(text: str) -> str:
    """A name without accents, capitals, punctuation and double spaces, for comparison."""
    decomposed = unicodedata.normalize("NFKD", text.replace("ß", "ss").replace("ø", "o"))
    letters = "".join(c for c in decomposed if not unicodedata.combining(c)).lower()
    return re.sub(r"[^a-z0-9]+", " ", letters).strip()


@cache
def find(name: str) -> Found | None:
    """What a written name may mean; None if it is like no known name.

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
        return Found(table[near], f"taken as a spelling of {table[near][0].name}")
    for part in _parts(words):
        if part in table:
            shown = table[part][0].name
            return Found(table[part], f"the name contains {shown}")
    near = _nearest(wanted, table, MISSPELT)
    if near is not None:
        return Found(table[near], f"taken as a spelling of {table[near][0].name}")
    compound = _compound(words, table)
    if compound is not None:
        return Found(table[compound], f"the name is formed from {table[compound][0].name}")
    for part in _parts(words):
        near = _nearest(part, table, MISSPELT) if len(part) > SHORTEST_PART else None
        if near is not None:
            return Found(table[near], f"taken as a spelling of {table[near][0].name}")
    return None


def _joined(wanted: str) -> str:
    """German ``ae``, ``oe`` and ``ue`` as the table spells them, without dots."""
    return re.sub(r"([aou])e(?=[^aeiou])", r"\1", wanted)


def _parts(words: list[str]) -> Iterator[str]:
    """Runs of the words, longest first; among equals, later words first."""
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
    # misspellings are within a word, hardly ever at its first letter
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
