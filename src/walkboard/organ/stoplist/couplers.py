"""Reads couplers: ``Swell to Great``, ``II/I``, ``Tirasse G.O.``, ``Unione II-I``."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from walkboard.organ.stoplist.divisions import named
from walkboard.organ.stoplist.entries import CouplerEntry
from walkboard.organ.stoplist.names import plain

Divisions = list[tuple[str, bool]]

_SUB = re.compile(
    r"\b(?:sub[- ]?oct(?:ave?)?|suboktav\w*|suboctav\w*|octaves? graves?|sub|bassa)\s*-?",
    re.IGNORECASE,
)
_SUPER = re.compile(
    r"\b(?:super[- ]?oct(?:ave?)?|superoktav\w*|superoctav\w*|octaves? aigu[eë]s?"
    r"|octave|super|oktav)"
    r"(?:koppel)?\b",
    re.IGNORECASE,
)
_OFF = re.compile(
    r"\b(?:unison off|annulation|unisson off|äquallage ab|normallage ab)\b", re.IGNORECASE
)
_FEET = re.compile(r"(?<![\w/])(16|8|4)'?(?![\w/])")
_TO = re.compile(
    r"^(?P<a>[^/]+?)\s+(?:to|an|auf|zu|naar|sur|sul|al|a|en)\s+(?P<b>[^/]+)$", re.IGNORECASE
)
_SLASH = re.compile(r"^(?P<a>[^/\s]+(?:\s[^/\s]+)?)\s*/\s*(?P<b>[^/\s]+(?:\s[^/\s]+)?)$")
_DASH = re.compile(r"^(?P<a>[^-–\s]+)\s*[-–+]\s*(?P<b>[^-–\s]+)$")
_WORD = re.compile(
    r"^(?:koppeling(?:en)?|koppeln?|unione|unioni|copula|accouplements?|acc\.|accoppiamento"
    r"|acoplamientos?|enganches?|couplers?|normalkoppeln?|kuppeln?|nebenzüge|spielhilfen"
    r"|accessories)\s*:?\s*",
    re.IGNORECASE,
)
_KOPPEL = re.compile(r"^(?!su)\w*koppel\w*\s+(?=\S+\s*[/–-]\s*\S+$)", re.IGNORECASE)
_OWN = re.compile(r"^(?:sub[- ]?oct|super[- ]?oct|octaves?\b|unison off)[^/]*$", re.IGNORECASE)
_PLURAL = re.compile(r"^\s*(tirasses|octaves graves|octaves aigu[eë]s)\s*:?\s+", re.IGNORECASE)
_ITEM = re.compile(r"^(?:[ivx]{1,4}|\d{1,2})[.)]?\s+(?=\w)")  # a coupler's number in a list
_BRACKETS = re.compile(r"\([^)]*\)")
_TIRASSE = re.compile(r"^tirasse\s+(?P<a>.+)$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class FoundCouplers:
    """Couplers of a line, and the reason if it is not obvious."""

    couplers: tuple[CouplerEntry, ...]
    why: str = ""


def read_couplers(text: str, divisions: Divisions, own: str = "") -> FoundCouplers | None:
    """The couplers of a line; None if it names none.

    Parameters
    ----------
    text : str
    divisions : list of (str, bool)
        Ids of the list's divisions so far, in its order, each with whether it is the pedal.
    own : str
        Id of the division above the line: ``Sub Octave`` alone belongs to it.
    """
    several = _several(text, divisions, own)
    if several is not None:
        return several
    word = _WORD.match(text)
    bare = text[word.end() :] if word is not None else text
    koppel = _KOPPEL.match(bare)
    if koppel is not None:
        word, bare = koppel, bare[koppel.end() :]
    if own and _OWN.match(bare):
        bare = f"{own} {bare}"
    if _OFF.search(bare):
        division = named(_OFF.sub(" ", bare).strip(" ()-:"), divisions)
        if division is None:
            return None
        return FoundCouplers((CouplerEntry(text, division, division, unison_off=True),))
    octaves, stripped = _octaves(bare)
    says_octave = bool(_SUB.search(bare) or _SUPER.search(bare))
    ends = _ends(stripped.strip(" ()-:."), divisions, koppel=bool(word) or "koppel" in plain(text))
    if ends is None:
        return _by_name(text, stripped, divisions, octaves if says_octave else [0])
    low, high, why = ends
    if low == high and octaves == [0]:
        return None
    return FoundCouplers(tuple(CouplerEntry(text, low, high, one) for one in octaves), why)


def _several(text: str, divisions: Divisions, own: str) -> FoundCouplers | None:
    """The couplers of a line that lists several: ``Couplers: Sw to Gt, Sw to Ped``.

    `why` names parts that are not couplers; a line with less than half couplers does not count.
    """
    word = _WORD.match(text)
    bare = _BRACKETS.sub(" ", text if word is None else text[word.end() :])
    head = _PLURAL.match(bare)
    if head is not None:
        bare = bare[head.end() :]
    parts = [one.strip(" .") for one in re.split(r"[,;]", bare) if one.strip(" .")]
    if len(parts) < 2:
        return None
    name = "" if head is None else re.sub(r"s\b", "", head[1].lower())
    before = f"{name} " if name else "" if word is None else "Koppel "
    read = [read_couplers(before + _ITEM.sub("", part), divisions, own) for part in parts]
    found = [coupler for one in read if one is not None for coupler in one.couplers]
    if 2 * sum(one is not None for one in read) < len(parts) or len(found) < 2:
        return None
    unread = [part for part, one in zip(parts, read, strict=True) if one is None]
    whys = {one.why for one in read if one is not None and one.why}
    if unread:
        whys.add(f"not understood: {', '.join(unread)}")
    couplers = [
        replace(coupler, name=part)
        for part, one in zip(parts, read, strict=True)
        if one is not None
        for coupler in one.couplers
    ]
    return FoundCouplers(tuple(couplers), "; ".join(sorted(whys)))


def _octaves(text: str) -> tuple[list[int], str]:
    """The octave shift that the line states, and the line without it."""
    if _SUB.search(text):
        return [-1], re.sub(r"koppel\b", " ", _SUB.sub(" ", text))
    if _SUPER.search(text):
        return [1], re.sub(r"koppel\b", " ", _SUPER.sub(" ", text))
    feet = _FEET.findall(text)
    if feet:
        octaves = [{"16": -1, "8": 0, "4": 1}[one] for one in feet]
        return octaves, _FEET.sub(" ", text).replace(",", " ")
    return [0], text


def _ends(text: str, divisions: Divisions, *, koppel: bool) -> tuple[str, str, str] | None:
    """From and to, and the reason."""
    text = re.sub(r"\s+", " ", text).strip(" ()-:.,")
    tirasse = _TIRASSE.match(text)
    pedal = next((id_ for id_, is_pedal in divisions if is_pedal), None)
    if tirasse is not None:
        low = named(tirasse["a"], divisions)
        return None if low is None or pedal is None else (low, pedal, "")
    for pattern in (_TO, _SLASH):
        match = pattern.match(text)
        if match is not None:
            low, high = named(match["a"], divisions), named(match["b"], divisions)
            if low is not None and high is not None:
                return low, high, ""
    match = _DASH.match(text)
    if match is not None:
        low, high = named(match["a"], divisions), named(match["b"], divisions)
        if low is None or high is None:
            return None
        order = [id_ for id_, _ in divisions]
        if low == pedal or (high != pedal and order.index(low) < order.index(high)):
            low, high = high, low
        return (
            low,
            high,
            "the line does not give the direction: taken as the usual one" if koppel else "",
        )
    return None


def _by_name(
    text: str, stripped: str, divisions: Divisions, octaves: list[int]
) -> FoundCouplers | None:
    """Couplers that name one division or none: ``Swell Octave``, ``Pedalkoppel``."""
    manuals = [id_ for id_, is_pedal in divisions if not is_pedal]
    pedal = next((id_ for id_, is_pedal in divisions if is_pedal), None)
    words = plain(text)
    if words in {"pedalkoppel", "pedaalkoppel", "pedal coupler", "pedaalkoppeling"}:
        if pedal is None or not manuals:
            return None
        why = "" if len(manuals) == 1 else "the first manual is usually coupled to the pedal"
        return FoundCouplers((CouplerEntry(text, manuals[0], pedal),), why)
    if words in {"manualkoppel", "manuaalkoppel", "manual coupler", "schiebekoppel"}:
        if len(manuals) != 2:
            return None
        why = "the second manual is usually coupled to the first"
        return FoundCouplers((CouplerEntry(text, manuals[1], manuals[0]),), why)
    if octaves != [0]:
        division = named(stripped.strip(" ()-:"), divisions)
        if division is not None and not re.search(r"\d", stripped):
            return FoundCouplers(
                tuple(CouplerEntry(text, division, division, one) for one in octaves if one)
            )
    return None
