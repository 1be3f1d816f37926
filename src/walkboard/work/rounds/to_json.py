"""A round as a file, and back: what the next round is compared with."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from walkboard.errors import InputError
from walkboard.work.organ_files import cannot_read
from walkboard.work.rounds.make_round import MadeRound, VisitLine


class _Visit(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)
    organ: str
    town: str
    tuner: str
    week: date
    hours: float = 0.0
    gain: float = 0.0
    serves: tuple[str, ...] = ()


class _File(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)
    format: Annotated[int, Field(ge=1, le=1)]
    visits: tuple[_Visit, ...]


def round_json(made: MadeRound) -> dict[str, Any]:
    """The round as JSON values."""
    return {
        "format": 1,
        "start": made.start.isoformat(),
        "weeks": made.weeks,
        "visits": [
            {
                "organ": one.organ,
                "town": one.town,
                "tuner": one.tuner,
                "week": one.monday.isoformat(),
                "hours": one.hours,
                "gain": one.gain,
                "serves": list(one.serves),
                "moved_from": one.moved_from,
            }
            for one in made.visits
        ],
        "not_visited": list(made.not_visited),
        "without_calendar": list(made.without_calendar),
        "moved": made.moved,
        "benefit": made.benefit,
        "driving_hours": made.driving_hours,
        "worth": made.worth,
        "bound": made.bound,
        "gap": made.gap,
        "hours_left": {name: list(hours) for name, hours in made.hours_left.items()},
    }


def read_round(path: Path) -> tuple[VisitLine, ...]:
    """The visits of a round that was written as JSON.

    Raises
    ------
    InputError
        If the file cannot be read or is not a round.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise cannot_read(path, error) from error
    try:
        found = _File.model_validate_json(data)
    except ValidationError as error:
        raise InputError(
            "This is not a round.",
            where=str(path),
            fix="Give a file written by `walkboard round --json`.",
        ) from error
    return tuple(
        VisitLine(v.organ, v.town, v.tuner, v.week, v.hours, v.gain, v.serves) for v in found.visits
    )
