"""Which keys a keyboard has, and which key each pipe of a rank plays at.

Most keyboards have one key per semitone. Short and broken octaves leave keys out; a split sharp
adds one. A key is named after the note it sounds, so the keys of a short octave on C are C2, D2,
E2, F2, G2, A2, A#2, B2, whatever they look like.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

from walkboard.scales.keys import Key
from walkboard.scales.temperament import pitch_class

# Semitones above C that the lowest octave leaves out. In a short octave the key that looks like E
# plays C, F♯ plays D and G♯ plays E; in a broken one F♯ and G♯ are split and keep their own notes
# at the back. Common practice, no source.
LEFT_OUT = {"short": (1, 3, 6, 8), "broken": (1, 3)}


class KeyboardFields(Protocol):
    """The fields of a division's table that define its keys."""

    @property
    def keys(self) -> int:
        """How many."""

    @property
    def octave(self) -> str | None:
        """``short``, ``broken`` or None."""

    @property
    def missing(self) -> list[str]:
        """Names of missing keys."""

    @property
    def split(self) -> list[str]:
        """Names of split notes or keys."""


def keyboard(lowest: Key, fields: KeyboardFields) -> tuple[Key, ...]:
    """Every key of a keyboard, upward, up to the highest nameable key."""
    left_out = {Key.parse(name) for name in fields.missing}
    if fields.octave is not None:
        bottom = lowest.semitone - lowest.semitone % 12
        left_out |= {Key(bottom + above) for above in LEFT_OUT[fields.octave]}
    halves = second_halves(fields.split)
    found: list[Key] = []
    semitone = lowest.semitone
    while len(found) < fields.keys and semitone <= Key.HIGHEST:
        found.append(Key(semitone))
        if halves.has(semitone):
            found.append(Key(semitone, split=True))
        found = [key for key in found if key not in left_out]
        semitone += 1
    return tuple(found[: fields.keys])


def is_regular(keys: tuple[Key, ...]) -> bool:
    """Whether there is one key per semitone."""
    return all(not key.split and key.semitone == keys[0].semitone + n for n, key in enumerate(keys))


@dataclass(frozen=True, slots=True)
class SecondHalves:
    """Which sharps are split: in every octave, and individually."""

    pitch_classes: frozenset[int]
    semitones: frozenset[int]

    def has(self, semitone: int) -> bool:
        """Whether the key of a semitone is split."""
        return semitone % 12 in self.pitch_classes or semitone in self.semitones


def second_halves(split: Iterable[str]) -> SecondHalves:
    """The split sharps of names such as ``Eb`` (in every octave) and ``G#3``."""
    names = list(split)
    single = [name for name in names if re.search(r"\d$", name)]
    return SecondHalves(
        frozenset(pitch_class(name) for name in names if name not in single),
        frozenset(Key.parse(name).semitone for name in single),
    )


def rank_keys(
    board: tuple[Key, ...], from_key: Key, pipes: int, missing: Iterable[str] = ()
) -> tuple[Key, ...]:
    """The key of each pipe of a rank, upward: its division's keys, then one per semitone.

    Parameters
    ----------
    board : tuple of Key
        The division's keys, upward.
    from_key : Key
        The key of its first pipe.
    pipes : int
        How many; fewer are returned if the nameable keys end.
    missing : iterable of str
        Names of keys without a pipe.
    """
    left_out = {Key.parse(name) for name in missing}
    above = (Key(semitone) for semitone in range(board[-1].semitone + 1, Key.HIGHEST + 1))
    keys = (key for key in (*board, *above) if key >= from_key and key not in left_out)
    return tuple(key for key, _ in zip(keys, range(pipes), strict=False))
