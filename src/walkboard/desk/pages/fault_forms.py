"""Shared by the fault forms: fault words by group, stops, keys, and cleaned texts."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

from walkboard.book.records import FaultKind
from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.scales.keys import Key
from walkboard.sheets.keyholder import stop_words

LONGEST_WORDS, LONGEST_NAME = 1000, 60
GROUPS: tuple[tuple[str, tuple[FaultKind, ...]], ...] = (
    (
        "note",
        (FaultKind.CIPHER, FaultKind.DEAD_NOTE, FaultKind.STICKING_KEY, FaultKind.SLOW_SPEECH),
    ),
    ("pitch", (FaultKind.OUT_OF_TUNE, FaultKind.WOLF, FaultKind.PULL)),
    (
        "speech",
        (
            FaultKind.OFF_SPEECH,
            FaultKind.OVERBLOWN,
            FaultKind.CHIFF,
            FaultKind.FLUTTER,
            FaultKind.RATTLE,
            FaultKind.OUT_OF_REGULATION,
            FaultKind.DIRTY_TONGUE,
            FaultKind.BENT_PIPE,
        ),
    ),
    (
        "wind",
        (FaultKind.WIND_SAG, FaultKind.ROBBING, FaultKind.RUNNING, FaultKind.TREMULANT_LEAK),
    ),
    ("rest", (FaultKind.OTHER,)),
)


@dataclass(frozen=True, slots=True)
class FormChoices:
    """The choices of a fault form's fields.

    Attributes
    ----------
    groups : tuple of (group, kinds)
    stops : tuple of (division's name, its stops)
        Each stop as its id and its name with feet.
    keys : tuple of Key
        From the lowest to the highest of all keyboards.
    """

    groups: tuple[tuple[str, tuple[FaultKind, ...]], ...]
    stops: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    keys: tuple[Key, ...]


def choices(organ: Organ) -> FormChoices:
    """The choices for an organ."""
    lowest = min(division.lowest for division in organ.divisions)
    highest = max(division.highest for division in organ.divisions)
    return FormChoices(
        GROUPS,
        tuple(
            (
                d.name,
                tuple((s.id, stop_words(organ, s)) for s in organ.stops if s.division == d.id),
            )
            for d in organ.divisions
            if any(stop.division == d.id for stop in organ.stops)
        ),
        tuple(Key(s) for s in range(lowest.semitone, highest.semitone + 1)),
    )


def word_of(kind: str) -> str:
    """The part of a catalogue's key that belongs to a kind of fault."""
    return kind.replace(" ", "_")


def plain(value: object, longest: int) -> str:
    """A text of a form: no control characters but line ends, none at its ends, not too long.

    Raises
    ------
    InputError
        When it is too long, or a file.
    """
    if not isinstance(value, str):
        raise InputError("A file cannot be taken here.", fix="Write it in words.")
    text = value.replace("\r\n", "\n").replace("\r", "\n")
    kept = "".join(
        c for c in text if c in "\n\t" or unicodedata.category(c) not in {"Cc", "Cf", "Cs", "Co"}
    ).strip()
    if len(kept) > longest:
        raise InputError(
            f"This is {len(kept)} letters long.", fix=f"Say it in {longest} letters or fewer."
        )
    return kept
