"""Divisions, their chests, and the pitch and temperament of the instruments they belong to."""

from __future__ import annotations

from dataclasses import dataclass

from walkboard.scales.keys import Key
from walkboard.scales.temperament import Temperament


@dataclass(frozen=True, slots=True)
class Pitch:
    """The pitch of the organ: A4 [Hz] at an air temperature [°C]."""

    a4_hz: float
    at_celsius: float


@dataclass(frozen=True, slots=True)
class Instrument:
    """One of several organs in a building that are played together.

    Attributes
    ----------
    id, name : str
    pitch : Pitch
    temperament : Temperament
    """

    id: str
    name: str
    pitch: Pitch
    temperament: Temperament


@dataclass(frozen=True, slots=True)
class Division:
    """A division: a keyboard's share of the organ, with its own air.

    Attributes
    ----------
    id, name : str
    keys : int
        Number of keys.
    lowest : Key
        Its lowest key.
    enclosed : bool
        Whether it is in a swell box.
    keyboard : tuple of Key
        Every key, upward, if there is not one per semitone: with a short octave, missing or split
        keys. Otherwise empty.
    floating : bool
        Whether it has no keyboard of its own: couplers bring it to others.
    instrument : str or None
        Id of its instrument, if the building has several.
    octave : str or None
        ``short`` or ``broken`` if its lowest octave is.
    """

    id: str
    name: str
    keys: int
    lowest: Key
    enclosed: bool = False
    keyboard: tuple[Key, ...] = ()
    floating: bool = False
    instrument: str | None = None
    octave: str | None = None

    @property
    def highest(self) -> Key:
        """Its highest key."""
        return self.keyboard[-1] if self.keyboard else self.lowest.up(self.keys - 1)

    @property
    def all_keys(self) -> tuple[Key, ...]:
        """Every key, upward."""
        return self.keyboard or tuple(self.lowest.up(n) for n in range(self.keys))

    def key_number(self, key: Key) -> int:
        """Number of a key on this keyboard, from 1."""
        if key in self.keyboard:
            return self.keyboard.index(key) + 1
        return key.semitone - self.lowest.semitone + 1


@dataclass(frozen=True, slots=True)
class Chest:
    """A chest: everything reached by opening the same panels."""

    id: str
    division: str
    minutes: float = 0.0
