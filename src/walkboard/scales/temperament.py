"""Temperaments: twelve pitches to the octave, made by tempering the twelve fifths.

Conventions. A tempering is how much wider a fifth is than a pure one (3/2) [cents]: negative is
narrow, positive is wide. The twelve temperings of a closed circle add up to minus the Pythagorean
comma, because twelve pure fifths exceed seven octaves by that much.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from walkboard.errors import InputError, UnknownNameError
from walkboard.quantities import PURE_FIFTH_CENTS, PYTHAGOREAN_COMMA_CENTS
from walkboard.scales.keys import Key
from walkboard.scales.recipes import recipe, recipes

NOTES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")  # as tuners spell them
FIFTHS = tuple(f"{NOTES[7 * i % 12]}-{NOTES[7 * (i + 1) % 12]}" for i in range(12))  # C-G … F-C
ROUNDING_CENTS = 0.5  # a circle typed with rounded figures may miss its comma by this much

# Place of the second half of a split sharp in the chain of fifths: the pitch class it is reached
# from, and how many fifths up (+) or down (-). D♯ and A♯ are above G♯; A♭, D♭ and G♭ below E♭.
_BEYOND = {3: (8, 1), 10: (8, 2), 8: (3, -1), 1: (3, -2), 6: (3, -3)}
_LETTER = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_NOTE = re.compile(r"^([A-Ga-g])([#♯b♭]?)$")


@dataclass(frozen=True, slots=True)
class Temperament:
    """Twelve pitches of an octave.

    Attributes
    ----------
    name : str
    cents_above_c : tuple of 12 floats
        C, C#, D … B above C [cents]; the first is 0.
    """

    name: str
    cents_above_c: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.cents_above_c) != 12 or self.cents_above_c[0] != 0.0:
            raise ValueError("a temperament has twelve pitches, C to B, the first of them 0 cents")
        if any(abs(c - 100.0 * i) > 100.0 for i, c in enumerate(self.cents_above_c)):
            raise ValueError("a temperament's pitches lie within a semitone of equal temperament")

    def cents(self, key: Key) -> float:
        """Pitch of a key above the C below it [cents], 0 to 1200.

        The second half of a split sharp continues the chain of fifths beyond G♯ or below E♭ by the
        temperament's commonest fifth: in quarter-comma meantone A♭ is a diesis (41.06 cents) above
        G♯.
        """
        if key.split:
            return self._second_half(key.pitch_class)
        return self.cents_above_c[key.pitch_class]

    def _second_half(self, pitch_class: int) -> float:
        fifth = PURE_FIFTH_CENTS + sorted(self.tempering_cents.values())[6]
        start, steps = _BEYOND[pitch_class]
        return (self.cents_above_c[start] + steps * fifth) % 1200.0

    def offset_cents(self, key: Key) -> float:
        """Deviation from equal temperament with both agreeing at A [cents], + is sharp."""
        return self.cents(key) - 100.0 * key.pitch_class - (self.cents_above_c[9] - 900.0)

    def interval_cents(self, lower: Key, upper: Key) -> float:
        """Size of the interval from one key up to another [cents]."""
        octaves = upper.semitone // 12 - lower.semitone // 12
        return self.cents(upper) - self.cents(lower) + 1200.0 * octaves

    @property
    def tempering_cents(self) -> Mapping[str, float]:
        """How much wider each fifth is than a pure one [cents], by name, ``C-G`` … ``F-C``."""
        sizes = (
            (self.cents_above_c[7 * (i + 1) % 12] - self.cents_above_c[7 * i % 12]) % 1200.0
            for i in range(12)
        )
        return MappingProxyType(
            {fifth: size - PURE_FIFTH_CENTS for fifth, size in zip(FIFTHS, sizes, strict=True)}
        )

    def rotated(self, root: str) -> Temperament:
        """The same pattern of fifths, moved from C to the root.

        Parameters
        ----------
        root : str
            A note such as ``D`` or ``Bb``.

        Raises
        ------
        UnknownNameError
            If the root is not a note.
        """
        shift = pitch_class(root)
        if shift == 0:
            return self
        moved = [self.cents_above_c[(i - shift) % 12] for i in range(12)]
        above_c = tuple((c - moved[0]) % 1200.0 for c in moved)
        return Temperament(f"{self.name} on {NOTES[shift]}", above_c)


def pitch_class(note: str) -> int:
    """Semitones above C, 0 to 11, of a note without octave such as ``F#`` or ``Bb``.

    Raises
    ------
    UnknownNameError
        If the text is not a note.
    """
    match = _NOTE.match(note.strip())
    if match is None:
        raise UnknownNameError(
            f"{note!r} is not the name of a note.",
            fix="Write a letter and # or b where needed: C, F#, Bb.",
        )
    letter, accidental = match.groups()
    step = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}[accidental]
    return (_LETTER[letter.upper()] + step) % 12


def from_fifths(name: str, tempering_cents: Mapping[str, float]) -> Temperament:
    """A custom temperament, from the tempering of its fifths.

    Parameters
    ----------
    name : str
    tempering_cents : mapping of str to float
        How much wider a fifth is than a pure one [cents], negative narrow, by its two notes:
        ``C-G``, ``Bb-F``; ``A#-F`` means the same as ``Bb-F``. A fifth not named is pure; if eleven
        are named, the twelfth closes the circle.

    Raises
    ------
    InputError
        If a fifth is misspelled or named twice, or if the circle does not close: the temperings
        must add up to −23.46 cents. Up to 0.5 cent is treated as rounding and shared among the
        tempered fifths in proportion to their tempering.

    Notes
    -----
    Arithmetic of the circle of fifths: twelve pure fifths less seven octaves are the Pythagorean
    comma, 23.46001 cents.
    """
    circle: dict[int, float] = {}
    for spelling, cents in tempering_cents.items():
        low = _lower_of_fifth(spelling)
        if low in circle:
            raise InputError(
                f"the fifth {spelling} is given twice.",
                where=f"temperament {name}",
                fix="Name each fifth once; A#-F is Bb-F.",
            )
        if not abs(cents) < 100.0:
            raise InputError(
                f"the fifth {spelling} is tempered by {cents} cents.",
                where=f"temperament {name}",
                fix="Give cents, less than 100, negative for a narrow fifth.",
            )
        circle[low] = float(cents)
    left = -PYTHAGOREAN_COMMA_CENTS - sum(circle.values())
    unnamed = [low for low in range(12) if low not in circle]
    if len(unnamed) == 1:
        circle[unnamed[0]] = left
    else:
        total = sum(abs(cents) for cents in circle.values())
        if abs(left) > ROUNDING_CENTS or total == 0.0:
            raise InputError(
                f"the circle of fifths does not close: it misses by {left:+.2f} cents.",
                where=f"temperament {name}",
                fix="The twelve temperings must add up to -23.46 cents (a fifth not named is "
                "pure); name eleven fifths and the twelfth is worked out.",
            )
        circle = {low: cents + left * abs(cents) / total for low, cents in circle.items()}
    above_c = [0.0] * 12
    pitch = 0.0
    for step in range(11):
        low = 7 * step % 12
        pitch = (pitch + PURE_FIFTH_CENTS + circle.get(low, 0.0)) % 1200.0
        above_c[7 * (step + 1) % 12] = pitch
    try:
        return Temperament(name, tuple(above_c))
    except ValueError as wrong:
        raise InputError(str(wrong) + ".", where=f"temperament {name}") from wrong


def names() -> tuple[str, ...]:
    """Names of the known temperaments."""
    return tuple(recipes())


def known(name: str) -> Temperament:
    """Temperament of a name, as ``equal``, ``werckmeister iii``, ``meantone 1/4``.

    Parameters
    ----------
    name : str
        One of `names` or another name, in any spelling (case, hyphens, iii or 3). With ``on`` and
        a note, as ``kirnberger iii on D``, the pattern is moved from C to that note.

    Raises
    ------
    UnknownNameError
        If there is no such temperament or note; the message lists the known ones.

    Notes
    -----
    The tempering of each fifth is given with its source in ``temperaments.toml``; agreement with
    the printed tables is within their rounding (``tests/published``).
    """
    plain, on, root = name.rpartition(" on ")
    made = recipe(plain if on else name)
    temperament = from_fifths(made.name, made.tempering_cents)
    return temperament.rotated(root) if on else temperament


def _lower_of_fifth(spelling: str) -> int:
    """Pitch class of the lower note of a fifth such as ``C-G``."""
    notes = re.split(r"\s*[-–]\s*", spelling.strip())
    if len(notes) == 2:
        low, high = (pitch_class(note) for note in notes)
        if (high - low) % 12 == 7:
            return low
    raise InputError(
        f"{spelling!r} is not a fifth.",
        fix=f"Write its two notes, the lower first: {', '.join(FIFTHS)}.",
    )
