"""Reads the figures of a stop list: feet, numbers of ranks, pitch, temperature, wind pressure."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import NamedTuple

from walkboard.organ.checking_pitch import MULTIPLES
from walkboard.scales.harmonics import feet_of_multiple

_PRIMES = str.maketrans({"′": "'", "’": "'", "´": "'", "`": "'", "‘": "'", "″": '"', "”": '"'})
_FRACTIONS = {
    "½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5",
    "⅘": "4/5", "⅐": "1/7", "⅛": "1/8", "⅑": "1/9",
}  # fmt: skip
ROMAN = {
    "I": 1, "II": 2, "III": 3, "IV": 4, "V": 5, "VI": 6, "VII": 7, "VIII": 8, "IX": 9, "X": 10,
    "XI": 11, "XII": 12,
}  # fmt: skip
# Lengths rounded in old lists: a twelfth is written 3, a larigot 1 1/2. Common practice, no source.
ROUNDED = {
    Fraction(3): Fraction(8, 3),
    Fraction(6): Fraction(16, 3),
    Fraction(12): Fraction(32, 3),
    Fraction(3, 2): Fraction(4, 3),
    Fraction(7, 4): Fraction(8, 5),
}
# Spanish lengths in palms: thirteen palms are an 8 foot pipe. Common practice, no source.
PALMS = {26: Fraction(16), 13: Fraction(8), 52: Fraction(32)}
NEAR_FEET = 0.02  # relative: 2.67 is 2 2/3; chosen, half the step between neighbouring lengths
LONGEST_FEET, SHORTEST_FEET = 64, Fraction(1, 8)

_NUMBER = r"(?:\d{1,2}\s*[-–]?\s*\d\s*/\s*\d{1,2}|\d\s*/\s*\d{1,2}|\d{1,2}[.,]\d{1,2}|\d{1,2})"
_FOOT = r"(?:\s*'|\s*(?:ft|feet|foot|fuss|fuß|vt|voet|piedi|pieds?|pies|p)\b\.?)"
_MARKED = re.compile(rf"(?<![\w/.,])({_NUMBER}){_FOOT}", re.IGNORECASE)
_BARE = re.compile(rf"(?<![\w/.,'-])({_NUMBER})(?![\w/'%°])")
_PALM = re.compile(r"\bde\s+(13|26|52)\b", re.IGNORECASE)
_RANKS = re.compile(
    r"(?<![\w/.,])(?:(\d{1,2})\s*[-–]\s*)?(\d{1,2})\s*-?\s*"
    r"(?:fach|f\b\.?|rks?\b\.?|ranks?\b|sterk\b|st\b\.|rangs?\b|rgs?\b\.?|file\b|hileras?\b|h\b\.)",
    re.IGNORECASE,
)
_ROMAN_RANKS = re.compile(
    r"(?<![\w./])(?:(?:X|IX|IV|V?I{1,3}|V)\s*[-–]\s*)?(XII|XI|X|IX|IV|V?I{1,3}|V)"
    r"(?:\s*(?:rks?|ranks?|rangs?|sterk|fach|file|hileras)\b\.?)?(?![\w'./])"
)
_FRENCH_FEET = re.compile(r"(?<!\d)(\d)'\s?([1-4])/([3579])'?(?![\w/])")  # 2'2/3
_COMPOSED = re.compile(
    rf"({_NUMBER})'?\s*(?:\+|&|und|u\.|et|e|y|en)\s*({_NUMBER})'?(?:\s*\+\s*({_NUMBER})'?)*"
)
_DEGREES = re.compile(r"\(?(?<![\w/.,])(\d{1,2}(?:[.·]\s?\d{1,2}){1,7})(?![\w/])\)?")


class Taken(NamedTuple):
    """A figure, the rest of the text, and why the figure differs from what is written."""

    value: str
    rest: str
    why: str = ""


def tidy(text: str) -> str:
    """A line with normalised primes, fractions, spaces and leaders."""
    text = text.translate(_PRIMES)
    for sign, written in _FRACTIONS.items():
        text = re.sub(rf"(\d)\s*{sign}", rf"\1 {written}", text).replace(sign, written)
    text = _FRENCH_FEET.sub(r"\1 \2/\3'", text)
    text = re.sub(r"[.…_·]{3,}", " ", text)
    return re.sub(r"[ \t\u00a0\u2007\u2009\u202f]+", " ", text).strip()


def length(written: str) -> tuple[Fraction, str] | None:
    """Feet from a written number, and why they differ from it; None if no stop has that length."""
    text = re.sub(r"\s*/\s*", "/", written.replace("–", "-").strip())
    whole, _, part = text.replace("-", " ").rpartition(" ")
    try:
        if "/" in text:
            feet = Fraction(part) + (int(whole) if whole.strip() else 0)
        else:
            feet = Fraction(text.replace(",", "."))
    except (ValueError, ZeroDivisionError):
        return None
    if feet <= 0:
        return None
    if Fraction(8) / feet in MULTIPLES and SHORTEST_FEET <= feet <= LONGEST_FEET:
        return feet, ""
    if feet in ROUNDED:
        exact = ROUNDED[feet]
        return exact, f"{written.strip()} is the rounded way to write {shown(exact)}"
    if "," in text or "." in text:
        usual = [Fraction(8) / m for m in MULTIPLES]
        near = min(usual, key=lambda one: abs(float(one / feet) - 1.0))
        if abs(float(near / feet) - 1.0) < NEAR_FEET:
            return near, f"{written.strip()} is {shown(near)} as a decimal"
    return None


def shown(feet: Fraction) -> str:
    """Feet as the description writes them: ``2 2/3``."""
    return feet_of_multiple(Fraction(8) / feet)


def take_feet(text: str) -> Taken | None:
    """The feet of a stop: a number marked as feet, else the last bare number that can be feet."""
    palm = _PALM.search(text)
    if palm is not None:
        feet = PALMS[int(palm[1])]
        return Taken(shown(feet), _without(text, palm), f"{palm[1]} palms are {shown(feet)} feet")
    for pattern in (_MARKED, _BARE):
        for match in reversed(list(pattern.finditer(text))):
            found = length(match[1])
            if found is not None:
                return Taken(shown(found[0]), _without(text, match), found[1])
    return None


def take_ranks(text: str) -> Taken | None:
    """Number of ranks of a compound stop: ``4fach``, ``3-5f.``, ``II rks``, ``IV``; the most."""
    match = _RANKS.search(text)
    if match is not None:
        return Taken(match[2], _without(text, match), _varies(match[1], match[2]))
    romans = list(_ROMAN_RANKS.finditer(text))
    if romans:
        match = romans[-1] if romans[-1].start() else romans[0]
        return Taken(str(ROMAN[match[1]]), _without(text, match))
    return None


def take_composition(text: str) -> tuple[tuple[str, ...], str] | None:
    """Feet of the rows: ``2 2/3 + 1 3/5``, or intervals such as ``15.19.22``; None if not given."""
    match = _COMPOSED.search(text)
    if match is not None:
        feet = [length(one) for one in re.findall(_NUMBER, match[0])]
        rows = tuple(shown(one[0]) for one in feet if one is not None)
        if len(rows) >= 2:
            return rows, _without(text, match)
    match = _DEGREES.search(text)
    if match is not None:
        from walkboard.scales.harmonics import multiple_of_interval  # noqa: PLC0415

        try:
            multiples = [multiple_of_interval(int(one)) for one in re.findall(r"\d+", match[1])]
        except Exception:
            return None
        return tuple(shown(Fraction(8) / one) for one in multiples), _without(text, match)
    return None


def decimal(written: str) -> float:
    """A number with a decimal point or comma."""
    return float(written.replace(",", "."))


def _varies(low: str | None, high: str) -> str:
    return "" if low is None else f"{low} to {high} ranks: the {high} are described from the bottom"


def _without(text: str, match: re.Match[str]) -> str:
    return f"{text[: match.start()]} {text[match.end() :]}"
