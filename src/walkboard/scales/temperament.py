"""Temperaments: twelve pitches to the octave."""

from __future__ import annotations

from dataclasses import dataclass


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
