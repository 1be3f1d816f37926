"""Recognises division headings and the short names that couplers use."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from walkboard.organ.stoplist.figures import ROMAN
from walkboard.organ.stoplist.names import plain

ENCLOSED = re.compile(
    r"\b(?:enclosed|expressive|in swell box|expressif|expressive|espressivo|expresivo"
    r"|schwellbar|im schweller|in zwelkast)\b",
    re.IGNORECASE,
)
ATTACHED = re.compile(
    r"\b(?:aangehangen|angehängt|pulldowns?|pull-downs?|tirasse permanente)\b", re.IGNORECASE
)
# Words that surround a division's name in a heading.
_AROUND = {
    "organ", "orgue", "orgel", "organo", "division", "werk", "department", "on", "the", "clavier",
    "und", "and", "de", "enclosed", "expressive", "expressif", "espressivo", "expresivo",
    "schwellbar", "unenclosed", "i", "ii", "iii", "iv", "v", "1", "2", "3", "4",
    "1st", "2nd", "3rd",
    "premier", "deuxieme", "erstes", "zweites", "drittes", "manual",
}  # fmt: skip
_NUMBERED = re.compile(
    r"^(?:(?P<first>I{1,3}|IV|V|[1-5])\.?\s*(?:manual|manuaal|clavier|manuale|teclado|man\.?)"
    r"|(?:manual|manuaal|clavier|manuale|teclado|man\.?)\s*(?P<last>I{1,3}|IV|V|[1-5]))\b",
    re.IGNORECASE,
)


_MORE = re.compile(
    r"^(?P<name>[^\d.,:;(/]{3,30}?)(?:\s*[.,:;–]\s+|\s+-\s+|\s+(?=\(|mit\b|with\b|avec\b|met\b|con\b))"
    r"(?P<more>.*[^\W\d].*)$"
)


@dataclass(frozen=True, slots=True)
class KnownDivision:
    """A known division: its id, its usual name, whether it is the pedal or enclosed."""

    id: str
    name: str
    is_pedal: bool
    enclosed: bool


@dataclass(frozen=True, slots=True)
class Heading:
    """A line read as a heading.

    Attributes
    ----------
    id, name : str
    is_pedal, enclosed : bool
    usual : bool
        Whether only the name suggests that it is enclosed.
    """

    id: str
    name: str
    is_pedal: bool
    enclosed: bool
    usual: bool


@cache
def _table() -> tuple[dict[str, KnownDivision], dict[str, tuple[KnownDivision, ...]]]:
    long: dict[str, KnownDivision] = {}
    short: dict[str, list[KnownDivision]] = {}
    path = files(__package__).joinpath("divisions.csv")
    with path.open(encoding="utf-8") as stream:
        for row in csv.DictReader(stream):
            known = KnownDivision(
                row["id"], row["name"], row["kind"] == "pedal", row["enclosed"] == "yes"
            )
            for name in row["names"].split(";"):
                long.setdefault(plain(name), known)
            for name in row["short"].split(";"):
                short.setdefault(plain(name), []).append(known)
    return long, {name: tuple(found) for name, found in short.items()}


def heading(text: str) -> Heading | None:
    """The division that a line heads; None if it heads none.

    Parameters
    ----------
    text : str
        The line without compass, remarks and punctuation at the ends.
    """
    first, slash, second = text.partition("/")
    if slash and len(plain(second)) > 3:  # the same in two languages: Récit / Schwellwerk
        one, other = heading(first), heading(second)
        if one is not None and other is not None and one.is_pedal == other.is_pedal:
            return one
    enclosed = bool(ENCLOSED.search(text))
    bare = ENCLOSED.sub(" ", ATTACHED.sub(" ", text)).strip(" :.-–|,()*=_")
    numbered = _NUMBERED.match(bare)
    within = re.search(r"\(([^)]*)\)", bare)
    if re.fullmatch(r"\w{1,4}\.", text.strip()):
        bare = text.strip()
    plainly = text.strip(" :.-–|,()*=_")
    known = (
        _long(bare)
        or _long(plainly)
        or _long(re.sub(r"^(?:I{1,3}|IV|V)\b[.:)]?\s*", "", plainly))
        or _long(re.sub(r"^(?:I{1,3}|IV|V)\b[.:)]?\s*", "", bare))
    )
    if known is None and numbered is None and within is None:
        return None
    if numbered is not None:
        written = (numbered["first"] or numbered["last"]).upper()
        number = ROMAN.get(written) or int(written)
        after = bare[numbered.end() :].strip(" :-–()")
        inside = None if not after else _long(after)
        if after and inside is None:
            return None
        is_enclosed = enclosed or (inside is not None and inside.enclosed)
        return Heading(f"manual{number}", bare, False, is_enclosed, not enclosed and is_enclosed)
    if known is None:
        assert within is not None
        known = _long(bare[: within.start()])
        if known is None:
            return None
    return Heading(
        known.id,
        known.name,
        known.is_pedal,
        enclosed or known.enclosed,
        known.enclosed and not enclosed,
    )


def heading_with_more(text: str) -> tuple[Heading, str] | None:
    """The division that a line begins with, and the text after it; None if it begins with none.

    The text after is separated by punctuation or a word such as ``with``: ``Brustwerk mit Türen``.
    """
    match = _MORE.match(text)
    if match is None:
        return None
    head = heading(match["name"])
    return None if head is None else (head, match["more"].strip(" .,:;-–"))


def _long(text: str) -> KnownDivision | None:
    """A division's full name, with the words around it in headings."""
    long, short = _table()
    words = plain(text)
    if words in long:
        return long[words]
    if text.strip(" .:").replace(".", "").isupper() or text.strip().endswith("."):
        found = short.get(words.replace(" ", "")) or short.get(words)
        if found and len(words) >= 2:
            return found[0]
    kept = [word for word in words.split() if word not in _AROUND]
    if not kept or len(words.split()) > 5:
        return None
    joined = " ".join(kept)
    if joined in long:
        return long[joined]
    from difflib import get_close_matches  # noqa: PLC0415

    near = get_close_matches(joined, [one for one in long if len(one) > 4], n=1, cutoff=0.79)
    return long[near[0]] if near and near[0][0] == joined[0] else None


def named(word: str, there_are: list[tuple[str, bool]]) -> str | None:
    """Id of the division that a word or abbreviation in a coupler means.

    Parameters
    ----------
    word : str
        For example ``SW``, ``Swell``, ``II``, ``G.O.``.
    there_are : list of (str, bool)
        Ids of the list's divisions, in its order, each with whether it is the pedal.
    """
    words = plain(word)
    if not words:
        return None
    ids = [id_ for id_, _ in there_are]
    manuals = [id_ for id_, is_pedal in there_are if not is_pedal]
    roman = word.strip(" .").upper()
    if roman in ROMAN or words in {"1", "2", "3", "4", "5"}:
        number = ROMAN.get(roman) or int(words)
        by_name = f"manual{number}"
        if by_name in ids:
            return by_name
        return manuals[number - 1] if number <= len(manuals) else None
    long, short = _table()
    candidates = [*short.get(words.replace(" ", ""), ()), *short.get(words, ())]
    whole = _long(word)
    if whole is not None:
        candidates.insert(0, whole)
    for known in candidates:
        if known.id in ids:
            return known.id
    return _alike(words, candidates, ids, long)


def _alike(
    words: str,
    candidates: list[KnownDivision],
    ids: list[str],
    long: dict[str, KnownDivision],
) -> str | None:
    """A division under another country's name: ``HW`` if the list says ``Hoofdwerk``."""
    by_id = {known.id: known for known in long.values()}
    if any(known.is_pedal for known in candidates):
        return next((id_ for id_ in ids if id_ in by_id and by_id[id_].is_pedal), None)
    starts = [
        id_ for id_ in ids if plain(by_id[id_].name if id_ in by_id else id_).startswith(words)
    ]
    return starts[0] if len(starts) == 1 else None
