"""Which stops of one keyboard may be drawn together, and at which of its keys."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from walkboard.organ.model import Organ, PipeRef
from walkboard.scales.keys import Key
from walkboard.survey.plan.rules import Separability, Voice, voices_of

MOST_TRIED = 3000  # sets of stops of one keyboard; beyond, the search stops and gives no bound


@dataclass(frozen=True, slots=True)
class Registration:
    """Stops of one division that may be drawn together.

    Attributes
    ----------
    division : str
    stops : tuple of str
    keys : frozenset of Key
        Keys where all that they sound can be separated; for a single stop, every key it sounds at,
        since nothing less can be drawn.
    alone : bool
        Whether only one pipe sounds at each of them.
    """

    division: str
    stops: tuple[str, ...]
    keys: frozenset[Key]
    alone: bool = False


@dataclass(frozen=True, slots=True)
class Registrations:
    """All registrations worth drawing on one keyboard.

    Attributes
    ----------
    found : tuple of Registration
        None of them is contained in another, in stops and keys.
    alone : tuple of Registration
        Those with one pipe at a time that are contained in another: worth drawing only if their
        holds are shorter.
    complete : bool
        Whether every possible one was tried.
    """

    found: tuple[Registration, ...]
    alone: tuple[Registration, ...]
    complete: bool


def registrations(
    organ: Organ,
    division: str,
    stops: Sequence[str],
    keys: Sequence[Key],
    rules: Separability,
) -> Registrations:
    """Every set of these stops worth drawing.

    Parameters
    ----------
    organ : Organ
    division : str
        The division whose keyboard is played.
    stops : sequence of str
        Stops of that division.
    keys : sequence of Key
        Keys that may be held.
    rules : Separability
        Must be monotone.
    """
    sounds = {stop: _sounding(organ, stop, keys) for stop in stops}
    voices = _voices(organ)

    def allowed(drawn: tuple[str, ...], among: frozenset[Key]) -> frozenset[Key]:
        good = set()
        for key in among:
            sounding = [sounds[stop][key] for stop in drawn if key in sounds[stop]]
            if len(sounding) < 2:  # one stop alone: nothing less can be drawn
                good.add(key)
                continue
            pipes = dict.fromkeys(pipe for stop_pipes in sounding for pipe in stop_pipes)
            if rules.why_not(voices(tuple(pipes))) is None:
                good.add(key)
        return frozenset(good)

    names = [stop for stop in stops if sounds[stop]]
    everywhere = frozenset(keys)
    pairs = {(a, b): allowed((a, b), everywhere) for a, b in combinations(names, 2)}
    feasible: dict[tuple[str, ...], frozenset[Key]] = {(stop,): everywhere for stop in names}
    level = dict(feasible)
    complete = True
    while level and complete:
        above: dict[tuple[str, ...], frozenset[Key]] = {}
        for drawn, good in level.items():
            for stop in names[names.index(drawn[-1]) + 1 :]:
                left = good
                for other in drawn:
                    left &= pairs[other, stop]
                if left and len(drawn) > 1:
                    left = allowed((*drawn, stop), left)
                if any(sounds[stop].get(key) for key in left):
                    above[*drawn, stop] = left
            if len(feasible) + len(above) > MOST_TRIED:
                complete = False
                break
        feasible |= above
        level = above
    found = [_registration(division, drawn, good, sounds) for drawn, good in feasible.items()]
    kept = tuple(_worthwhile(found))
    alone = tuple(one for one in found if one.alone and one not in kept)
    return Registrations(kept, alone, complete)


Sounds = Mapping[str, Mapping[Key, tuple[PipeRef, ...]]]


def _sounding(organ: Organ, stop: str, keys: Sequence[Key]) -> dict[Key, tuple[PipeRef, ...]]:
    found = {key: organ.stop(stop).pipes_at(key) for key in keys}
    return {key: pipes for key, pipes in found.items() if pipes}


def _registration(
    division: str, drawn: tuple[str, ...], good: frozenset[Key], sounds: Sounds
) -> Registration:
    pipes = {key: {pipe for stop in drawn for pipe in sounds[stop].get(key, ())} for key in good}
    keys = frozenset(key for key in good if pipes[key])
    return Registration(division, drawn, keys, all(len(pipes[key]) == 1 for key in keys))


def _voices(organ: Organ) -> Callable[[tuple[PipeRef, ...]], tuple[Voice, ...]]:
    known: dict[PipeRef, Voice] = {}

    def find(pipes: tuple[PipeRef, ...]) -> tuple[Voice, ...]:
        for pipe in pipes:
            if pipe not in known:
                (known[pipe],) = voices_of(organ, (pipe,))
        return tuple(known[pipe] for pipe in pipes)

    return find


def _worthwhile(found: Sequence[Registration]) -> list[Registration]:
    """Drop those contained in another one: the same pipes at every key."""
    largest_first = sorted(found, key=lambda r: (-len(r.stops), r.stops))
    kept: list[Registration] = []
    for one in largest_first:
        stops = set(one.stops)
        if not any(stops <= set(other.stops) and one.keys <= other.keys for other in kept):
            kept.append(one)
    return kept
