"""Exchanges that make a round worth more, until none does."""

from __future__ import annotations

import numpy as np

from walkboard.planning.rounds.greedy import fill
from walkboard.planning.rounds.kinds import Stop
from walkboard.planning.rounds.state import BeingBuilt

_LEAST = 1e-9  # an exchange that brings less is rounding
MOST_PASSES = 6  # chosen: later passes find next to nothing (bench rounds)
_FORCED = 4  # weeks and tuners that each organ is pushed into, the best first. Chosen.


def improve(built: BeingBuilt) -> None:
    """Take a visit out and put in what then fits best; push an organ in and let others move.

    Ends where it began if nothing helps.
    """
    for _ in range(MOST_PASSES):
        before = built.total()
        for stop in sorted(built.stops):
            if stop in built.stops:
                _exchange(built, stop)
        fill(built)
        for organ in range(built.firm.shape[0]):
            _push_in(built, organ)
        fill(built)
        if built.total() <= before + _LEAST:
            return


def _exchange(built: BeingBuilt, out: Stop) -> None:
    """One visit out, up to two in; the one taken out may come back in another place."""
    stops, was = frozenset(built.stops), built.total()
    built.remove(out)
    for _ in range(2):
        if not _add_best(built, built.open_organs()):
            break
    if built.total() <= was + _LEAST:
        built.go_back(stops)


def _push_in(built: BeingBuilt, organ: int) -> None:
    """Put an organ where it is worth most; visits that must make room go elsewhere."""
    own = list(built.of_organ[organ])
    for stop in own:
        built.remove(stop)
    worth = np.where(built.firm.allowed[organ], built.worth([organ])[0], 0.0)
    for stop in own:
        built.add(stop)
    for at in np.argsort(-worth, axis=None)[:_FORCED]:
        week, tuner = (int(n) for n in np.unravel_index(int(at), worth.shape))
        wanted = Stop(organ, week, tuner)
        if not worth[week, tuner] > 0.0 or wanted in built.stops:
            return  # it is in the best place left
        stops, was = frozenset(built.stops), built.total()
        for stop in list(built.of_organ[organ]):
            built.remove(stop)
        ejected = _make_room(built, wanted)
        if built.fits(wanted):
            built.add(wanted)
            while _add_best(built, [*ejected, *(s.organ for s in own)]):
                pass
        if built.total() > was + _LEAST:
            return
        built.go_back(stops)


def _make_room(built: BeingBuilt, wanted: Stop) -> list[int]:
    """Take out what is worth least an hour in that week until the visit fits."""
    ejected = []
    while not built.fits(wanted):
        there = [
            stop
            for stop in built.of_week[wanted.week]
            if stop.tuner == wanted.tuner or built.same_key_holder(stop, wanted)
        ]
        if not there:
            break
        out = min(there, key=lambda stop: (built.rate_of(stop), stop))
        built.remove(out)
        ejected.append(out.organ)
    return ejected


def _add_best(built: BeingBuilt, organs: list[int]) -> bool:
    if not organs:
        return False
    worth = np.where(built.fitting(organs), built.worth(organs), 0.0)
    at = int(np.argmax(worth))
    if not worth.flat[at] > 0.0:
        return False
    which, week, tuner = (int(n) for n in np.unravel_index(at, worth.shape))
    built.add(Stop(organs[which], week, tuner))
    return True
