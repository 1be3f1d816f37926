"""The object ``heard`` of ``walkboard listen --json`` and back."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from walkboard.survey.recognise.verdict import AlsoSounding, Cipher, Clock, Heard, Tremulant


class _Given(BaseModel):
    model_config = ConfigDict(extra="ignore", allow_inf_nan=False, frozen=True)


class _Also(_Given):
    stop: str
    keys: int = 0
    of_keys: int = 0
    semitones: int = 0
    or_stops: tuple[str, ...] = ()


class _Tremulant(_Given):
    rate_hz: float = Field(gt=0)
    depth_cents: float = Field(default=0.0, ge=0)
    depth_db: float = Field(default=0.0, ge=0)


class _Cipher(_Given):
    pipe: str | None = None
    hz: float = Field(gt=0)
    start_s: float = 0.0
    end_s: float = 0.0
    or_pipes: tuple[str, ...] = ()


class _Clock(_Given):
    sigma_cents: float = Field(ge=0)
    tone_hz: float | None = Field(default=None, gt=0)
    off_cents: float | None = None


class HeardGiven(_Given):
    """The object as read."""

    sentence: str = ""
    is_walk: bool = True
    also_sounding: tuple[_Also, ...] = ()
    not_sounding: tuple[str, ...] = ()
    shift_cents: float | None = None
    tremulant: _Tremulant | None = None
    cipher: tuple[_Cipher, ...] = ()
    believed: bool = True
    question: str = ""
    undecided: tuple[str, ...] = ()
    clock: _Clock | None = None


def heard_to_json(heard: Heard) -> dict[str, Any]:
    """Plain values for JSON."""
    return asdict(heard)


def heard_from(given: HeardGiven) -> Heard:
    """The verdict from plain values."""
    tremulant = given.tremulant
    return Heard(
        sentence=given.sentence,
        is_walk=given.is_walk,
        also_sounding=tuple(AlsoSounding(**one.model_dump()) for one in given.also_sounding),
        not_sounding=given.not_sounding,
        shift_cents=given.shift_cents,
        tremulant=None if tremulant is None else Tremulant(**tremulant.model_dump()),
        cipher=tuple(Cipher(**one.model_dump()) for one in given.cipher),
        believed=given.believed,
        question=given.question,
        undecided=given.undecided,
        clock=None if given.clock is None else Clock(**given.clock.model_dump()),
    )
