"""The instrument: frozen domain types with checked constructors.

Reading a description builds these (`walkboard.organ.reading`); nothing else in the program needs
to know that the description is TOML.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from functools import cached_property
from types import MappingProxyType
from typing import Self, TypeVar

from walkboard.errors import UnknownNameError
from walkboard.scales.keys import Key
from walkboard.scales.temperament import Temperament

T = TypeVar("T")


class Family(StrEnum):
    """How a rank makes its sound."""

    OPEN = "open"
    STOPPED = "stopped"
    CHIMNEY = "chimney"
    REED = "reed"

    @property
    def is_flue(self) -> bool:
        """Whether its pitch moves with the air."""
        return self is not Family.REED


class TunedBy(StrEnum):
    """What is moved to tune a pipe."""

    SLIDE = "slide"
    CONE = "cone"
    ROLL = "roll"
    STOPPER = "stopper"
    CAP = "cap"
    EARS = "ears"
    SHADE = "shade"
    SPRING = "spring"


@dataclass(frozen=True, slots=True, order=True)
class PipeRef:
    """Names one pipe: its rank's id and its number in the rank, from 1 at the lowest."""

    rank: str
    number: int

    def __post_init__(self) -> None:
        if not self.rank or self.number < 1:
            raise ValueError(
                f"a pipe is rank:number with numbers from 1, not {self.rank}:{self.number}"
            )

    @classmethod
    def parse(cls, text: str) -> Self:
        """Pipe of its written form ``great.principal4:13``.

        Raises
        ------
        UnknownNameError
            When the text is not of that form.
        """
        rank, colon, number = text.rpartition(":")
        if not colon or not rank or not number.isdecimal() or int(number) < 1:
            raise UnknownNameError(
                f"{text!r} does not name a pipe.", mend="Write rank:number, as great.principal4:13."
            )
        return cls(rank, int(number))

    def __str__(self) -> str:
        return f"{self.rank}:{self.number}"


@dataclass(frozen=True, slots=True)
class Pitch:
    """The pitch that the organ stands at: A4 [Hz] at an air temperature [°C]."""

    a4_hz: float
    at_celsius: float


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
        Whether it stands in a box.
    """

    id: str
    name: str
    keys: int
    lowest: Key
    enclosed: bool = False

    @property
    def highest(self) -> Key:
        """Its highest key."""
        return self.lowest.up(self.keys - 1)

    def key_number(self, key: Key) -> int:
        """Number of a key on this keyboard, from 1."""
        return key.semitone - self.lowest.semitone + 1


@dataclass(frozen=True, slots=True)
class Chest:
    """A chest: what is reached by opening the same panels."""

    id: str
    division: str
    minutes: float = 0.0


@dataclass(frozen=True, slots=True)
class Rank:
    """A rank: one row of pipes.

    Attributes
    ----------
    id, division, name, chest : str
        ``chest`` is the division's id where the description names none.
    family : Family
    tuned_by : TunedBy
    from_key : Key
        The key that its first pipe plays.
    pipes : int
        Number of pipes, one a key upward from `from_key`.
    multiples : tuple of (Key, Fraction)
        From each key upward, the multiple of the 8′ pitch of the key: 8′ is 1, 4′ is 2, 2⅔′ is 3.
        One entry unless the rank breaks back.
    minutes : float or None
        To tune one pipe [min], where it differs from the usual for its kind.
    celeste_beats_hz : float or None
        Beats against its partner at A4 [Hz]; positive is sharp.
    wind_mm : float or None
        Wind pressure [mm of water].
    historic : bool
        Leave it to the organ's adviser.
    diameters_mm, tongues_mm : mapping of pipe number to mm
        Inside diameters, or lengths of the speaking tongue, at named pipes.
    """

    id: str
    division: str
    name: str
    chest: str
    family: Family
    tuned_by: TunedBy
    from_key: Key
    pipes: int
    multiples: tuple[tuple[Key, Fraction], ...]
    minutes: float | None = None
    celeste_beats_hz: float | None = None
    wind_mm: float | None = None
    historic: bool = False
    diameters_mm: Mapping[int, float] = field(default_factory=lambda: MappingProxyType({}))
    tongues_mm: Mapping[int, float] = field(default_factory=lambda: MappingProxyType({}))

    def key_of(self, number: int) -> Key:
        """The key at which the rank itself plays a pipe."""
        return self.from_key.up(number - 1)

    def multiple_of(self, number: int) -> Fraction:
        """Multiple of that key's 8′ pitch at which a pipe stands."""
        key = self.key_of(number)
        multiple = self.multiples[0][1]
        for start, value in self.multiples:
            if start <= key:
                multiple = value
        return multiple

    @property
    def breaks_back(self) -> bool:
        """Whether it is a row of a mixture that breaks."""
        return len(self.multiples) > 1


@dataclass(frozen=True, slots=True)
class Plays:
    """What one stop draws from one rank: from key to key, starting on a pipe of the rank."""

    rank: str
    from_key: Key
    to_key: Key
    first_pipe: int

    def pipe_at(self, key: Key) -> int | None:
        """Number of the pipe that a key sounds, or None outside its keys."""
        if not self.from_key <= key <= self.to_key:
            return None
        return self.first_pipe + key.semitone - self.from_key.semitone


@dataclass(frozen=True, slots=True)
class Stop:
    """A stop: what the player draws."""

    id: str
    name: str
    division: str
    plays: tuple[Plays, ...]

    def pipes_at(self, key: Key) -> tuple[PipeRef, ...]:
        """The pipes that a key sounds on this stop."""
        found = ((p.rank, p.pipe_at(key)) for p in self.plays)
        return tuple(PipeRef(rank, number) for rank, number in found if number is not None)


@dataclass(frozen=True)
class Organ:
    """The whole instrument, checked."""

    name: str
    pitch: Pitch
    temperament: Temperament
    divisions: tuple[Division, ...]
    chests: tuple[Chest, ...]
    ranks: tuple[Rank, ...]
    stops: tuple[Stop, ...]
    travel_minutes: Mapping[tuple[str, str], float]

    @cached_property
    def _divisions(self) -> dict[str, Division]:
        return {d.id: d for d in self.divisions}

    @cached_property
    def _ranks(self) -> dict[str, Rank]:
        return {r.id: r for r in self.ranks}

    @cached_property
    def _stops(self) -> dict[str, Stop]:
        return {s.id: s for s in self.stops}

    def division(self, id: str) -> Division:  # noqa: A002 - the field's own word in the description
        """Division of an id; UnknownNameError where there is none."""
        return _find(self._divisions, id, "division")

    def rank(self, id: str) -> Rank:  # noqa: A002
        """Rank of an id; UnknownNameError where there is none."""
        return _find(self._ranks, id, "rank")

    def stop(self, id: str) -> Stop:  # noqa: A002
        """Stop of an id; UnknownNameError where there is none."""
        return _find(self._stops, id, "stop")

    def pipes(self) -> Iterable[PipeRef]:
        """Every pipe, rank by rank."""
        for rank in self.ranks:
            for number in range(1, rank.pipes + 1):
                yield PipeRef(rank.id, number)

    def keys_of(self, stops: Iterable[str]) -> tuple[Key, ...]:
        """Keys, upward, at which at least one of the stops sounds a pipe."""
        keys: set[Key] = set()
        for stop_id in stops:
            for plays in self.stop(stop_id).plays:
                low, high = plays.from_key.semitone, plays.to_key.semitone
                keys.update(Key(s) for s in range(low, high + 1))
        return tuple(sorted(keys))

    def sounding(self, stops: Iterable[str], key: Key) -> tuple[PipeRef, ...]:
        """The pipes that a key sounds with these stops drawn, each once."""
        found: dict[PipeRef, None] = {}
        for stop_id in stops:
            found.update(dict.fromkeys(self.stop(stop_id).pipes_at(key)))
        return tuple(found)


def _find(table: dict[str, T], name: str, kind: str) -> T:
    try:
        return table[name]
    except KeyError:
        raise UnknownNameError(
            f"The organ has no {kind} {name!r}.", mend=f"It has: {', '.join(table)}."
        ) from None
