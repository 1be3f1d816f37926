"""Keys and their names.

A key is written in scientific pitch names of the key itself: C2 is the lowest key of a manual (65.4
Hz at 8′ and A4 = 440 Hz), C4 is middle C. Helmholtz names can be shown beside it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import ClassVar, Self

from walkboard.errors import UnknownNameError

NOTE_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_LETTER = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ACCIDENTAL = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}
_NAME = re.compile(r"^([A-Ga-g])([#♯b♭]?)(-?\d{1,2})(\*?)$")
# Spelling of the second half of a split sharp, which the usual twelve notes leave out.
_SECOND_HALF = {1: "Db", 3: "D#", 6: "Gb", 8: "Ab", 10: "A#"}
_GERMAN = ("C", "Cis", "D", "Dis", "E", "F", "Fis", "G", "Gis", "A", "B", "H")
_GERMAN_HALF = {1: "Des", 3: "Es", 6: "Ges", 8: "As", 10: "Ais"}
_HELMHOLTZ = re.compile(r"^([A-Ga-g])([#♯b♭]?)(?:([1-5])|([′']*)|([͵,]*))$")


@dataclass(frozen=True, slots=True, order=True)
class Key:
    """One key of a keyboard.

    Attributes
    ----------
    semitone : int
        Semitones with C4 (middle C) = 60 and A4 = 69, the numbering that MIDI 1.0 uses.
    split : bool
        Whether it is the second half of a split sharp: the D♯ beside an E♭, the A♭ beside a G♯.
    """

    semitone: int
    split: bool = False

    HIGHEST: ClassVar[int] = 143  # B10: the last pipe of a long unit rank; chosen

    def __post_init__(self) -> None:
        if not 0 <= self.semitone <= self.HIGHEST:
            raise ValueError(f"a key's semitone runs from 0 to {self.HIGHEST}, not {self.semitone}")
        if self.split and self.semitone % 12 not in _SECOND_HALF:
            raise ValueError("only a sharp can be split")

    @classmethod
    def parse(cls, name: str) -> Self:
        """Key of a scientific name such as ``C2``, ``F#3`` or ``Bb4``.

        ``Ab3*`` is the second half of a split sharp, whose first half is ``G#3``.

        Raises
        ------
        UnknownNameError
            If it is not the name of a key.
        """
        match = _NAME.match(name.strip())
        if match is None:
            raise UnknownNameError(
                f"{name!r} is not the name of a key.",
                fix="Write a letter, # or b where needed, and the octave: C2, F#3, Bb4.",
            )
        letter, accidental, octave, star = match.groups()
        semitone = 12 * (int(octave) + 1) + _LETTER[letter.upper()] + _ACCIDENTAL[accidental]
        if not 0 <= semitone <= cls.HIGHEST:
            raise UnknownNameError(f"{name!r} lies off any keyboard.", fix="Use C-1 to B10.")
        if star and semitone % 12 not in _SECOND_HALF:
            raise UnknownNameError(
                f"{name!r} is not a sharp, so it cannot be split.", fix="Leave out the star."
            )
        return cls(semitone, bool(star))

    @classmethod
    def from_helmholtz(cls, name: str) -> Self:
        """Key of a Helmholtz name: ``C`` is C2, ``c`` is C3, ``c1`` or ``c′`` is C4.

        Not to be mixed with `parse`: there ``c1`` is the key C1, three octaves lower. The German B
        (B flat) and H are not read.

        Raises
        ------
        UnknownNameError
            If it is not the name of a key.
        """
        match = _HELMHOLTZ.match(name.strip())
        if match is None:
            raise UnknownNameError(
                f"{name!r} is not the Helmholtz name of a key.",
                fix="Write C, c, c1 or c′, c2 …; C1 or C͵ for the octave below C.",
            )
        letter, accidental, number, primes, commas = match.groups()
        count = int(number) if number else len(primes or commas or "")
        octave = 3 + count if letter.islower() else 2 - count
        semitone = 12 * (octave + 1) + _LETTER[letter.upper()] + _ACCIDENTAL[accidental]
        if (letter.islower() and commas) or (letter.isupper() and primes) or semitone < 0:
            raise UnknownNameError(
                f"{name!r} mixes the marks of high and low octaves.",
                fix="Primes rise from small letters (c′), commas fall from capitals (C͵).",
            )
        return cls(semitone)

    @property
    def pitch_class(self) -> int:
        """Semitones above C, 0 to 11."""
        return self.semitone % 12

    @property
    def name(self) -> str:
        """Scientific name with sharps, as ``F#3``."""
        octave = self.semitone // 12 - 1
        if self.split:
            return f"{_SECOND_HALF[self.pitch_class]}{octave}*"
        return f"{NOTE_NAMES[self.pitch_class]}{octave}"

    @property
    def helmholtz(self) -> str:
        """Helmholtz name: C2 is ``C``, C3 is ``c``, C4 is ``c′``."""
        note = _SECOND_HALF[self.pitch_class] if self.split else NOTE_NAMES[self.pitch_class]
        note = note.replace("#", "♯").replace("b", "♭")
        octave = self.semitone // 12 - 1
        star = "*" if self.split else ""
        if octave >= 3:
            return note.lower() + "′" * (octave - 3) + star
        return note + "͵" * (2 - octave) + star

    @property
    def german(self) -> str:
        """Helmholtz name with H and B: ``h`` is B3, ``b`` is B♭3, ``fis′`` is F♯4."""
        octave = self.semitone // 12 - 1
        note = _GERMAN_HALF[self.pitch_class] if self.split else _GERMAN[self.pitch_class]
        star = "*" if self.split else ""
        if octave >= 3:
            return note.lower() + "′" * (octave - 3) + star
        return note + "͵" * (2 - octave) + star

    @property
    def english(self) -> str:
        """Name as on English organs: ``CC`` is C2, ``C`` is C3, ``c`` is C4, ``c′`` is C5.

        The letters of Dickson, Practical Organ-Building: CC for the 8 foot C, tenor C above it.
        """
        note = _SECOND_HALF[self.pitch_class] if self.split else NOTE_NAMES[self.pitch_class]
        sign = note[1:].replace("#", "♯").replace("b", "♭") + ("*" if self.split else "")
        octave = self.semitone // 12 - 1
        if octave >= 4:
            return note[0].lower() + sign + "′" * (octave - 4)
        return note[0] * (4 - octave) + sign

    def up(self, semitones: int) -> Key:
        """The key so many semitones up (or down); octaves of a split key stay split."""
        return Key(self.semitone + semitones, self.split and semitones % 12 == 0)

    def __str__(self) -> str:
        return self.name


def keys_from(lowest: Key, highest: Key) -> int:
    """Number of keys of a keyboard from its lowest to its highest, both counted.

    Raises
    ------
    ValueError
        If the highest is below the lowest.
    """
    if highest < lowest:
        raise ValueError(f"a keyboard runs upward, not from {lowest} to {highest}")
    return highest.semitone - lowest.semitone + 1
