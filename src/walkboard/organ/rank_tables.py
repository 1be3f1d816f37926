"""The tables of an organ description that define a rank."""

from __future__ import annotations

from typing import Annotated

from pydantic import ConfigDict, Field

from walkboard.organ.fields import (
    BUILD,
    ChestId,
    DivisionId,
    Feet,
    Id,
    KeyName,
    Name,
    PipeNumber,
    RankId,
    Table,
)
from walkboard.organ.kinds import Build, ChangeKind, Family, PipeOrder, TunedBy


class BreakTable(Table):
    """From a key upward, the pitch of one row of a mixture."""

    model_config = ConfigDict(
        json_schema_extra={"oneOf": [{"required": ["interval"]}, {"required": ["feet"]}]}
    )

    from_key: KeyName = Field(alias="from", description="The key at which it begins.")
    interval: int | None = Field(
        default=None, description="Interval above the key's 8′ pitch, such as 15, 19, 22."
    )
    feet: Feet | None = Field(default=None, description="The same in feet, such as 2, 1 1/3, 1.")


class PartTable(Table):
    """From a key upward, how the pipes of a rank are built."""

    from_key: KeyName = Field(alias="from", description="The key at which it begins.")
    family: Family = Field(examples=["open"], strict=False, description="How its pipes sound.")
    tuned_by: TunedBy = Field(
        examples=["slide"], strict=False, description="What is moved to tune a pipe."
    )
    build: Build = Field(
        default=Build.PLAIN, strict=False, examples=["harmonic"], description=BUILD
    )
    name: Name | None = Field(
        default=None, examples=["stopped wood"], description="What the builder calls it."
    )


class CelesteTable(Table):
    """How a celeste differs from its partner: in cents, or in beats."""

    model_config = ConfigDict(
        json_schema_extra={"oneOf": [{"required": ["cents"]}, {"required": ["beats"]}]}
    )

    cents: float | None = Field(
        default=None,
        ge=-100.0,
        le=100.0,
        examples=[12.0],
        description="The same interval at every key [cents]; positive: sharp.",
    )
    beats: dict[KeyName, Annotated[float, Field(ge=-15.0, le=15.0)]] | None = Field(
        default=None,
        min_length=1,
        examples=[{"C3": 1.5, "C6": 4.0}],
        description="Beats a second by key, if they change up the compass.",
    )
    partner: RankId | None = Field(
        default=None, description="The rank it beats with, if it is tuned against that rank."
    )


class FrontTable(Table):
    """Which pipes of a rank are in the case front."""

    from_key: KeyName = Field(alias="from", description="The lowest key with a pipe in the front.")
    to_key: KeyName = Field(alias="to", description="The highest key with a pipe in the front.")


class ChangeTable(Table):
    """What was done to a rank, and in which year."""

    year: int = Field(ge=1300, le=2999, examples=[1998], description="The year.")
    what: ChangeKind = Field(
        strict=False, examples=["revoiced"], description="replaced, moved or revoiced."
    )
    was: RankId | None = Field(default=None, description="If moved: the rank's previous id.")
    was_first: int = Field(
        default=1,
        ge=-96,
        le=109,
        description="If moved: the previous number of today's first pipe.",
    )


class RankTable(Table):
    """A rank: one row of pipes, one per key."""

    model_config = ConfigDict(
        json_schema_extra={"oneOf": [{"required": ["feet"]}, {"required": ["breaks"]}]}
    )

    id: Id
    division: DivisionId = Field(description="The id of the division whose chest and air it has.")
    name: Name
    family: Family = Field(examples=["open"], strict=False, description="How its pipes sound.")
    feet: Feet | None = Field(
        default=None,
        description="Pitch at its lowest pipe, as for a stop on the lowest key. Or give breaks.",
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
        description="Time to tune one pipe [min], if not the usual for its kind.",
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
    missing: list[KeyName] = Field(
        default_factory=list,
        examples=[["C#2"]],
        description="Keys of its division for which it has no pipe.",
    )
    build: Build = Field(
        default=Build.PLAIN, strict=False, examples=["harmonic"], description=BUILD
    )
    parts: list[PartTable] = Field(
        default_factory=list,
        description="If its pipes are not all built alike: from a key upward, how they are.",
    )
    celeste: CelesteTable | None = Field(
        default=None, description="For a celeste in cents, or in beats that change."
    )
    a4_hz: float | None = Field(
        default=None,
        ge=300.0,
        le=600.0,
        examples=[415.0],
        description="Its own pitch [Hz], if not the organ's.",
    )
    enclosed: bool | None = Field(
        default=None, description="Whether it is in a swell box, if different from its division."
    )
    order: PipeOrder | None = Field(
        default=None,
        strict=False,
        examples=["sides"],
        description="The order of its pipes along the chest, from left to right.",
    )
    toe_board: int | None = Field(
        default=None,
        ge=1,
        le=99,
        examples=[1],
        description="Its place on the chest, counted from the walkboard.",
    )
    front: FrontTable | None = Field(
        default=None, description="Which of its pipes are in the case front."
    )
    dumb: int = Field(
        default=0, ge=0, le=200, description="Dummy pipes beside it in the front; not counted."
    )
    changes: list[ChangeTable] = Field(
        default_factory=list, description="What was done to it, earliest first."
    )
    diameter_mm: dict[PipeNumber, Annotated[float, Field(gt=1.0, le=900.0)]] = Field(
        default_factory=dict, description="Inside diameters [mm] by number of the pipe."
    )
    tongue_mm: dict[PipeNumber, Annotated[float, Field(gt=1.0, le=600.0)]] = Field(
        default_factory=dict,
        description="Lengths of the speaking part of the tongue [mm] by number of the pipe.",
    )
