"""The instrument: frozen domain types with checked constructors.

Reading a description builds these (`walkboard.organ.reading`); nothing else in the program needs
to know that the description is TOML.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from types import MappingProxyType
from typing import Self, TypeVar

from walkboard.errors import InputError, UnknownNameError
from walkboard.organ.console import Coupler, Toy, Tremulant
from walkboard.organ.kinds import Build, Celeste, Change, Family, Part, Standing, TunedBy
from walkboard.organ.nearest import likeliest_id
from walkboard.scales.keys import Key
from walkboard.scales.temperament import Temperament

__all__ = [
    "Build",
    "Celeste",
    "Chest",
    "Division",
    "Family",
    "Instrument",
    "Organ",
    "PipeRef",
    "Pitch",
    "Plays",
    "Rank",
    "Stop",
    "TunedBy",
]

T = TypeVar("T", "Division", "Rank", "Stop", Coupler, Tremulant)


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
class Pitch:
    """The pitch that the organ stands at: A4 [Hz] at an air temperature [°C]."""

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
        Whether it stands in a box.
    keyboard : tuple of Key
        Every key, upward, where they are not one a semitone: with a short octave, missing or split
        keys. Empty where they are.
    floating : bool
        It has no keyboard of its own: couplers bring it to others.
    instrument : str or None
        Id of its instrument, where the building has several.
    octave : str or None
        ``short`` or ``broken``, where its lowest octave is.
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
    family, tuned_by
        Of most of its pipes; `family_of` and `tuned_by_of` say it of one.
    from_key : Key
        The key that its first pipe plays.
    pipes : int
        Number of pipes.
    multiples : tuple of (Key, Fraction)
        From each key upward, the multiple of the 8′ pitch of the key: 8′ is 1, 4′ is 2, 2⅔′ is 3.
        One entry unless the rank breaks back.
    minutes : float or None
        To tune one pipe [min], where it differs from the usual for its kind.
    celeste_beats_hz : float or None
        Beats against its partner at A4 [Hz], where they are the same at every key; positive is
        sharp. `celeste` covers every way of standing off.
    wind_mm : float or None
        Wind pressure [mm of water].
    historic : bool
        Leave it to the organ's adviser.
    diameters_mm, tongues_mm : mapping of pipe number to mm
        Inside diameters, or lengths of the speaking tongue, at named pipes.
    layout : tuple of Key
        The key of each pipe, upward, where they are not one a semitone. Empty where they are.
    parts : tuple of Part
        Upward, where its pipes are not all built alike. Empty where they are.
    build : Build
        Where `parts` is empty.
    celeste : Celeste or None
    a4_hz : float or None
        Its own pitch [Hz], where it is not the instrument's.
    enclosed : bool or None
        Where it differs from its division.
    standing : Standing
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
    standing: Standing = field(default_factory=Standing)
    changes: tuple[Change, ...] = ()

    def key_of(self, number: int) -> Key:
        """The key at which the rank itself plays a pipe."""
        return self.layout[number - 1] if self.layout else self.from_key.up(number - 1)

    @property
    def keys(self) -> tuple[Key, ...]:
        """The key of each pipe, upward."""
        return self.layout or tuple(self.from_key.up(n) for n in range(self.pipes))

    def number_at(self, key: Key) -> int | None:
        """Number of the pipe that stands for a key; None if there is none."""
        if self.layout:
            return self.layout.index(key) + 1 if key in self.layout else None
        number = key.semitone - self.from_key.semitone + 1
        return number if 1 <= number <= self.pipes and not key.split else None

    def multiple_of(self, number: int) -> Fraction:
        """Multiple of that key's 8′ pitch at which a pipe stands."""
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
    def breaks_back(self) -> bool:
        """Whether it is a row of a mixture that breaks."""
        return len(self.multiples) > 1

    @property
    def is_celeste(self) -> bool:
        """Whether it stands off pitch on purpose."""
        return self.celeste is not None or self.celeste_beats_hz is not None


@dataclass(frozen=True, slots=True)
class Plays:
    """What one stop draws from one rank: from key to key, starting on a pipe of the rank.

    Attributes
    ----------
    rank : str
    from_key, to_key : Key
    first_pipe : int
        The pipe that `from_key` sounds.
    by_key : mapping of Key to int, or None
        The pipe of each key, where keys or pipes are not one a semitone; None where they are.
    """

    rank: str
    from_key: Key
    to_key: Key
    first_pipe: int
    by_key: Mapping[Key, int] | None = field(default=None, hash=False)

    def pipe_at(self, key: Key) -> int | None:
        """Number of the pipe that a key sounds, or None outside its keys."""
        if self.by_key is not None:
            return self.by_key.get(key)
        if key.split or not self.from_key <= key <= self.to_key:
            return None
        return self.first_pipe + key.semitone - self.from_key.semitone

    def sounds(self) -> Iterator[tuple[Key, int]]:
        """Each of its keys, upward, with the number of the pipe that it sounds."""
        if self.by_key is not None:
            yield from self.by_key.items()
            return
        low, high = self.from_key.semitone, self.to_key.semitone
        for semitone in range(low, high + 1):
            yield Key(semitone), self.first_pipe + semitone - low

    def key_sounding(self, number: int) -> Key | None:
        """The key that sounds a pipe of the rank; None where none does."""
        if self.by_key is not None:
            return next((key for key, pipe in self.by_key.items() if pipe == number), None)
        semitone = self.from_key.semitone + number - self.first_pipe
        if self.from_key.semitone <= semitone <= self.to_key.semitone:
            return Key(semitone)
        return None


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
    couplers: tuple[Coupler, ...] = ()
    tremulants: tuple[Tremulant, ...] = ()
    toys: tuple[Toy, ...] = ()
    instruments: tuple[Instrument, ...] = ()

    @cached_property
    def _divisions(self) -> dict[str, Division]:
        return {d.id: d for d in self.divisions}

    @cached_property
    def _ranks(self) -> dict[str, Rank]:
        return {r.id: r for r in self.ranks}

    @cached_property
    def _stops(self) -> dict[str, Stop]:
        return {s.id: s for s in self.stops}

    @cached_property
    def _couplers(self) -> dict[str, Coupler]:
        return {c.id: c for c in self.couplers}

    @cached_property
    def _tremulants(self) -> dict[str, Tremulant]:
        return {t.id: t for t in self.tremulants}

    @cached_property
    def _instruments(self) -> dict[str, Instrument]:
        return {i.id: i for i in self.instruments}

    def division(self, id: str) -> Division:  # noqa: A002 - the field's own word in the description
        """Division of an id; UnknownNameError if there is none."""
        return _find(self._divisions, id, "division")

    def rank(self, id: str) -> Rank:  # noqa: A002
        """Rank of an id; UnknownNameError if there is none."""
        return _find(self._ranks, id, "rank")

    def stop(self, id: str) -> Stop:  # noqa: A002
        """Stop of an id; UnknownNameError if there is none."""
        return _find(self._stops, id, "stop")

    def coupler(self, id: str) -> Coupler:  # noqa: A002
        """Coupler of an id; UnknownNameError if there is none."""
        return _find(self._couplers, id, "coupler")

    def tremulant(self, id: str) -> Tremulant:  # noqa: A002
        """Tremulant of an id; UnknownNameError if there is none."""
        return _find(self._tremulants, id, "tremulant")

    def stops_among(self, drawn: Iterable[str]) -> tuple[Stop, ...]:
        """The stops among what is drawn, couplers and tremulants left out.

        Raises
        ------
        UnknownNameError
            If an id is not one of the organ's stops, couplers or tremulants.
        """
        aside = self._couplers.keys() | self._tremulants.keys()
        return tuple(self.stop(one) for one in drawn if one not in aside)

    def pitch_of(self, rank: Rank) -> Pitch:
        """The pitch that a rank stands at."""
        instrument = self._instruments.get(self.division(rank.division).instrument or "")
        pitch = self.pitch if instrument is None else instrument.pitch
        return pitch if rank.a4_hz is None else Pitch(rank.a4_hz, pitch.at_celsius)

    def temperament_of(self, rank: Rank) -> Temperament:
        """The temperament that a rank is tuned to."""
        instrument = self._instruments.get(self.division(rank.division).instrument or "")
        return self.temperament if instrument is None else instrument.temperament

    def is_enclosed(self, rank: Rank) -> bool:
        """Whether a rank stands in a swell box."""
        if rank.enclosed is not None:
            return rank.enclosed
        return self.division(rank.division).enclosed

    def pipes(self) -> Iterable[PipeRef]:
        """Every pipe, rank by rank."""
        for rank in self.ranks:
            for number in range(1, rank.pipes + 1):
                yield PipeRef(rank.id, number)

    def keys_of(self, drawn: Iterable[str]) -> tuple[Key, ...]:
        """Keys, upward, that sound at least one pipe.

        Parameters
        ----------
        drawn : iterable of str
            Ids as in `sounding`.
        """
        ids = tuple(drawn)
        if any(one in self._couplers for one in ids):
            keys = self.division(self._played(ids)).all_keys
            return tuple(key for key in keys if self.sounding(ids, key))
        found: set[Key] = set()
        for stop_id in ids:
            if stop_id not in self._tremulants:
                for plays in self.stop(stop_id).plays:
                    found.update(key for key, _ in plays.sounds())
        return tuple(sorted(found))

    def sounding(self, drawn: Iterable[str], key: Key) -> tuple[PipeRef, ...]:
        """The pipes that a key sounds, each once.

        Parameters
        ----------
        drawn : iterable of str
            Ids of stops, couplers and tremulants. Without couplers each stop sounds at the key on
            its own keyboard. With couplers the key is one of the keyboard that they couple to:
            stops of other divisions sound only through them.
        key : Key

        Raises
        ------
        UnknownNameError
            If an id is not one of the organ's.
        InputError
            If the couplers lead to more than one keyboard.
        """
        found: dict[PipeRef, None] = {}
        ids = tuple(drawn)
        if not any(one in self._couplers for one in ids):
            for stop_id in ids:
                if stop_id not in self._tremulants:
                    found.update(dict.fromkeys(self.stop(stop_id).pipes_at(key)))
            return tuple(found)
        played = self._played(ids)
        couplers = [self._couplers[one] for one in ids if one in self._couplers]
        stops = [
            self.stop(one) for one in ids if one not in self._couplers | self._tremulants.keys()
        ]
        shifts = [(c.from_division, c.semitones) for c in couplers if not c.unison_off]
        if not any(c.unison_off and c.from_division == played for c in couplers):
            shifts.insert(0, (played, 0))
        for division, semitones in shifts:
            if not 0 <= key.semitone + semitones <= Key.HIGHEST:
                continue
            coupled = key.up(semitones)
            for stop in stops:
                if stop.division == division:
                    found.update(dict.fromkeys(stop.pipes_at(coupled)))
        return tuple(found)

    def _played(self, ids: Iterable[str]) -> str:
        """Id of the division whose keys are held when couplers are drawn."""
        keyboards = dict.fromkeys(
            self._couplers[one].to_division for one in ids if one in self._couplers
        )
        if len(keyboards) > 1:
            raise InputError(
                f"The couplers drawn lead to several keyboards: {', '.join(keyboards)}.",
                fix="Draw the couplers to one keyboard only: that one is played.",
            )
        return next(iter(keyboards))


def _find(table: dict[str, T], name: str, kind: str) -> T:
    try:
        return table[name]
    except KeyError:
        meant = likeliest_id(name, ((one.id, one.name) for one in table.values()))
        fix = f"It has: {', '.join(table)}." if meant is None else f"Did you mean {meant}?"
        if not table:
            fix = f"Its description names no {kind}."
        raise UnknownNameError(f"The organ has no {kind} {name!r}.", fix=fix) from None
