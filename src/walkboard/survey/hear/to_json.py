"""The JSON form of a heard walk: ``walkboard listen --json``, format 1.

Fields may be added, but never renamed or dropped; a reader ignores unknown ones.
"""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from walkboard.errors import InputError
from walkboard.listening.readings import Fields, fields_of, reading_from_fields
from walkboard.listening.types import HoldFlag, Partial, ReadingFlag, SoundInfo
from walkboard.organ.model import PipeRef
from walkboard.plausible import AIR_CELSIUS
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Hold, Reading
from walkboard.survey.recognise.to_json import HeardGiven, heard_from, heard_to_json

FORMAT = 1


def walk_to_json(walk: HeardWalk) -> dict[str, Any]:
    """A heard walk as plain values for JSON.

    Keeps full precision: reading back gives exactly what was written.
    """
    return {
        "format": FORMAT,
        "sound": {
            "file": walk.file,
            "seconds": walk.sound.seconds,
            "sample_rate": walk.sound.sample_rate,
            "channels": walk.sound.channels,
            "format": walk.sound.format,
        },
        "organ": walk.organ,
        "drawn": list(walk.drawn),
        "air_celsius": walk.air_celsius,
        "holds": [_hold_to_json(hold) for hold in walk.holds],
        "silent_keys": [key.name for key in walk.silent_keys],
        "not_held": [key.name for key in walk.not_held],
        "unsure_keys": [key.name for key in walk.unsure_keys],
        "heard": None if walk.heard is None else heard_to_json(walk.heard),
        "warnings": list(walk.warnings),
    }


def _hold_to_json(hold: Hold) -> dict[str, Any]:
    return {
        "n": hold.n,
        "key": None if hold.key is None else hold.key.name,
        "key_number": hold.key_number,
        "start_s": hold.start_s,
        "end_s": hold.end_s,
        "sureness": hold.sureness,
        "flags": [flag.value for flag in hold.flags],
        "readings": [_reading_to_json(reading) for reading in hold.readings],
    }


def _reading_to_json(reading: Reading) -> dict[str, Any]:
    values = fields_of(reading)
    return {
        "pipe": str(reading.pipe),
        **values,
        "flags": [flag.value for flag in values["flags"]],
        "either_hz": values["either_hz"] and list(values["either_hz"]),
        "either_sigma_cents": values["either_sigma_cents"] and list(values["either_sigma_cents"]),
        "partials": [[p.number, p.level_db] for p in values["partials"]],
    }


class _Given(BaseModel):
    model_config = ConfigDict(extra="ignore", allow_inf_nan=False, frozen=True)


class _Sound(_Given):
    file: str
    seconds: float = Field(ge=0)
    sample_rate: int = Field(gt=0)
    channels: int = Field(default=1, gt=0)
    format: str = ""


class _Reading(_Given):
    pipe: str
    hz: float | None
    sigma_cents: float | None = Field(default=None, ge=0)
    cents: float | None
    level_db: float | None = None
    start_s: float | None = None
    end_s: float | None = None
    wander_cents: float | None = None
    flags: tuple[ReadingFlag, ...] = ()
    near_hz: float | None = Field(default=None, gt=0)
    bound_cents: float | None = Field(default=None, ge=0)
    either_hz: tuple[float, float] | None = None
    either_sigma_cents: tuple[float, float] | None = None
    name_sureness: float | None = Field(default=None, ge=0, le=1)
    beat_hz: float | None = Field(default=None, ge=0)
    partials: tuple[tuple[int, float], ...] = ()


class _Hold(_Given):
    n: int
    key: str | None
    key_number: int | None = None
    start_s: float
    end_s: float
    sureness: float = 1.0
    flags: tuple[HoldFlag, ...] = ()
    readings: tuple[_Reading, ...] = ()


class _Walk(_Given):
    format: int
    sound: _Sound
    organ: str
    drawn: tuple[str, ...]
    air_celsius: float | None = None
    holds: tuple[_Hold, ...]
    silent_keys: tuple[str, ...] = ()
    not_held: tuple[str, ...] = ()
    unsure_keys: tuple[str, ...] = ()
    heard: HeardGiven | None = None
    warnings: tuple[str, ...] = ()


def walk_from_json(value: object, *, where: str = "") -> HeardWalk:
    """A heard walk from plain values.

    Parameters
    ----------
    value : object
        The parsed JSON.
    where : str
        The file's name, for errors.

    Raises
    ------
    InputError
        If it does not have this form, has a newer format, or its air is out of range.
    """
    if (
        isinstance(value, dict)
        and isinstance(value.get("format"), int)
        and value["format"] > FORMAT
    ):
        raise InputError(
            f"These readings are in format {value['format']}; this version reads {FORMAT}.",
            where=where,
            fix="Use a newer Walkboard, or listen again with this one.",
        )
    try:
        given = _Walk.model_validate(value)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise InputError(
            f"These are not readings from 'walkboard listen --json': {place}: {first['msg']}.",
            where=where,
            fix="Give the file that 'walkboard listen … --json' printed.",
        ) from None
    if given.air_celsius is not None:
        AIR_CELSIUS.check(given.air_celsius, where=where)
    return HeardWalk(
        file=given.sound.file,
        sound=SoundInfo(
            given.sound.seconds, given.sound.sample_rate, given.sound.channels, given.sound.format
        ),
        organ=given.organ,
        drawn=given.drawn,
        air_celsius=given.air_celsius,
        holds=tuple(_hold_from(hold) for hold in given.holds),
        silent_keys=tuple(Key.parse(name) for name in given.silent_keys),
        not_held=tuple(Key.parse(name) for name in given.not_held),
        unsure_keys=tuple(Key.parse(name) for name in given.unsure_keys),
        heard=None if given.heard is None else heard_from(given.heard),
        warnings=given.warnings,
    )


def _hold_from(given: _Hold) -> Hold:
    return Hold(
        n=given.n,
        key=None if given.key is None else Key.parse(given.key),
        key_number=given.key_number,
        start_s=given.start_s,
        end_s=given.end_s,
        sureness=given.sureness,
        flags=given.flags,
        readings=tuple(_reading_from(reading, given) for reading in given.readings),
    )


def _reading_from(given: _Reading, hold: _Hold) -> Reading:
    return reading_from_fields(
        PipeRef.parse(given.pipe),
        Fields(
            hz=given.hz,
            sigma_cents=given.sigma_cents,
            cents=given.cents,
            level_db=given.level_db,
            start_s=hold.start_s if given.start_s is None else given.start_s,
            end_s=hold.end_s if given.end_s is None else given.end_s,
            wander_cents=given.wander_cents,
            flags=given.flags,
            near_hz=given.near_hz,
            bound_cents=given.bound_cents,
            either_hz=given.either_hz,
            either_sigma_cents=given.either_sigma_cents,
            name_sureness=given.name_sureness,
            beat_hz=given.beat_hz,
            partials=tuple(Partial(number, level) for number, level in given.partials),
        ),
    )
