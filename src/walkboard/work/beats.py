"""The worst beats of a registration or a chord, from files of readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.scales.keys import Key
from walkboard.survey.beats import PipesBeat, beats_of_keys, latest_readings, worst_beats
from walkboard.work.walk_files import load_walks


@dataclass(frozen=True, slots=True)
class NamedBeat:
    """A beat with its keys, as text; fields as in `PipesBeat`."""

    key: str
    first: str
    second: str
    first_partial: int
    second_partial: int
    at_hz: float
    per_second: float
    due_per_second: float
    heard_per_second: float | None
    level_db: float


def worst_of_files(
    organ: Organ,
    paths: Sequence[Path],
    drawn: Sequence[str],
    chord: Sequence[str] | None = None,
    *,
    most: int = 12,
) -> tuple[NamedBeat, ...]:
    """The worst beats among the pipes of these stops, from files of readings.

    Parameters
    ----------
    chord : sequence of str, optional
        Keys held together; None for every key alone.

    Raises
    ------
    InputError
        If the stops sound nothing at these keys, or a file has no readings.
    UnknownNameError
        If the organ has no such stop.
    """
    walks = load_walks(paths)
    readings = latest_readings(walks)
    airs = [walk.air_celsius for walk in walks if walk.air_celsius is not None]
    air_celsius = airs[-1] if airs else None
    if chord is None:
        keys = organ.keys_of(drawn)
        each = beats_of_keys(organ, readings, drawn, keys, air_celsius, most=most)
        return tuple(_named(key.name, beat) for key, beat in each)
    keys = tuple(Key.parse(name) for name in chord)
    pipes = [pipe for key in keys for pipe in organ.sounding(drawn, key)]
    if not pipes:
        raise InputError(
            f"These stops sound nothing at {', '.join(chord)}.",
            fix="Name keys within the stops' compass, such as C4,E4,G4.",
        )
    words = "–".join(key.name for key in keys)
    found = worst_beats(organ, readings, pipes, air_celsius, most=most)
    return tuple(_named(words, beat) for beat in found)


def beats_to_json(beats: Sequence[NamedBeat]) -> dict[str, Any]:
    """As plain values, format 1."""
    names = NamedBeat.__slots__
    return {
        "format": 1,
        "beats": [{name: getattr(beat, name) for name in names} for beat in beats],
    }


def _named(key: str, beat: PipesBeat) -> NamedBeat:
    return NamedBeat(
        key,
        str(beat.first),
        str(beat.second),
        beat.first_partial,
        beat.second_partial,
        beat.at_hz,
        beat.per_second,
        beat.due_per_second,
        beat.heard_per_second,
        beat.level_db,
    )
