"""The organ's measured tuning, flues and reeds apart, for synthesisers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from walkboard.book.records import KeptVisit
from walkboard.organ.model import Family, Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.quantities import ratio_of_cents
from walkboard.scales.tuning_files import KeyTuning, bulk_dump, keyboard_map, scale_file
from walkboard.work.pipe_offsets import pipe_cents_of_visit

if TYPE_CHECKING:
    from walkboard.book.keeping import Book


def measured_tunings(
    book: Book, organ: Organ, visit: KeptVisit, air_celsius: float
) -> dict[str, KeyTuning]:
    """Pitch of each key at 8′, the median over the ranks at octaves of it; by ``flues``, ``reeds``.

    Mutations, mixtures and celestes are left out: they are not at the keyboard's own pitches.

    Parameters
    ----------
    air_celsius : float
        Air that the tuning is for; each pipe keeps its offset from its target [°C].
    """
    found: dict[str, dict[int, list[float]]] = {"flues": {}, "reeds": {}}
    for standing in pipe_cents_of_visit(book, organ, visit):
        rank = organ.rank(standing.pipe.rank)
        multiple = float(rank.multiples[0][1])
        is_octave = float(np.log2(multiple)).is_integer()
        if len(rank.multiples) > 1 or not is_octave or rank.celeste or rank.celeste_beats_hz:
            continue
        hz = target_hz(organ, PipeRef(rank.id, standing.pipe.number), air_celsius)
        family = "reeds" if rank.family is Family.REED else "flues"
        key = rank.key_of(standing.pipe.number).semitone
        at_8 = hz * ratio_of_cents(standing.cents) / multiple
        found[family].setdefault(key, []).append(at_8)
    day = visit.opened_at.date().isoformat()
    return {
        family: KeyTuning(
            f"{organ.name} {family}",
            {key: float(np.exp(np.median(np.log(hz)))) for key, hz in keys.items()},
            air_celsius,
            f"As measured on {day}: the median of the {family} at each key.",
        )
        for family, keys in found.items()
        if keys
    }


def tuning_files(tunings: dict[str, KeyTuning]) -> dict[str, bytes]:
    """The files of each tuning by name: ``flues.syx``, ``.scl`` and ``.kbm``, and of the reeds."""
    files = {}
    for family, tuning in tunings.items():
        files[f"{family}.syx"] = bulk_dump(tuning)
        files[f"{family}.scl"] = scale_file(tuning).encode("latin-1")
        files[f"{family}.kbm"] = keyboard_map(tuning).encode("latin-1")
    return files
