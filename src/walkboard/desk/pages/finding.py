"""Finding any pipe of the organ by typing; the script find-pipe.js does the finding."""

from __future__ import annotations

from typing import Any

from walkboard.desk.text.preferences import Preferences
from walkboard.organ.model import Organ
from walkboard.sheets.wording import rank_words


def pipe_index(
    organ: Organ, organ_id: int, chosen: Preferences, *, first: str = ""
) -> dict[str, Any]:
    """Every rank with its keys, as the script needs it.

    Parameters
    ----------
    organ : Organ
    organ_id : int
    chosen : Preferences
        Keys are found by the names that this browser chose.
    first : str
        Id of the rank that is looked at: its pipes come first.
    """
    ranks = sorted(organ.ranks, key=lambda rank: rank.id != first)
    semitones = {key.semitone for rank in ranks for key in rank.keys}
    names = {key.semitone: chosen.key(key) for rank in ranks for key in rank.keys}
    return {
        "ranks": [
            {
                "words": rank_words(organ, rank),
                "address": f"/organ/{organ_id}/rank/{rank.id}",
                "keys": [key.semitone for key in rank.keys],
                "isHere": rank.id == first,
            }
            for rank in ranks
        ],
        "keys": {semitone: names[semitone] for semitone in sorted(semitones)},
    }
