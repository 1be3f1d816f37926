"""A pipe's multiple of its key's 8′ pitch, from feet or from an interval.

Mutations and mixtures are tuned pure to the unison: a 1 3/5′ pipe sounds exactly 5 times the 8′
pitch, 13.7 cents flat of the equally tempered third above.
"""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction
from types import MappingProxyType

from walkboard.errors import InputError

UNISON_FEET = Fraction(8)

# Degrees of the diatonic scale above the key as the organ uses them: the seventh is the harmonic
# one (7:4), the others are just. Common practice (mixture numerals), no source.
_DEGREES = MappingProxyType(
    {
        1: Fraction(1),
        2: Fraction(9, 8),
        3: Fraction(5, 4),
        5: Fraction(3, 2),
        7: Fraction(7, 4),
    }
)
# 8, or 2/3, or 2 2/3; a space or a hyphen must separate whole feet from the fraction
_FEET = re.compile(r"^(?:(\d+)|(?:(\d+)(?:\s+|\s*[-–]\s*))?(\d+)\s*/\s*(\d+))$")


def multiple_of_feet(feet: str | int | Fraction) -> Fraction:
    """Multiple of the 8′ pitch [-] of a stop named by its feet: 8 / feet.

    Parameters
    ----------
    feet : str, int or Fraction
        As ``8``, ``2 2/3``, ``2⅔``, ``8/9``, with or without the mark ′.

    Raises
    ------
    InputError
        If the text is not a length in feet.

    Notes
    -----
    Arithmetic. A pipe's nominal length halves where its frequency doubles; printed for 4, 2 2/3, 2,
    1 3/5 and 1 1/3 as harmonics 2 to 6 in J. Speller's tables of organ pipes.
    """
    return UNISON_FEET / parse_feet(feet)


def parse_feet(feet: str | int | Fraction) -> Fraction:
    """Nominal length [ft] as written: ``2 2/3``, ``2⅔′`` or ``8/9``.

    Raises
    ------
    InputError
        If the text is not a length in feet.
    """
    length = _fraction(feet) if isinstance(feet, str) else Fraction(feet)
    if length is None or length <= 0:
        raise InputError(
            f"{feet!r} is not a length in feet.",
            fix="Write whole feet and a fraction: 8, 2 2/3, 1 3/5, 8/9.",
        )
    return length


def multiple_of_interval(interval: int) -> Fraction:
    """Multiple of the 8′ pitch [-] of a mixture's row named by its interval above the key.

    Parameters
    ----------
    interval : int
        Diatonic degrees counted from the key as 1: 8 is the octave, 12 the twelfth, 15 two octaves,
        19, 22, 26, 29 …; thirds are 10, 17, 24; the septième is 14 or 21.

    Raises
    ------
    InputError
        If no pipes are made for the interval.

    Notes
    -----
    Common practice, no source; 12, 15 and 19 are printed by registration tutors.
    """
    octaves, degree = divmod(interval - 1, 7)
    if not 1 <= interval <= 50 or interval == 2 or degree + 1 not in _DEGREES:
        raise InputError(
            f"{interval} is not the interval of a mixture's row.",
            fix="Write unisons, fifths, thirds or sevenths above the key: "
            "1, 5, 8, 10, 12, 14, 15, 17, 19, 21, 22, 24, 26, 29, 33, 36.",
        )
    return _DEGREES[degree + 1] * (1 << octaves)


def feet_of_multiple(multiple: Fraction) -> str:
    """Feet of a multiple of the 8′ pitch, as written: ``2 2/3``."""
    whole, rest = divmod(UNISON_FEET / multiple, 1)
    if rest == 0:
        return str(whole)
    return f"{whole} {rest}" if whole else str(rest)


def _fraction(text: str) -> Fraction | None:
    bare = text.strip().rstrip("'′").strip()
    for mark in ("feet", "foot", "ft"):
        bare = bare.removesuffix(mark).strip()
    # ⅔ becomes 2⁄3 with its own stroke; a space keeps 2⅔ from turning into 22/3
    spaced = "".join(f" {c} " if unicodedata.category(c) == "No" else c for c in bare)
    plain = unicodedata.normalize("NFKC", spaced).replace("⁄", "/").strip()
    match = _FEET.match(plain)
    if match is None:
        return None
    alone, whole, top, bottom = match.groups()
    if alone is not None:
        return Fraction(int(alone))
    return Fraction(int(whole or 0)) + Fraction(int(top), int(bottom)) if int(bottom) else None
