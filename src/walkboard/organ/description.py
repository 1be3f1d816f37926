"""The shape of an organ description: its tables and fields, and what each may contain.

These models check one field at a time; `walkboard.organ.checking` checks what one table says about
another. Unknown fields are rejected. The field descriptions also appear in the JSON Schema that is
shipped (`walkboard.organ.schema`).
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Discriminator, Field, Tag

from walkboard.organ.console import CoupledKeys, ToyKind
from walkboard.organ.fields import (
    ChestId,
    DivisionId,
    Id,
    KeyName,
    Name,
    OrganId,
    RankId,
    SplitName,
    Table,
)
from walkboard.organ.rank_tables import RankTable

NAMED, OWN = "a name", "a table"  # the two ways to give a temperament


class PitchTable(Table):
    """The pitch of the organ."""

    a4_hz: float = Field(examples=[440.0], ge=300.0, le=600.0, description="Frequency of A4 [Hz].")
    at_celsius: float = Field(
        examples=[18.0],
        ge=-10.0,
        le=45.0,
        description="Air temperature at which it has that pitch [°C].",
    )


class TemperamentTable(Table):
    """A temperament of the organ's own."""

    name: Name = Field(default="own", description="What to call it.")
    fifths: dict[str, Annotated[float, Field(gt=-100.0, lt=100.0)]] = Field(
        examples=[{"C-G": -5.87, "G-D": -5.87, "D-A": -5.86, "B-F#": -5.86}],
        description="How much each fifth is wider than pure [cents], negative narrow, by its two "
        "notes, as C-G. A fifth not listed is pure; the sum must be -23.46 cents.",
    )


def _way_of_giving(given: object) -> str:
    return OWN if isinstance(given, dict | TemperamentTable) else NAMED


class DivisionTable(Table):
    """A division: one keyboard's share of the organ."""

    id: Annotated[Id, Field(examples=["great"])]
    name: Annotated[Name, Field(examples=["Great"])]
    keys: int = Field(examples=[61], ge=1, le=88, description="How many keys.")
    lowest: KeyName = Field(default="C2", description="Its lowest key.")
    enclosed: bool = Field(default=False, description="Whether it is in a swell box.")
    octave: Literal["short", "broken"] | None = Field(
        default=None,
        examples=["short"],
        description="If its lowest octave is short (no C#, D#, F#, G#) or broken (no C#, D#).",
    )
    missing: list[KeyName] = Field(
        default_factory=list, examples=[["C#2"]], description="Keys it does not have."
    )
    split: list[SplitName] = Field(
        default_factory=list,
        examples=[["Eb", "G#"]],
        description="Sharps split into two keys: a note in every octave, or one key. The second "
        "half is written with an asterisk, as Ab3*.",
    )
    floating: bool = Field(
        default=False, description="Whether it has no keyboard of its own, only couplers."
    )
    organ: OrganId | None = Field(
        default=None, description="The id of its organ, if the building has several."
    )


class OrganTable(Table):
    """One of several organs in a building that are played together."""

    id: Annotated[Id, Field(examples=["gallery"])]
    name: Annotated[Name, Field(examples=["Gallery organ"])]
    pitch: PitchTable | None = Field(
        default=None, description="Its pitch, if not the one at the head of the file."
    )
    temperament: str | None = Field(
        default=None,
        examples=["vallotti"],
        description="Its temperament by name, if not the one at the head of the file.",
    )


class ChestTable(Table):
    """A chest: everything reached by opening the same panels."""

    id: Annotated[Id, Field(examples=["great.front"])]
    division: DivisionId = Field(description="The division's id.")
    minutes: float = Field(
        default=0.0, ge=0.0, le=480.0, description="Time to open and close its panels [min]."
    )


class TravelTable(Table):
    """The way from one chest to another, the same in both directions."""

    from_chest: ChestId = Field(alias="from", description="A chest's id.")
    to_chest: ChestId = Field(alias="to", description="Another chest's id.")
    minutes: float = Field(examples=[2.0], ge=0.0, le=480.0, description="Time to get there [min].")


class PlaysTable(Table):
    """What a stop draws from one rank."""

    rank: RankId = Field(description="The rank's id.")
    first_pipe: int | None = Field(
        default=None,
        ge=1,
        description="Number of the pipe that its lowest key sounds, for extensions.",
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
        description="The ranks it draws.",
    )


class CouplerTable(Table):
    """A coupler: brings the stops of one division to the keys of another, or of the same."""

    id: Annotated[Id, Field(examples=["swell-to-great"])]
    name: Annotated[Name, Field(examples=["Swell to Great"])]
    from_division: DivisionId = Field(
        alias="from", examples=["swell"], description="The division whose stops it makes sound."
    )
    to_division: DivisionId = Field(
        alias="to", examples=["great"], description="The division whose keys play it."
    )
    octave: int = Field(
        default=0,
        ge=-2,
        le=2,
        examples=[1],
        description="1 for an octave coupler, -1 for a sub-octave coupler.",
    )
    keys: CoupledKeys = Field(
        default=CoupledKeys.ALL,
        strict=False,
        examples=["highest"],
        description="all; highest for a melody coupler, lowest for a bass coupler.",
    )
    unison_off: bool = Field(
        default=False, description="Whether it silences the division at the key itself."
    )


class TremulantTable(Table):
    """A tremulant."""

    id: Annotated[Id, Field(examples=["swell.tremulant"])]
    name: Annotated[Name, Field(examples=["Tremulant"])]
    divisions: list[DivisionId] = Field(
        min_length=1, examples=[["swell"]], description="The divisions whose wind it shakes."
    )
    ranks: list[RankId] = Field(
        default_factory=list, description="The ranks it shakes, if not all of the divisions."
    )
    rate_hz: float | None = Field(
        default=None, ge=0.5, le=15.0, examples=[6.0], description="Shakes a second."
    )


class ToyTable(Table):
    """A toy counter: drawn like a stop, with nothing to tune."""

    id: Annotated[Id, Field(examples=["bell-star"])]
    name: Annotated[Name, Field(examples=["Bell star"])]
    kind: ToyKind = Field(
        default=ToyKind.OTHER,
        strict=False,
        examples=["bell star"],
        description="bell star, bird, drum, bells or other.",
    )


class Description(Table):
    """A whole organ description."""

    format: Literal[1] = Field(examples=[1], description="The version of this format.")
    name: Name = Field(description="The organ's name.")
    temperament: Annotated[
        Annotated[str, Tag(NAMED)] | Annotated[TemperamentTable, Tag(OWN)],
        Discriminator(_way_of_giving),
    ] = Field(description="A known name, as equal, or a table of its fifths.", examples=["equal"])
    pitch: PitchTable
    division: list[DivisionTable] = Field(min_length=1)
    chest: list[ChestTable] = Field(default_factory=list)
    travel: list[TravelTable] = Field(default_factory=list)
    rank: list[RankTable] = Field(min_length=1)
    stop: list[StopTable] = Field(default_factory=list)
    coupler: list[CouplerTable] = Field(default_factory=list)
    tremulant: list[TremulantTable] = Field(default_factory=list)
    toy: list[ToyTable] = Field(default_factory=list)
    organ: list[OrganTable] = Field(default_factory=list)
