"""Derives how often keys sound in hymns, from a corpus of four-part chorales.

The corpus comes with the package music21 (BSD; install it beside the project: ``pip install
music21``). Its terms do not allow passing the scores on, so only the derived table is kept:
``src/walkboard/planning/value/ordinary_use.csv``. Every second chorale makes the table; the others
are left for judging (``python -m bench ear``). To make it again: ``pip install music21`` (it is not
in the lock files), then ``python -m builders.use_of_keys --cache SCRATCH.json``.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

TARGET = Path(__file__).resolve().parent.parent / "src/walkboard/planning/value/ordinary_use.csv"
SMOOTHED_SEMITONES = 2.0  # a corpus of one style favours its own keys; chosen
KEYS = 128  # MIDI numbers


@dataclass(frozen=True, slots=True)
class Moment:
    """What sounds between two changes: its length in quarter notes, and its keys by voice."""

    quarters: float
    soprano: int
    alto: int
    tenor: int
    bass: int

    @property
    def keys(self) -> tuple[int, ...]:
        """All four voices, each key once, upward."""
        return tuple(sorted({self.soprano, self.alto, self.tenor, self.bass}))


def chorales(limit: int | None = None) -> list[list[Moment]]:
    """Every chorale of the corpus that has four voices throughout, as moments."""
    from music21 import corpus  # type: ignore[import-not-found]  # noqa: PLC0415

    found: list[list[Moment]] = []
    for score in corpus.chorales.Iterator():
        if limit is not None and len(found) >= limit:
            break
        parts = list(score.parts)
        if len(parts) == 4:
            moments = _moments([_notes(part) for part in parts])
            if moments:
                found.append(moments)
    return found


def _notes(part: object) -> list[tuple[float, float, int]]:
    notes = []
    for note in part.flatten().notes:  # type: ignore[attr-defined]
        start = float(note.offset)
        notes.append((start, start + float(note.quarterLength), int(note.pitches[-1].midi)))
    return notes


def _moments(voices: Sequence[list[tuple[float, float, int]]]) -> list[Moment]:
    times = sorted({t for notes in voices for start, end, _ in notes for t in (start, end)})
    moments = []
    for start, end in pairwise(times):
        keys = [
            next((key for s, e, key in notes if s <= start and end <= e), None) for notes in voices
        ]
        if end > start and None not in keys:
            moments.append(Moment(end - start, *(int(k) for k in keys)))  # type: ignore[arg-type]
    return moments


def key_use(music: Sequence[Sequence[Moment]], *, pedal: bool) -> np.ndarray:
    """Share of the time in which each key sounds; (128,).

    On the manual all four voices are played; the pedal takes the bass.
    """
    use = np.zeros(KEYS)
    whole = 0.0
    for moment in (m for piece in music for m in piece):
        whole += moment.quarters
        for key in (moment.bass,) if pedal else moment.keys:
            use[key] += moment.quarters
    return _smoothed(use / whole)


def _smoothed(use: np.ndarray) -> np.ndarray:
    away = np.arange(-8, 9)
    kernel = np.exp(-0.5 * (away / SMOOTHED_SEMITONES) ** 2)
    return np.convolve(use, kernel / kernel.sum(), mode="same")


def table(music: Sequence[Sequence[Moment]]) -> str:
    """The table's text: relative use of keys in thousandths."""
    manual, pedal = key_use(music, pedal=False), key_use(music, pedal=True)
    rows = [
        "# How often keys sound in four-part chorales. Derived by",
        f"# builders/use_of_keys.py from {len(music)} chorales (every second one) of the corpus",
        "# that the package music21 ships; the scores themselves are not passed on.",
        "# manual, pedal: MIDI key, thousandths of the most used key, smoothed by 2 semitones.",
        "kind,number,thousandths",
    ]
    for kind, use in (("manual", manual), ("pedal", pedal)):
        relative = np.rint(1000.0 * use / use.max()).astype(int)
        rows += [f"{kind},{k},{v}" for k, v in enumerate(relative) if v]
    return "\n".join(rows) + "\n"


def read_cached(path: Path) -> list[list[Moment]]:
    """The chorales, parsed once and kept in a scratch file outside the project."""
    if not path.exists():
        music = chorales()
        plain = [[(m.quarters, m.soprano, m.alto, m.tenor, m.bass) for m in p] for p in music]
        path.write_text(json.dumps(plain), encoding="utf-8")
    return [[Moment(*m) for m in piece] for piece in json.loads(path.read_text(encoding="utf-8"))]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cache", type=Path, required=True, help="scratch file for parsed scores")
    music = read_cached(parser.parse_args().cache)
    TARGET.parent.mkdir(exist_ok=True)
    TARGET.write_text(table(music[::2]), encoding="utf-8")
    print(f"{len(music[::2])} of {len(music)} chorales in {TARGET}")


if __name__ == "__main__":
    main()
