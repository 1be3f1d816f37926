"""JSON of an event's use of the organ."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from walkboard.errors import InputError
from walkboard.planning.value.use import EventUse, RegistrationUse


class _Use(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    stops: tuple[str, ...] = Field(min_length=1)
    seconds: float = Field(gt=0.0)
    keys: Mapping[str, Mapping[int, float]] = {}
    words: str = ""


_USES = TypeAdapter(tuple[_Use, ...])


def use_to_json(use: EventUse) -> list[dict[str, Any]]:
    """An event's use as plain values for JSON."""
    return [
        {
            "stops": list(registration.stops),
            "seconds": registration.seconds,
            "keys": {
                division: {str(semitone): seconds for semitone, seconds in sorted(keys.items())}
                for division, keys in registration.keys.items()
            },
            "words": registration.words,
        }
        for registration in use.registrations
    ]


def use_from_json(value: object, *, where: str = "") -> EventUse:
    """An event's use from plain values.

    Raises
    ------
    InputError
        If they do not have that form.
    """
    try:
        found = _USES.validate_python(value)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(map(str, first["loc"]))
        raise InputError(
            f"This is not how an event uses the organ ({place}: {first['msg']}).", where=where
        ) from error
    return EventUse(
        tuple(RegistrationUse(use.stops, use.seconds, use.keys, use.words) for use in found)
    )
