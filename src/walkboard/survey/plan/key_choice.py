"""Which keys of every keyboard a survey walks, as written: ``every=3``, ``C,F#``, ``C2-C5``."""

from __future__ import annotations

import re
from dataclasses import dataclass

from walkboard.errors import InputError, UnknownNameError
from walkboard.organ.model import Division
from walkboard.scales.keys import Key

_EVERY = re.compile(r"^every\s*=\s*(\d+)$")
_SPAN = re.compile(r"^([A-Ga-g][#♯b♭]?-?\d)\s*[-–]\s*([A-Ga-g][#♯b♭]?-?\d)$")


@dataclass(frozen=True, slots=True)
class KeysWanted:
    """A choice of keys; called with a division and one of its keys.

    Attributes
    ----------
    every : int
        Every n-th key of a keyboard, counted from its lowest.
    notes : frozenset of int
        Pitch classes, semitones above C.
    spans : tuple of (Key, Key)
        From key to key, both included. Without notes and spans, all keys are chosen.
    """

    every: int = 1
    notes: frozenset[int] = frozenset()
    spans: tuple[tuple[Key, Key], ...] = ()

    def __call__(self, division: Division, key: Key) -> bool:
        """Whether a key is chosen."""
        if (key.semitone - division.lowest.semitone) % self.every:
            return False
        if not self.notes and not self.spans:
            return True
        return key.pitch_class in self.notes or any(a <= key <= b for a, b in self.spans)

    @classmethod
    def parse(cls, text: str) -> KeysWanted:
        """Parse a choice: parts separated by commas, such as ``C,F#`` or ``C2-C5,every=2``.

        Raises
        ------
        InputError
            If it is not a valid choice.
        """
        every, notes, spans = 1, set[int](), []
        for part in (part.strip() for part in text.split(",")):
            stride, span = _EVERY.match(part), _SPAN.match(part)
            try:
                if stride and int(stride.group(1)) > 0:
                    every = int(stride.group(1))
                elif span:
                    spans.append((Key.parse(span.group(1)), Key.parse(span.group(2))))
                elif part[-1:].isdigit():
                    spans.append((Key.parse(part), Key.parse(part)))
                else:
                    notes.add(Key.parse(f"{part}4").pitch_class)
            except UnknownNameError:
                raise _bad(part) from None
        if any(high < low for low, high in spans):
            raise InputError("A span of keys runs upward.", where=text, fix="Write C2-C5.")
        return cls(every, frozenset(notes), tuple(spans))


def _bad(part: str) -> InputError:
    return InputError(
        f"{part!r} names no keys.", fix="Write every=3, or C,F# for all of those, or C2-C5."
    )
