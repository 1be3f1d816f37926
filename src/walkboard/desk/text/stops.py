"""Stops and ranks as the pages list them: with division and feet, for names alone repeat."""

from __future__ import annotations

from collections.abc import Iterable

from walkboard.organ.model import Organ, Rank
from walkboard.sheets.keyholder import stop_words
from walkboard.sheets.wording import rank_words


def rank_in_division(organ: Organ, rank: Rank) -> str:
    """A rank whose division is already named: ``Principal 8′``."""
    return rank_words(organ, rank).partition(" · ")[2]


def stops_listed(organ: Organ, stops: Iterable[str]) -> str:
    """Stops by their ids: ``Great: Principal 8′, Octave 4′; Swell: Oboe 8′``.

    Anything that only an older description had is shown by its id.
    """
    wanted = list(stops)
    known = {stop.id: stop for stop in organ.stops}
    parts = []
    for division in organ.divisions:
        here = [known[s] for s in wanted if s in known and known[s].division == division.id]
        if here:
            parts.append(f"{division.name}: {', '.join(stop_words(organ, s) for s in here)}")
    parts += [s for s in wanted if s not in known]
    return "; ".join(parts)
