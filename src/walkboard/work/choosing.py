"""A worklist from readings, without a book."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from walkboard.condition.assessing import assess
from walkboard.condition.gathering import best_readings, told_air
from walkboard.condition.state import Condition
from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.planning.plan import Plan
from walkboard.planning.planning import make_plan
from walkboard.survey.exchange import walk_from_json
from walkboard.survey.heard import HeardWalk
from walkboard.work.describing import read_text


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
                mend="Give the file that 'walkboard listen … --json' printed.",
            ) from None
        values = value if isinstance(value, list) else [value]
        walks.extend(walk_from_json(item, where=str(path)) for item in values)
    return tuple(walks)


def plan_from_walks(
    organ: Organ,
    walks: Sequence[HeardWalk],
    minutes: float,
    event_air_celsius: float | None = None,
) -> tuple[Condition, Plan]:
    """The organ's condition and the worklist for the minutes there are.

    Raises
    ------
    InputError
        When the readings are of another organ or hold nothing to plan with.
    """
    if not minutes >= 0.0:
        raise InputError(f"A visit cannot last {minutes:g} minutes.", mend="Give 0 or more.")
    pipes = best_readings(organ, walks)
    if not pipes:
        raise InputError(
            "There is no usable reading to plan with.",
            mend="Listen to at least one stop; flags in the readings say what went wrong.",
        )
    thermometers = told_air(organ, walks)
    condition = assess(organ, pipes, thermometers)
    plan = make_plan(organ, condition, pipes, minutes, event_air_celsius=event_air_celsius)
    return condition, plan
