"""Walks from files that ``walkboard listen --json`` printed."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from walkboard.errors import InputError
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.hear.to_json import walk_from_json
from walkboard.work.organ_files import read_text


def load_walks(paths: Sequence[Path]) -> tuple[HeardWalk, ...]:
    """The walks in files that ``walkboard listen --json`` printed, one or a list in each."""
    walks: list[HeardWalk] = []
    for path in paths:
        try:
            value = json.loads(read_text(path))
        except json.JSONDecodeError as error:
            raise InputError(
                f"The file is not JSON: {error.msg} at line {error.lineno}.",
                where=str(path),
                fix="Give the file that 'walkboard listen … --json' printed.",
            ) from None
        values = value if isinstance(value, list) else [value]
        walks.extend(walk_from_json(item, where=str(path)) for item in values)
    return tuple(walks)
