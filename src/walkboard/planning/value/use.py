"""How an event uses the organ: the stops drawn, and the keys that its music exposes.

An event names registrations, and may bring the music: notes with their times. A key counts by how
long it sounds, and less in company: in a chord of n keys a pipe is exposed by 1/√n, because n
independent sounds add up to √n in amplitude (arithmetic). If only the stops are known, the usual
use of the keyboard is assumed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.planning.arrays import FloatArray
from walkboard.planning.value.company import Registration, coupled_by
from walkboard.planning.value.layout import Layout

USUAL_SECONDS = 240.0  # of a registration without music: a piece of four minutes. Chosen.
USUAL_KEYS = 3.0  # sounding at a time, if nothing is known. Chosen.
MOST_REGISTRATIONS = 6  # of an event that are separated; the shorter ones are joined to the longest


@dataclass(frozen=True, slots=True)
class Note:
    """One held key.

    Attributes
    ----------
    division : str
    semitone : int
        MIDI number of the key.
    start_s, end_s : float
    """

    division: str
    semitone: int
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class RegistrationUse:
    """One registration of an event and how long each key is exposed in it.

    Attributes
    ----------
    stops : tuple of str
        Ids of the stops drawn.
    seconds : float
        How long it sounds [s].
    keys : mapping of division id to mapping of semitone to seconds
        Exposure of each key; empty if the music is unknown.
    words : str
        Its source, such as a file's name.
    """

    stops: tuple[str, ...]
    seconds: float = USUAL_SECONDS
    keys: Mapping[str, Mapping[int, float]] = field(default_factory=lambda: MappingProxyType({}))
    words: str = ""


@dataclass(frozen=True, slots=True)
class EventUse:
    """How an event uses the organ."""

    registrations: tuple[RegistrationUse, ...] = ()

    def condensed(self) -> EventUse:
        """The same with at most `MOST_REGISTRATIONS`; those with the same stops are merged."""
        by_stops: dict[frozenset[str], list[RegistrationUse]] = {}
        for use in self.registrations:
            by_stops.setdefault(frozenset(use.stops), []).append(use)
        joined = sorted((_joined(uses) for uses in by_stops.values()), key=lambda u: -u.seconds)
        kept, rest = joined[:MOST_REGISTRATIONS], joined[MOST_REGISTRATIONS:]
        for use in rest:
            near = max(range(len(kept)), key=lambda i: _alike(kept[i].stops, use.stops))
            kept[near] = _joined([kept[near], use])
        return EventUse(tuple(kept))


def from_notes(
    organ: Organ, stops: Iterable[str], notes: Iterable[Note], words: str = ""
) -> RegistrationUse:
    """What the music exposes with these stops drawn throughout.

    Parameters
    ----------
    organ : Organ
    stops : iterable of str
    notes : iterable of Note
        In any order. Notes of divisions without a stop drawn are silent.
    words : str

    Raises
    ------
    InputError
        When no note sounds a pipe.
    UnknownNameError
        If the organ has no such stop.
    """
    drawn = tuple(dict.fromkeys(stops))
    divisions = {organ.stop(stop).division for stop in drawn}
    sounding = [n for n in notes if n.division in divisions and n.end_s > n.start_s]
    compass = {
        d: {
            key.semitone
            for stop in drawn
            if organ.stop(stop).division == d
            for plays in organ.stop(stop).plays
            for key, _ in plays.sounds()
        }
        for d in divisions
    }
    sounding = [n for n in sounding if n.semitone in compass[n.division]]
    if not sounding:
        raise InputError(
            "No note of the music sounds a pipe with these stops.",
            where=words,
            fix="Name the stops that are drawn, and on which division each channel is played.",
        )
    keys: dict[str, dict[int, float]] = {}
    for note, seconds in zip(sounding, exposed_seconds(sounding), strict=True):
        of = keys.setdefault(note.division, {})
        of[note.semitone] = of.get(note.semitone, 0.0) + float(seconds)
    length = max(n.end_s for n in sounding) - min(n.start_s for n in sounding)
    return RegistrationUse(drawn, length, keys, words)


def exposed_seconds(notes: list[Note]) -> FloatArray:
    """Seconds each note is exposed: its time, each moment divided by √(keys sounding then).

    Returns
    -------
    (notes,) array
    """
    starts = np.array([n.start_s for n in notes])
    ends = np.array([n.end_s for n in notes])
    times = np.unique(np.concatenate([starts, ends]))
    begun = np.searchsorted(np.sort(starts), times, side="right")
    ended = np.searchsorted(np.sort(ends), times, side="right")
    count = np.maximum(begun - ended, 1)[:-1]
    so_far = np.concatenate([[0.0], np.cumsum(np.diff(times) / np.sqrt(count))])
    seconds: FloatArray = (
        so_far[np.searchsorted(times, ends)] - so_far[np.searchsorted(times, starts)]
    )
    return seconds


def exposures(layout: Layout, event: EventUse, register: FloatArray) -> FloatArray:
    """Exposure of every pipe in each registration of an event [s].

    Parameters
    ----------
    layout : Layout
    event : EventUse
    register : (pipes,) array
        Usual use, for registrations without music.

    Returns
    -------
    (registrations, pipes) array
    """
    exposed = np.zeros((len(event.registrations), len(layout.semitone)))
    for row, use in zip(exposed, event.registrations, strict=True):
        for stop_id in use.stops:
            stop = layout.organ.stop(stop_id)
            division = layout.organ.division(stop.division)
            of_key = use.keys.get(stop.division, {})
            usual = use.seconds * np.sqrt(USUAL_KEYS) / division.keys
            for plays in stop.plays:
                sounds = tuple(plays.sounds())
                places = [layout.starts[plays.rank] + number - 1 for _, number in sounds]
                if use.keys:
                    row[places] += [of_key.get(key.semitone, 0.0) for key, _ in sounds]
                else:
                    row[places] += usual * register[places]
    return exposed


def registrations(layout: Layout, event: EventUse) -> tuple[Registration, ...]:
    """Which pipes sound together in each registration of an event."""
    found = []
    for use in event.registrations:
        present = np.zeros(len(layout.semitone))
        for stop_id in use.stops:
            for plays in layout.organ.stop(stop_id).plays:
                before = layout.starts[plays.rank] - 1
                present[[before + number for _, number in plays.sounds()]] = 1.0
        found.append(Registration(present, coupled_by(layout, use.stops)))
    return tuple(found)


def _joined(uses: list[RegistrationUse]) -> RegistrationUse:
    if len(uses) == 1:
        return uses[0]
    longest = max(uses, key=lambda u: u.seconds)
    keys: dict[str, dict[int, float]] = {}
    for use in uses:
        for division, seconds in use.keys.items():
            of = keys.setdefault(division, {})
            for semitone, value in seconds.items():
                of[semitone] = of.get(semitone, 0.0) + value
    words = "; ".join(dict.fromkeys(u.words for u in uses if u.words))
    return RegistrationUse(longest.stops, sum(u.seconds for u in uses), keys, words)


def _alike(first: tuple[str, ...], second: tuple[str, ...]) -> float:
    both = len(set(first) & set(second))
    return both / max(1, len(set(first) | set(second)))
