"""What the fields of an organ description have in common: ids, names, keys, feet."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal, get_args, get_origin

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

FORMAT = 1
KEY_PATTERN = r"^[A-Ga-g][#♯b♭]?-?[0-9]{1,2}[*]?$"
SPLIT_PATTERN = r"^[A-Ga-g][#♯b♭](-?[0-9]{1,2})?$"

Id = Annotated[
    str,
    Field(
        pattern=r"^[^\s:,]+$",
        description="Its id, without spaces, commas or colons, such as great.principal8.",
        examples=["great.principal8"],
    ),
]
Name = Annotated[
    str,
    Field(
        pattern=r"^[^\r\n]*[^\s][^\r\n]*$",
        description="Its name as players see it, on one line.",
        examples=["Principal 8"],
    ),
]
KeyName = Annotated[str, Field(pattern=KEY_PATTERN, examples=["C2", "F#3", "Bb4"])]
SplitName = Annotated[str, Field(pattern=SPLIT_PATTERN, examples=["Eb", "G#", "G#3"])]
DivisionId = Annotated[str, Field(examples=["great"])]
RankId = Annotated[str, Field(examples=["great.principal8"])]
OrganId = Annotated[str, Field(examples=["gallery"])]
ChestId = Annotated[str, Field(examples=["great.front"])]
PipeNumber = Annotated[str, Field(pattern=r"^[1-9][0-9]*$")]


def _feet_as_text(given: object) -> object:
    """Accepts ``feet = 8`` as ``feet = "8"``."""
    return str(given) if isinstance(given, int) and not isinstance(given, bool) else given


BUILD = "plain, harmonic (overblown), half-length (reeds) or free reed."

Feet = Annotated[
    str,
    BeforeValidator(_feet_as_text),
    WithJsonSchema({"type": ["string", "integer"], "examples": ["8", "2 2/3", "1 3/5"]}),
]


class Table(BaseModel):
    """Base of all tables: no unknown fields, no type conversion."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


def words_allowed(annotation: object) -> list[str]:
    """The words that a field's enumeration or literal allows."""
    if isinstance(annotation, type) and issubclass(annotation, StrEnum):
        return [member.value for member in annotation]
    if get_origin(annotation) is Literal:
        return [str(word) for word in get_args(annotation)]
    return [word for inner in get_args(annotation) for word in words_allowed(inner)]
