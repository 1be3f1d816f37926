"""What else may sound at a key: every stop of the organ, and the stated ones an octave off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.scales.keys import Key

_OCTAVES = (12, -12)
_ALIKE = 1e-4  # relative difference within which stops have one pitch


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A pitch along the keys, and what may sound there.

    Attributes
    ----------
    name : str
    stops : tuple of str
        Unstated stops of that pitch; those of the walked keyboard first.
    semitones : int
        12 or −12 if a stated stop's octave coupler gives that pitch, else 0.
    due_hz : tuple of float or None
        Expected frequency at each key of the walk, by the description.
    """

    name: str
    stops: tuple[str, ...]
    semitones: int
    due_hz: tuple[float | None, ...]


def hypotheses(
    organ: Organ, drawn: Sequence[str], keys: Sequence[Key], air_celsius: float | None
) -> list[Hypothesis]:
    """Every pitch that may sound along these keys beside the stated pipes."""
    stated = organ.stops_among(drawn)
    division = stated[0].division
    found: list[Hypothesis] = []
    stops = sorted(organ.stops, key=lambda stop: stop.division != division)
    for stop in stops:
        if stop.id in drawn:
            continue
        for rank in dict.fromkeys(plays.rank for plays in stop.plays):
            due = tuple(_first_hz(organ, stop.pipes_at(key), rank, air_celsius) for key in keys)
            _add(found, Hypothesis(stop.id, (stop.id,), 0, due))
    for stop in stated:
        for rank in dict.fromkeys(plays.rank for plays in stop.plays):
            unison = tuple(_first_hz(organ, stop.pipes_at(key), rank, air_celsius) for key in keys)
            for semitones in _OCTAVES:
                # The other key's pipe, calculated from this one's: an octave is 2 in every
                # temperament.
                ratio = 2.0 ** (semitones / 12)
                due = tuple(
                    None if hz is None or not stop.pipes_at(key.up(semitones)) else hz * ratio
                    for key, hz in zip(keys, unison, strict=True)
                )
                _add(found, Hypothesis(f"{stop.id} {semitones:+d}", (), semitones, due))
            _add(found, Hypothesis(f"{stop.id} again", (), 0, unison))
    return [one for one in found if any(hz is not None for hz in one.due_hz)]


def _first_hz(
    organ: Organ, pipes: Sequence[PipeRef], rank: str, air_celsius: float | None
) -> float | None:
    for pipe in pipes:
        if pipe.rank == rank:
            return target_hz(organ, pipe, air_celsius)
    return None


def _add(found: list[Hypothesis], new: Hypothesis) -> None:
    """Add a hypothesis, or merge it with one of the same pitch."""
    for place, old in enumerate(found):
        pairs = [
            (a, b)
            for a, b in zip(old.due_hz, new.due_hz, strict=True)
            if a is not None and b is not None
        ]
        if pairs and all(abs(a / b - 1.0) < _ALIKE for a, b in pairs):
            due = tuple(b if a is None else a for a, b in zip(old.due_hz, new.due_hz, strict=True))
            found[place] = Hypothesis(
                old.name,
                tuple(dict.fromkeys((*old.stops, *new.stops))),
                old.semitones or new.semitones,
                due,
            )
            return
    found.append(new)
