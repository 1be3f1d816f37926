"""Recipes of the temperaments known by name: the tempering of each fifth, as data.

They are in ``temperaments.toml`` in this package, in fractions of a comma and with their source.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files
from types import MappingProxyType

from walkboard.errors import UnknownNameError
from walkboard.quantities import PYTHAGOREAN_COMMA_CENTS, SYNTONIC_COMMA_CENTS

_COMMA_CENTS = {"PC": PYTHAGOREAN_COMMA_CENTS, "SC": SYNTONIC_COMMA_CENTS}
_SHARE = re.compile(r"([+-]\d+(?:/\d+)?)\s+(PC|SC)")
_ROMAN = {"i": "1", "ii": "2", "iii": "3", "iv": "4", "v": "5"}


@dataclass(frozen=True, slots=True)
class Recipe:
    """How a known temperament is made.

    Attributes
    ----------
    name : str
    also : tuple of str
        Other names for it.
    tempering_cents : mapping of str to float
        By fifth [cents], negative narrow; fifths not named are pure.
    source : str
        Where the fifths, or the pitches checked against them, are printed.
    """

    name: str
    also: tuple[str, ...]
    tempering_cents: Mapping[str, float]
    source: str


@cache
def recipes() -> Mapping[str, Recipe]:
    """All recipes by their name, in the order of the data file."""
    text = files("walkboard.scales").joinpath("temperaments.toml").read_text(encoding="utf-8")
    found = {}
    for row in tomllib.loads(text)["temperament"]:
        tempering = {
            fifth: share_cents(share)
            for fifths, share in row["fifths"].items()
            for fifth in fifths.split()
        }
        found[row["name"]] = Recipe(
            name=row["name"],
            also=tuple(row.get("also", ())),
            tempering_cents=MappingProxyType(tempering),
            source=row["source"],
        )
    return MappingProxyType(found)


def recipe(name: str) -> Recipe:
    """Recipe of a temperament by any of its names, in any spelling (case, hyphens, iii or 3).

    Raises
    ------
    UnknownNameError
        If there is no such name; the message lists the known ones.
    """
    try:
        return _by_any_name()[_plain(name)]
    except KeyError:
        raise UnknownNameError(
            f"There is no temperament {name!r}.",
            fix=f"There are: {', '.join(recipes())}; or give the tempering of each fifth.",
        ) from None


def share_cents(share: str) -> float:
    """Cents of a fraction of a comma such as ``-1/4 PC`` or ``-1 PC +1 SC``.

    Raises
    ------
    ValueError
        If the text does not have that form.
    """
    if _SHARE.sub("", share).strip() or not share.strip():
        raise ValueError(f"{share!r} is not a share of commas such as '-1/4 PC +3/16 SC'")
    return sum(float(Fraction(part)) * _COMMA_CENTS[comma] for part, comma in _SHARE.findall(share))


@cache
def _by_any_name() -> Mapping[str, Recipe]:
    return {_plain(name): r for r in recipes().values() for name in (r.name, *r.also)}


def _plain(name: str) -> str:
    """A name without case, hyphens, dots and roman numerals."""
    words = re.sub(r"[\s_\-–.,()]+", " ", name.lower()).split()
    return " ".join(_ROMAN.get(word, word) for word in words)
