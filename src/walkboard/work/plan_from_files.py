"""A worklist from readings, without a book."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from walkboard.condition.assess import assess
from walkboard.condition.gather import best_readings, told_air
from walkboard.condition.state import Condition
from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.planning.choose.continuous import Continuous
from walkboard.planning.choose.curve import EVERY_MINUTES
from walkboard.planning.choose.demands import pipes_named
from walkboard.planning.plan import Plan
from walkboard.planning.reasons import explain
from walkboard.planning.value.weight import WeightChange
from walkboard.planning.what_if import Prepared, Question, prepare
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.hear.to_json import walk_from_json
from walkboard.work.organ_files import read_text
from walkboard.work.plan_request import Asked


@dataclass(frozen=True, slots=True)
class Worklist:
    """A plan without a book, with what it was made from and what can be said of it.

    Attributes
    ----------
    condition : Condition
    plan : Plan
    explained : tuple of str
        Why pipes cost what they do.
    between : Continuous or None
        A bound for references between the grid's.
    """

    condition: Condition
    plan: Plan
    explained: tuple[str, ...] = ()
    between: Continuous | None = None


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
    *,
    asked: Asked | None = None,
    changes: Sequence[WeightChange] = (),
    explained: Sequence[str] = (),
    certify: bool = False,
) -> Worklist:
    """The organ's condition and the worklist for the minutes there are.

    Parameters
    ----------
    organ : Organ
    walks : sequence of HeardWalk
    minutes : float
    event_air_celsius : float or None
        Overrules what is asked [°C].
    asked : Asked, optional
    changes : sequence of WeightChange
        What the tuner changed of the weights.
    explained : sequence of str
        Ranks, stops, or pipes as ``rank:number`` whose cost is to be explained.
    certify : bool
        Whether to bound references between the grid's as well.

    Raises
    ------
    InputError
        When the readings are of another organ or hold nothing to plan with, or what is asked cannot
        be.
    NotEnoughMinutesError
        When what must be done does not fit.
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
    asked = asked or Asked()
    if event_air_celsius is not None:
        asked = replace(asked, event_air_celsius={"": event_air_celsius})
    question = replace(
        asked.question(organ, minutes), curve_every_minutes=EVERY_MINUTES, prove_order=True
    )
    prepared = prepare(organ, condition, pipes, changes=changes)
    plan = prepared.plan(question)
    return Worklist(
        condition,
        plan,
        sentences(organ, prepared, question, plan, explained),
        prepared.certificate(question) if certify else None,
    )


def sentences(
    organ: Organ, prepared: Prepared, question: Question, plan: Plan, named: Sequence[str]
) -> tuple[str, ...]:
    """Why pipes cost what they do, a sentence each, at the pitch that a plan tunes to.

    Raises
    ------
    InputError
        When a name is not there, or nothing is known of any of its pipes.
    """
    if not named:
        return ()
    wanted = pipes_named(organ, named)
    above = prepared.above_cents(question, plan)
    found = [s for s in prepared.standings(question) if s.pipe in wanted]
    if not found:
        raise InputError(
            f"Nothing is known of {', '.join(named)}.", mend="Name pipes that were heard."
        )
    return tuple(explain(s, above.get(s.rank.division, 0.0)) for s in found)
