"""Stops: what the player draws, and which pipe of which rank each of its keys sounds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from walkboard.organ.ranks import PipeRef
from walkboard.scales.keys import Key


@dataclass(frozen=True, slots=True)
class Plays:
    """What one stop draws from one rank: a range of keys, starting at a pipe of the rank.

    Attributes
    ----------
    rank : str
    from_key, to_key : Key
    first_pipe : int
        The pipe that `from_key` sounds.
    by_key : mapping of Key to int, or None
        The pipe of each key, if there is not one key or pipe per semitone; otherwise None.
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
        """The key that sounds a pipe of the rank; None if there is none."""
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
