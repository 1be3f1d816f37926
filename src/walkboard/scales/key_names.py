"""Reads key names as different countries write them: ``c1``, ``c'``, ``CC``, ``fis``, ``h``."""

from __future__ import annotations

import re
from enum import StrEnum

from walkboard.scales.keys import NOTE_NAMES, Key

# Semitones above C of a note's name. B and H are both read as B natural: nothing shows whether a
# list means B flat by B.
_NOTES = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11, "h": 11}
SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵°º", "01234500")
_NAME = re.compile(r"^([A-Ha-h])([A-Ha-h]*)(is|es|s|#|♯|b|♭)?\s*(?:([0-7])|('{1,4}))?$")


def read_key(name: str) -> Key | None:
    """Key of a written name: ``c1``, ``c'``, ``c°``, ``CC``, ``C4``, ``fis``, ``h``.

    A capital with a number from 2 is read as a scientific name, a small letter with a number by
    Helmholtz: ``C4`` and ``c1`` are both middle C.
    """
    text = name.strip().translate(SUPERSCRIPTS)
    match = _NAME.match(text)
    if match is None:
        return None
    letter, doubled, accidental, number, primes = match.groups()
    if doubled and set(doubled) != {letter}:
        return None
    step = _NOTES[letter.lower()] + {
        "is": 1,
        "#": 1,
        "♯": 1,
        "es": -1,
        "s": -1,
        "b": -1,
        "♭": -1,
    }.get(accidental or "", 0)
    if letter.isupper() and number is not None and int(number) >= 2 and not doubled:
        octave = int(number)
    elif letter.isupper():
        # CC is the English name of the 8 foot C; C alone means the same elsewhere, but tenor C
        # beside CC
        octave = 2 - (int(number) if number else 0)
    else:
        octave = 3 + len(doubled) + (int(number) if number else len(primes or ""))
    semitone = 12 * (octave + 1) + step
    return Key(semitone) if 0 <= semitone <= 127 else None


class Names(StrEnum):
    """How keys are named."""

    SCIENTIFIC = "scientific"
    HELMHOLTZ = "helmholtz"
    GERMAN = "german"
    ENGLISH = "english"
    FRENCH = "french"


# By the language of a page or sheet, BCP 47. Common practice, no source.
USUAL_NAMES = {"de": Names.GERMAN, "fr": Names.FRENCH}


# French organs count their lowest octave as the first. Common practice, no source.
_FRENCH = ("do", "do♯", "ré", "ré♯", "mi", "fa", "fa♯", "sol", "sol♯", "la", "si♭", "si")


def name_of(key: Key, names: Names) -> str:
    """Name of a key: ``F♯3``, ``f♯`` by Helmholtz, ``fis`` in German, ``fa♯2`` in French."""
    if names is Names.HELMHOLTZ:
        return key.helmholtz
    if names is Names.GERMAN:
        return key.german
    if names is Names.ENGLISH:
        return key.english
    if names is Names.FRENCH:
        octave, place = key.semitone // 12 - 1, key.semitone % 12
        return f"{_FRENCH[place]}{octave - 1}{'*' if key.split else ''}"
    return key.name.replace("#", "♯")


def note_of(key: Key, names: Names) -> str:
    """Name of a key in any octave: ``F♯``, ``Fis`` in German, ``fa♯`` in French."""
    if names is Names.FRENCH:
        return _FRENCH[key.pitch_class]
    if names is Names.GERMAN:
        return Key(key.pitch_class + 36).german  # of the octave from C2, which has no mark
    return NOTE_NAMES[key.pitch_class].replace("#", "♯")
