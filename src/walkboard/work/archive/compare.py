"""What new hearings would change: readings that moved by more than their sigma, flags, pipes.

Compared is the exchange form (`walkboard listen --json`), so that a result of any version can be
compared with the book.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

_SIGMAS = (1.0, 2.0, 5.0)  # numbers of sigmas by which readings count as moved


@dataclass(frozen=True, slots=True)
class Moved:
    """One reading that moved.

    Attributes
    ----------
    recording_id : int
    pipe : str
    cents, sigma_cents : (float, float)
        Before and after.
    """

    recording_id: int
    pipe: str
    cents: tuple[float, float]
    sigma_cents: tuple[float, float]

    @property
    def sigmas(self) -> float:
        """How far, in sigmas of the old reading."""
        return abs(self.cents[1] - self.cents[0]) / self.sigma_cents[0]


@dataclass(slots=True)
class Changes:
    """What would change in an archive, summed over its recordings.

    Attributes
    ----------
    recordings, changed : int
        Compared, and with any change.
    readings : int
        Readings with a value before and after.
    moved : list of Moved
        Readings moved by more than one sigma of the old reading.
    gained, lost : int
        Pipes that have a value only after, and only before.
    flags_gained, flags_lost : Counter of str
        Flags of readings.
    heard_otherwise : list of (int, str, str)
        Recordings in which something else is now reported: number, before, after.
    """

    recordings: int = 0
    changed: int = 0
    readings: int = 0
    moved: list[Moved] = field(default_factory=list)
    gained: int = 0
    lost: int = 0
    flags_gained: Counter[str] = field(default_factory=Counter)
    flags_lost: Counter[str] = field(default_factory=Counter)
    heard_otherwise: list[tuple[int, str, str]] = field(default_factory=list)

    def counts(self) -> dict[str, int]:
        """How many readings moved by more than 1, 2 and 5 sigmas."""
        return {f"{s:g}": sum(one.sigmas > s for one in self.moved) for s in _SIGMAS}


def compare(pairs: Iterable[tuple[int, Mapping[str, Any], Mapping[str, Any]]]) -> Changes:
    """Compare hearings.

    Parameters
    ----------
    pairs : iterable of (recording_id, before, after)
        Walks as JSON values.
    """
    found = Changes()
    for recording_id, before, after in pairs:
        found.recordings += 1
        found.changed += _compare_walks(found, recording_id, before, after)
    found.moved.sort(key=lambda one: (-one.sigmas, one.recording_id, one.pipe))
    return found


def _compare_walks(
    found: Changes, recording_id: int, before: Mapping[str, Any], after: Mapping[str, Any]
) -> bool:
    old, new = _by_place(before), _by_place(after)
    differs = False
    for place in {**old, **new}:
        one, other = old.get(place), new.get(place)
        flags, later = _flags(one), _flags(other)
        found.flags_gained.update(later - flags)
        found.flags_lost.update(flags - later)
        differs |= flags != later
        value, now = _value(one), _value(other)
        if value is None or now is None:
            found.gained += value is None and now is not None
            found.lost += value is not None and now is None
            differs |= (value is None) != (now is None)
            continue
        found.readings += 1
        differs |= value != now
        moved = Moved(recording_id, place[0], (value[0], now[0]), (value[1], now[1]))
        if moved.sigmas > _SIGMAS[0]:
            found.moved.append(moved)
    said, now_said = _sentence(before), _sentence(after)
    if said and said != now_said:
        found.heard_otherwise.append((recording_id, said, now_said))
        differs = True
    return differs


def _by_place(walk: Mapping[str, Any]) -> dict[tuple[str, int], Mapping[str, Any]]:
    """Readings by pipe, and by which of its holds in the walk."""
    seen: Counter[str] = Counter()
    found = {}
    for hold in walk["holds"]:
        for reading in hold["readings"]:
            found[reading["pipe"], seen[reading["pipe"]]] = reading
            seen[reading["pipe"]] += 1
    return found


def _value(reading: Mapping[str, Any] | None) -> tuple[float, float] | None:
    if reading is None or reading.get("cents") is None or not reading.get("sigma_cents"):
        return None
    return float(reading["cents"]), float(reading["sigma_cents"])


def _flags(reading: Mapping[str, Any] | None) -> set[str]:
    return set() if reading is None else set(reading.get("flags", ()))


def _sentence(walk: Mapping[str, Any]) -> str:
    heard = walk.get("heard")
    return str(heard.get("sentence", "")) if heard else ""
