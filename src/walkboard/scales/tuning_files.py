"""A keyboard's measured pitches as files that synthesisers and notation programs read.

- MIDI Tuning Standard bulk dump (MIDI 1.0 Detailed Specification, MIDI Tuning, non-real-time): one
  system-exclusive message of 408 bytes, three of them a key: the semitone below, and how far above
  it in steps of 100/16384 cent.
- Scala scale (``.scl``) and keyboard map (``.kbm``), plain text as the format's description has it.

Key by key throughout: every key keeps its own pitch, because twelve notes for all octaves would
lose 1 to 4 cents of a real organ. All formats written from their descriptions, from memory.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from walkboard.errors import InputError
from walkboard.quantities import cents_of_ratio, ratio_of_cents

MIDI_KEYS = 128
_A4_KEY, _A4_HZ = 69, 440.0  # MIDI key 69 sounds 440 Hz in equal temperament (MIDI 1.0)
_STEPS = 1 << 14  # of a semitone in a dump
_NAME_BYTES = 16
_NON_REAL_TIME, _ALL_DEVICES, _TUNING, _DUMP = 0x7E, 0x7F, 0x08, 0x01


@dataclass(frozen=True)
class KeyTuning:
    """The pitch of each key.

    Attributes
    ----------
    name : str
    hz : mapping of MIDI key number to Hz
        At the 8′ pitch of the key; the keys that were measured.
    air_celsius : float
        The air it was measured at [°C].
    words : str
        What was measured, when and how, for the reader of the file.
    """

    name: str
    hz: Mapping[int, float]
    air_celsius: float
    words: str = ""
    _offsets: Mapping[int, float] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not self.hz:
            raise InputError(
                f"No key of {self.name} was measured.", fix="Listen to a walk of it first."
            )
        for key, hz in self.hz.items():
            if not (0 <= key < MIDI_KEYS and math.isfinite(hz) and hz > 0.0):
                raise InputError(f"Key {key} at {hz:g} Hz cannot be in a tuning.")
        offsets = {key: cents_of_ratio(hz / equal_hz(key)) for key, hz in sorted(self.hz.items())}
        object.__setattr__(self, "_offsets", MappingProxyType(offsets))

    @property
    def lowest(self) -> int:
        """The lowest measured key."""
        return min(self.hz)

    @property
    def highest(self) -> int:
        """The highest measured key."""
        return max(self.hz)

    def cents(self, key: int) -> float:
        """How far a key is above equal temperament at A4 = 440 Hz [cents].

        A key that was not measured takes the nearest measured key of its own note name; if there is
        none, the nearest key.
        """
        if key in self._offsets:
            return self._offsets[key]
        same = [known for known in self._offsets if (known - key) % 12 == 0]
        return self._offsets[min(same or self._offsets, key=lambda known: abs(known - key))]

    @property
    def not_measured(self) -> tuple[int, ...]:
        """Keys between the lowest and the highest that take another key's deviation."""
        return tuple(k for k in range(self.lowest, self.highest + 1) if k not in self.hz)


def equal_hz(key: int) -> float:
    """Frequency of a MIDI key in equal temperament at A4 = 440 Hz [Hz]."""
    return _A4_HZ * ratio_of_cents(100.0 * (key - _A4_KEY))


def bulk_dump(tuning: KeyTuning, *, program: int = 0) -> bytes:
    """The tuning as a MIDI Tuning Standard bulk dump, 408 bytes with F0 and F7.

    Each key is within 0.0031 cent of its pitch (half a step of the format). The checksum is the
    exclusive or of everything between F0 and itself; programs differ in what theirs covers.

    Parameters
    ----------
    tuning : KeyTuning
    program : int
        Number of the tuning in the synthesiser, 0 to 127.
    """
    name = tuning.name.encode("ascii", "replace")[:_NAME_BYTES].ljust(_NAME_BYTES)
    body = bytearray([_NON_REAL_TIME, _ALL_DEVICES, _TUNING, _DUMP, program & 0x7F]) + name
    for key in range(MIDI_KEYS):
        steps = round((key + tuning.cents(key) / 100.0) * _STEPS)
        # 7F 7F 7F means "leave this key unchanged"; one step below is the highest possible pitch.
        steps = min(max(steps, 0), MIDI_KEYS * _STEPS - 2)
        semitone, fraction = divmod(steps, _STEPS)
        body += bytes([semitone, fraction >> 7, fraction & 0x7F])
    checksum = 0
    for byte in body:
        checksum ^= byte
    return bytes([0xF0, *body, checksum & 0x7F, 0xF7])


def scale_file(tuning: KeyTuning) -> str:
    """The tuning as a Scala scale: every key of the compass a note, the last one the formal octave.

    Use it with `keyboard_map`: alone it does not say which key or pitch it begins at.
    """
    first = tuning.lowest
    notes = []
    for key in range(first + 1, tuning.highest + 2):
        cents = 100.0 * (key - first) + tuning.cents(key) - tuning.cents(first)
        notes.append(f" {cents:.5f}")
    return "\n".join(
        [
            f"! {_line(tuning.name)}.scl",
            "!",
            *(f"! {line}" for line in _remarks(tuning)),
            f"{_line(tuning.name)}, key by key, at {tuning.air_celsius:.1f} degrees C",
            f" {len(notes)}",
            "!",
            *notes,
            "",
        ]
    )


def keyboard_map(tuning: KeyTuning) -> str:
    """The Scala keyboard map that goes with `scale_file`: which key, and its frequency."""
    first, last = tuning.lowest, tuning.highest
    size = last - first + 1
    reference = min(tuning.hz, key=lambda key: abs(key - _A4_KEY))
    return "\n".join(
        [
            f"! {_line(tuning.name)}.kbm",
            *(f"! {line}" for line in _remarks(tuning)),
            "! Size of map:",
            f"{size}",
            "! First and last MIDI key to retune:",
            f"{first}",
            f"{last}",
            "! Middle note, where scale degree 0 is mapped to:",
            f"{first}",
            "! Reference key and its frequency:",
            f"{reference}",
            f"{tuning.hz[reference]:.6f}",
            "! Scale degree that is the formal octave:",
            f"{size}",
            "! Mapping:",
            *(str(degree) for degree in range(size)),
            "",
        ]
    )


def _remarks(tuning: KeyTuning) -> list[str]:
    remarks = [f"Air {tuning.air_celsius:.1f} degrees C.", _line(tuning.words)]
    if tuning.not_measured:
        keys = " ".join(map(str, tuning.not_measured))
        remarks.append(
            f"Not measured, taken from the same note in another octave: MIDI keys {keys}"
        )
    return [line for line in remarks if line]


def _line(text: str) -> str:
    """Plain letters on one line: readers of these formats expect ISO 8859-1 at best."""
    plain = " ".join(text.split()).replace("′", "'")
    return plain.encode("latin-1", "replace").decode("latin-1")
