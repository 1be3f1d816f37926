"""Walks from files that ``walkboard listen --json`` printed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.parsing import json_value
from walkboard.survey.hear.before import lone_rank, sound_of
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.hear.to_json import walk_from_json
from walkboard.survey.recognise.rank_sound import RankSound
from walkboard.work.organ_files import read_text


def load_walks(paths: Sequence[Path]) -> tuple[HeardWalk, ...]:
    """The walks in files that ``walkboard listen --json`` printed, one or a list in each."""
    walks: list[HeardWalk] = []
    for path in paths:
        try:
            value = json_value(read_text(path))
        except ValueError as error:
            raise InputError(
                f"The file is not JSON: {error}.",
                where=str(path),
                fix="Give the file that 'walkboard listen … --json' printed.",
            ) from None
        values = value if isinstance(value, list) else [value]
        walks.extend(walk_from_json(item, where=str(path)) for item in values)
    return tuple(walks)


def load_sounds(organ: Organ, paths: Sequence[Path]) -> dict[str, RankSound]:
    """How ranks sounded in such files, by rank; of several of one rank the last counts."""
    found: dict[str, RankSound] = {}
    for walk in load_walks(paths):
        rank, sound = lone_rank(organ, walk.drawn), sound_of(organ, walk)
        if rank is not None and sound is not None:
            found[rank.id] = sound
    return found
