"""The instrument: frozen domain types with checking constructors.

`walkboard.organ.reading` builds these from a description; nothing else in the program needs to know
that the description is TOML.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

from walkboard.errors import InputError, UnknownNameError
from walkboard.organ.console import Coupler, Toy, Tremulant
from walkboard.organ.divisions import Chest, Division, Instrument, Pitch
from walkboard.organ.kinds import Build, Celeste, Family, TunedBy
from walkboard.organ.nearest import likeliest_id
from walkboard.organ.ranks import PipeRef, Rank
from walkboard.organ.stops import Plays, Stop
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
        """Division of an id; UnknownNameError if it does not exist."""
        return _find(self._divisions, id, "division")

    def rank(self, id: str) -> Rank:  # noqa: A002
        """Rank of an id; UnknownNameError if it does not exist."""
        return _find(self._ranks, id, "rank")

    def stop(self, id: str) -> Stop:  # noqa: A002
        """Stop of an id; UnknownNameError if it does not exist."""
        return _find(self._stops, id, "stop")

    def coupler(self, id: str) -> Coupler:  # noqa: A002
        """Coupler of an id; UnknownNameError if it does not exist."""
        return _find(self._couplers, id, "coupler")

    def tremulant(self, id: str) -> Tremulant:  # noqa: A002
        """Tremulant of an id; UnknownNameError if it does not exist."""
        return _find(self._tremulants, id, "tremulant")

    def stops_among(self, drawn: Iterable[str]) -> tuple[Stop, ...]:
        """The drawn stops, without couplers and tremulants.

        Raises
        ------
        UnknownNameError
            If an id is not one of the organ's stops, couplers or tremulants.
        """
        aside = self._couplers.keys() | self._tremulants.keys()
        return tuple(self.stop(one) for one in drawn if one not in aside)

    def pitch_of(self, rank: Rank) -> Pitch:
        """The pitch of a rank."""
        instrument = self._instruments.get(self.division(rank.division).instrument or "")
        pitch = self.pitch if instrument is None else instrument.pitch
        return pitch if rank.a4_hz is None else Pitch(rank.a4_hz, pitch.at_celsius)

    def temperament_of(self, rank: Rank) -> Temperament:
        """The temperament of a rank."""
        instrument = self._instruments.get(self.division(rank.division).instrument or "")
        return self.temperament if instrument is None else instrument.temperament

    def is_enclosed(self, rank: Rank) -> bool:
        """Whether a rank is in a swell box."""
        if rank.enclosed is not None:
            return rank.enclosed
        return self.division(rank.division).enclosed

    def names_of_pipes(self) -> tuple[tuple[str, str], ...]:
        """Ids and names of everything that can name pipes: ranks and stops."""
        ranks = ((rank.id, rank.name) for rank in self.ranks)
        return (*ranks, *((stop.id, stop.name) for stop in self.stops))

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
                fix="Draw couplers to one keyboard only, the one that is played.",
            )
        return next(iter(keyboards))


def _find(table: dict[str, T], name: str, kind: str) -> T:
    try:
        return table[name]
    except KeyError:
        meant = likeliest_id(name, ((one.id, one.name) for one in table.values()))
        fix = f"It has: {', '.join(table)}." if meant is None else f"Did you mean {meant}?"
        if not table:
            fix = f"Its description has no {kind}."
        raise UnknownNameError(f"The organ has no {kind} {name!r}.", fix=fix) from None
