"""A walk as heard on a known organ: what ``walkboard listen`` reports."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from walkboard.listening.readings import Measured
from walkboard.listening.readings import Reading as ReadingOf
from walkboard.listening.types import HoldFlag, SoundInfo
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key
from walkboard.survey.recognise.verdict import Heard

Reading: TypeAlias = ReadingOf[PipeRef]
"""One pipe of the organ in one hold; `cents` is from its target at the walk's air."""


@dataclass(frozen=True, slots=True)
class Hold:
    """One held key of the walk, numbered from 1 in order of time."""

    n: int
    key: Key | None
    key_number: int | None
    start_s: float
    end_s: float
    readings: tuple[Reading, ...]
    sureness: float = 1.0
    flags: tuple[HoldFlag, ...] = ()


@dataclass(frozen=True, slots=True)
class HeardWalk:
    """Everything heard in one recording.

    Attributes
    ----------
    file : str
        The recording's name.
    sound : SoundInfo
    organ : str
        The organ's name.
    drawn : tuple of str
        The stops drawn.
    air_celsius : float or None
    holds : tuple of Hold
    silent_keys : tuple of Key
        Keys that were held without any sound.
    warnings : tuple of str
        Whole sentences for the tuner, such as "The recording is quiet …".
    heard : Heard or None
        What sounded, and whether the values are trusted; None for walks from older versions and for
        readings taken another way.
    not_held, unsure_keys : tuple of Key
        Keys within the walk that were not held, and those where that cannot be decided.
    """

    file: str
    sound: SoundInfo
    organ: str
    drawn: tuple[str, ...]
    air_celsius: float | None
    holds: tuple[Hold, ...]
    silent_keys: tuple[Key, ...]
    warnings: tuple[str, ...] = ()
    heard: Heard | None = None
    not_held: tuple[Key, ...] = ()
    unsure_keys: tuple[Key, ...] = ()

    @property
    def believed(self) -> bool:
        """Whether its values may be used."""
        return self.heard is None or self.heard.believed

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The readings of all holds, in order."""
        return tuple(reading for hold in self.holds for reading in hold.readings)

    @property
    def measured(self) -> tuple[Measured[PipeRef], ...]:
        """The readings with a value."""
        return tuple(r for r in self.readings if isinstance(r, Measured))
