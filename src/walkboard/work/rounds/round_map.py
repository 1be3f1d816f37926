"""The round on the map: what `walkboard.sheets.round_map` draws."""

from __future__ import annotations

from walkboard.sheets.round_map import TownMark, draw_map
from walkboard.work.rounds.firm_file import FirmFile
from walkboard.work.rounds.make_round import MadeRound


def map_of(firm: FirmFile, made: MadeRound) -> str:
    """SVG of the firm's towns with the weeks in which each is visited."""
    tuners = [tuner.name for tuner in firm.tuner]
    homes = {tuner.home for tuner in firm.tuner}
    marks = []
    for town in firm.town:
        visits = {
            ((one.monday - made.start).days // 7 + 1, tuners.index(one.tuner))
            for one in made.visits
            if one.town == town.name
        }
        organs = sum(organ.town == town.name for organ in firm.organ)
        marks.append(
            TownMark(
                town.name,
                town.latitude,
                town.longitude,
                organs,
                tuple(sorted(visits)),
                town.name in homes,
            )
        )
    return draw_map(marks, tuners)
