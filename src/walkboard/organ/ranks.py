"""Ranks and their pipes: how each is built, its pitch, and which key plays it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from types import MappingProxyType
from typing import Self

from walkboard.errors import UnknownNameError
from walkboard.organ.kinds import Build, Celeste, Change, ChestLayout, Family, Part, TunedBy
from walkboard.scales.keys import Key


@dataclass(frozen=True, slots=True, order=True)
class PipeRef:
    """Identifies a pipe: its rank's id and its number in the rank, from 1 at the lowest."""

    rank: str
    number: int

    def __post_init__(self) -> None:
        if not self.rank or self.number < 1:
            raise ValueError(
                f"a pipe is rank:number with numbers from 1, not {self.rank}:{self.number}"
            )

    @classmethod
    def parse(cls, text: str) -> Self:
        """Parse the written form ``great.principal4:13``.

        Raises
        ------
        UnknownNameError
            If the text does not have that form.
        """
        rank, colon, number = text.rpartition(":")
        if not colon or not rank or not number.isdecimal() or int(number) < 1:
            raise UnknownNameError(
                f"{text!r} does not name a pipe.", fix="Write rank:number, as great.principal4:13."
            )
        return cls(rank, int(number))

    def __str__(self) -> str:
        return f"{self.rank}:{self.number}"


@dataclass(frozen=True, slots=True)
class Rank:
    """A rank: one row of pipes.

    Attributes
    ----------
    id, division, name, chest : str
        ``chest`` is the division's id if the description gives none.
    family, tuned_by
        Of most of its pipes; see `family_of` and `tuned_by_of` for a single pipe.
    from_key : Key
        The key that its first pipe plays.
    pipes : int
        Number of pipes.
    multiples : tuple of (Key, Fraction)
        From each key upward, the multiple of the 8′ pitch of the key: 8′ is 1, 4′ is 2, 2⅔′ is 3.
        One entry unless the rank breaks back.
    minutes : float or None
        Time to tune one pipe [min], if not the usual for its kind.
    celeste_beats_hz : float or None
        Beats against its partner at A4 [Hz], if the same at every key; positive is sharp. `celeste`
        covers every kind of offset.
    wind_mm : float or None
        Wind pressure [mm of water].
    historic : bool
        Leave it to the organ's adviser.
    diameters_mm, tongues_mm : mapping of pipe number to mm
        Inside diameters, or lengths of the speaking tongue, by pipe number.
    layout : tuple of Key
        The key of each pipe, upward, if there is not one per semitone; otherwise empty.
    parts : tuple of Part
        Upward, if its pipes are not all built alike; otherwise empty.
    build : Build
        Used if `parts` is empty.
    celeste : Celeste or None
    a4_hz : float or None
        Its own pitch [Hz], if not the instrument's.
    enclosed : bool or None
        Set if it differs from its division.
    chest_layout : Standing
    changes : tuple of Change
        What was done to it, earliest first.
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
    layout: tuple[Key, ...] = ()
    parts: tuple[Part, ...] = ()
    build: Build = Build.PLAIN
    celeste: Celeste | None = None
    a4_hz: float | None = None
    enclosed: bool | None = None
    chest_layout: ChestLayout = field(default_factory=ChestLayout)
    changes: tuple[Change, ...] = ()

    def key_of(self, number: int) -> Key:
        """The key at which the rank itself plays a pipe."""
        return self.layout[number - 1] if self.layout else self.from_key.up(number - 1)

    @property
    def keys(self) -> tuple[Key, ...]:
        """The key of each pipe, upward."""
        return self.layout or tuple(self.from_key.up(n) for n in range(self.pipes))

    def number_at(self, key: Key) -> int | None:
        """Number of the pipe for a key; None if it has none."""
        if self.layout:
            return self.layout.index(key) + 1 if key in self.layout else None
        number = key.semitone - self.from_key.semitone + 1
        return number if 1 <= number <= self.pipes and not key.split else None

    def multiple_of(self, number: int) -> Fraction:
        """Pitch of a pipe as a multiple of its key's 8′ pitch."""
        key = self.key_of(number)
        multiple = self.multiples[0][1]
        for start, value in self.multiples:
            if start <= key:
                multiple = value
        return multiple

    def part_of(self, number: int) -> Part:
        """How a pipe is built."""
        key = self.key_of(number)
        built = Part(self.from_key, self.family, self.tuned_by, self.build)
        for part in self.parts:
            if part.from_key <= key:
                built = part
        return built

    def family_of(self, number: int) -> Family:
        """Family of a pipe."""
        return self.part_of(number).family if self.parts else self.family

    def tuned_by_of(self, number: int) -> TunedBy:
        """What is moved to tune a pipe."""
        return self.part_of(number).tuned_by if self.parts else self.tuned_by

    def build_of(self, number: int) -> Build:
        """How a pipe's length relates to its pitch."""
        return self.part_of(number).build if self.parts else self.build

    @property
    def parts_used(self) -> tuple[Part, ...]:
        """The ways its pipes are built, upward; a single one if all are built alike."""
        return tuple(dict.fromkeys(self.part_of(n) for n in range(1, self.pipes + 1)))

    @property
    def breaks_back(self) -> bool:
        """Whether it is a mixture row with breaks."""
        return len(self.multiples) > 1

    @property
    def is_celeste(self) -> bool:
        """Whether it is tuned off pitch on purpose."""
        return self.celeste is not None or self.celeste_beats_hz is not None
