"""The shape of an organ description: which tables and fields there are and what each may hold.

These models know one field at a time; what one table says of another is checked in
`walkboard.organ.checking`. Unknown fields are refused. The field descriptions are those of the JSON
Schema that is shipped (`walkboard.organ.schema`).
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    WithJsonSchema,
)

from walkboard.organ.model import Family, TunedBy

FORMAT = 1
KEY_PATTERN = r"^[A-Ga-g][#♯b♭]?-?[0-9]$"
NAMED, OWN = "a name", "a table"  # the two ways to give a temperament

Id = Annotated[
    str,
    Field(
        pattern=r"^[^\s:,]+$",
        description="Its id: no spaces, commas or colons, as great.principal8.",
        examples=["great.principal8"],
    ),
]
Name = Annotated[
    str,
    Field(
        pattern=r"^[^\r\n]*[^\s][^\r\n]*$",
        description="Its name as the players read it, on one line.",
        examples=["Principal 8"],
    ),
]
KeyName = Annotated[str, Field(pattern=KEY_PATTERN, examples=["C2", "F#3", "Bb4"])]
DivisionId = Annotated[str, Field(examples=["great"])]
RankId = Annotated[str, Field(examples=["great.principal8"])]
ChestId = Annotated[str, Field(examples=["great.front"])]
PipeNumber = Annotated[str, Field(pattern=r"^[1-9][0-9]*$")]


def _feet_as_text(given: object) -> object:
    """``feet = 8`` is taken as ``feet = "8"``."""
    return str(given) if isinstance(given, int) and not isinstance(given, bool) else given


Feet = Annotated[
    str,
    BeforeValidator(_feet_as_text),
    WithJsonSchema({"type": ["string", "integer"], "examples": ["8", "2 2/3", "1 3/5"]}),
]


class Table(BaseModel):
    """What all tables have in common: nothing unknown, no conversion of types."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class PitchTable(Table):
    """The pitch that the organ stands at."""

    a4_hz: float = Field(examples=[440.0], ge=300.0, le=600.0, description="Frequency of A4 [Hz].")
    at_celsius: float = Field(
        examples=[18.0],
        ge=-10.0,
        le=45.0,
        description="Air temperature at which it stands at that pitch [°C].",
    )


class TemperamentTable(Table):
    """A temperament of the organ's own."""

    name: Name = Field(default="own", description="What to call it.")
    fifths: dict[str, Annotated[float, Field(gt=-100.0, lt=100.0)]] = Field(
        examples=[{"C-G": -5.87, "G-D": -5.87, "D-A": -5.86, "B-F#": -5.86}],
        description="How much each fifth is wider than pure [cents], negative narrow, by its two "
        "notes, as C-G. A fifth that is not named is pure; together they make -23.46 cents.",
    )


def _way_of_giving(given: object) -> str:
    return OWN if isinstance(given, dict | TemperamentTable) else NAMED


class DivisionTable(Table):
    """A division: one keyboard's share of the organ."""

    id: Annotated[Id, Field(examples=["great"])]
    name: Annotated[Name, Field(examples=["Great"])]
    keys: int = Field(examples=[61], ge=1, le=88, description="How many keys.")
    lowest: KeyName = Field(default="C2", description="Its lowest key.")
    enclosed: bool = Field(default=False, description="Whether it stands in a box.")


class ChestTable(Table):
    """A chest: what is reached by opening the same panels."""

    id: Annotated[Id, Field(examples=["great.front"])]
    division: DivisionId = Field(description="The division's id.")
    minutes: float = Field(
        default=0.0, ge=0.0, le=480.0, description="To open its panels and close them [min]."
    )


class TravelTable(Table):
    """The way from one chest to another, the same in both directions."""

    from_chest: ChestId = Field(alias="from", description="A chest's id.")
    to_chest: ChestId = Field(alias="to", description="Another chest's id.")
    minutes: float = Field(examples=[2.0], ge=0.0, le=480.0, description="To get there [min].")


class BreakTable(Table):
    """From a key upward, the pitch of one row of a mixture."""

    model_config = ConfigDict(
        json_schema_extra={"oneOf": [{"required": ["interval"]}, {"required": ["feet"]}]}
    )

    from_key: KeyName = Field(alias="from", description="The key at which it begins.")
    interval: int | None = Field(
        default=None, description="Interval above the key's 8′ pitch, as 15, 19, 22."
    )
    feet: Feet | None = Field(default=None, description="The same in feet, as 2, 1 1/3, 1.")


class RankTable(Table):
    """A rank: one row of pipes, one a key."""

    model_config = ConfigDict(
        json_schema_extra={"oneOf": [{"required": ["feet"]}, {"required": ["breaks"]}]}
    )

    id: Id
    division: DivisionId = Field(description="The id of the division whose chest and air it has.")
    name: Name
    family: Family = Field(examples=["open"], strict=False, description="How its pipes sound.")
    feet: Feet | None = Field(
        default=None,
        description="Pitch at its lowest pipe, as a stop on the lowest key. Or give breaks.",
    )
    breaks: list[BreakTable] | None = Field(
        default=None, min_length=1, description="For a row of a mixture that breaks back."
    )
    pipes: int = Field(examples=[61], ge=1, le=109, description="How many pipes.")
    tuned_by: TunedBy = Field(
        examples=["slide"], strict=False, description="What is moved to tune a pipe."
    )
    from_key: KeyName | None = Field(
        default=None, alias="from", description="The key its first pipe plays, if not the lowest."
    )
    minutes: float | None = Field(
        default=None,
        gt=0.0,
        le=60.0,
        description="To tune one pipe [min], where it differs from the usual for its kind.",
    )
    beats: float | None = Field(
        default=None,
        ge=-15.0,
        le=15.0,
        description="For a celeste: beats a second against its partner; positive: sharp.",
    )
    chest: ChestId | None = Field(
        default=None, description="The chest's id, if not the division's."
    )
    wind_mm: float | None = Field(
        default=None, ge=20.0, le=2600.0, description="Wind pressure [mm of water]."
    )
    historic: bool = Field(default=False, description="Leave it to the organ's adviser.")
    diameter_mm: dict[PipeNumber, Annotated[float, Field(gt=1.0, le=900.0)]] = Field(
        default_factory=dict, description="Inside diameters [mm] by number of the pipe."
    )
    tongue_mm: dict[PipeNumber, Annotated[float, Field(gt=1.0, le=600.0)]] = Field(
        default_factory=dict,
        description="Lengths of the speaking part of the tongue [mm] by number of the pipe.",
    )


class PlaysTable(Table):
    """What a stop draws from one rank."""

    rank: RankId = Field(description="The rank's id.")
    first_pipe: int | None = Field(
        default=None,
        ge=1,
        description="Number of the pipe that the lowest of its keys sounds, for extensions.",
    )
    from_key: KeyName | None = Field(
        default=None, alias="from", description="Its lowest key, if not the division's."
    )
    to_key: KeyName | None = Field(
        default=None, alias="to", description="Its highest key, if not the last with a pipe."
    )


class StopTable(Table):
    """A stop: what the player draws."""

    id: Id
    name: Name
    division: DivisionId = Field(description="The id of the division whose keys play it.")
    plays: list[PlaysTable] = Field(
        min_length=1,
        examples=[[{"rank": "great.principal8"}]],
        description="The ranks that it draws.",
    )


class Description(Table):
    """A whole organ description."""

    format: Literal[1] = Field(examples=[1], description="The version of this format.")
    name: Name = Field(description="The organ's name.")
    temperament: Annotated[
        Annotated[str, Tag(NAMED)] | Annotated[TemperamentTable, Tag(OWN)],
        Discriminator(_way_of_giving),
    ] = Field(description="A known name, as equal, or a table with its fifths.", examples=["equal"])
    pitch: PitchTable
    division: list[DivisionTable] = Field(min_length=1)
    chest: list[ChestTable] = Field(default_factory=list)
    travel: list[TravelTable] = Field(default_factory=list)
    rank: list[RankTable] = Field(min_length=1)
    stop: list[StopTable] = Field(default_factory=list)
