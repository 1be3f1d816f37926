"""What a stop draws from a rank: which key sounds which pipe."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

from walkboard.organ.description import PlaysTable
from walkboard.organ.keyboards import is_regular
from walkboard.organ.model import Division, Plays
from walkboard.scales.keys import Key


@dataclass(frozen=True, slots=True)
class Span:
    """The keys that a rank's own pipes play at.

    Attributes
    ----------
    rank, division : str
    keys : tuple of Key
        The key of each pipe, upward.
    """

    rank: str
    division: str
    keys: tuple[Key, ...]

    @property
    def from_key(self) -> Key:
        """The key of its first pipe."""
        return self.keys[0]

    @property
    def to_key(self) -> Key:
        """The key of its last pipe."""
        return self.keys[-1]

    @property
    def pipes(self) -> int:
        """How many pipes."""
        return len(self.keys)


def first_key(table: PlaysTable, division: Division, span: Span) -> Key:
    """The lowest key at which a stop sounds a rank.

    ``from`` if given; else the division's lowest key, or the rank's own first key if that is higher
    and either the rank is the division's own or the stop plays it at the rank's own keys.
    """
    if table.from_key is not None:
        return Key.parse(table.from_key)
    if span.division == division.id or table.first_pipe is None:
        return max(division.lowest, span.from_key)
    return division.lowest


def build_plays(table: PlaysTable, division: Division, span: Span) -> Plays:
    """What a stop of a division draws from a rank, limited to existing keys and pipes."""
    low = first_key(table, division, span)
    first = table.first_pipe
    if is_regular(span.keys) and not division.keyboard:
        if first is None:
            first = low.semitone - span.from_key.semitone + 1
        if table.to_key is not None:
            high = Key.parse(table.to_key)
        else:
            last = low.semitone + span.pipes - first
            high = Key(min(division.highest.semitone, last))
        return Plays(span.rank, low, high, first)
    return _by_key(table, division, span, low)


def _by_key(table: PlaysTable, division: Division, span: Span, low: Key) -> Plays:
    """The same if there is not one key or pipe per semitone: keys find their pipes by note."""
    shift = 0
    if table.first_pipe is not None and table.first_pipe <= span.pipes:
        shift = span.keys[table.first_pipe - 1].semitone - low.semitone
    high = division.highest if table.to_key is None else Key.parse(table.to_key)
    numbers = {key: number for number, key in enumerate(span.keys, 1)}
    by_key: dict[Key, int] = {}
    for key in division.all_keys:
        if low <= key <= high and 0 <= key.semitone + shift <= Key.HIGHEST:
            number = numbers.get(key.up(shift))
            if number is not None:
                by_key[key] = number
    if not by_key:
        return Plays(span.rank, low, low.up(-1) if low.semitone else low, table.first_pipe or 0)
    keys = list(by_key)
    last = keys[-1] if table.to_key is None else high
    return Plays(span.rank, keys[0], last, by_key[keys[0]], MappingProxyType(by_key))
