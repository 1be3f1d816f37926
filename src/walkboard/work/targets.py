"""Targets of a stop, key by key."""

from __future__ import annotations

from dataclasses import dataclass

from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.scales.keys import Key


@dataclass(frozen=True, slots=True)
class KeyTargets:
    """One key's pipes on a stop with their targets [Hz]."""

    key: Key
    key_number: int
    pipes: tuple[tuple[PipeRef, float], ...]


def targets_of_stop(organ: Organ, stop: str, air_celsius: float | None) -> tuple[KeyTargets, ...]:
    """Each key of a stop, upward, with its pipes' targets at an air temperature.

    Raises
    ------
    UnknownNameError
        If the organ has no such stop.
    """
    division = organ.division(organ.stop(stop).division)
    return tuple(
        KeyTargets(
            key,
            division.key_number(key),
            tuple(
                (pipe, target_hz(organ, pipe, air_celsius)) for pipe in organ.sounding([stop], key)
            ),
        )
        for key in organ.keys_of([stop])
    )
