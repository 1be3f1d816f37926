"""What the caller knows: the visit, its plan, ticks and faults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from types import MappingProxyType

from walkboard.organ.model import PipeRef
from walkboard.planning.plan import Plan


class TickState(StrEnum):
    """The outcome of a pipe on the worklist."""

    OPEN = "open"
    DONE = "done"
    SKIPPED = "skipped"


@dataclass(frozen=True, slots=True)
class Ticked:
    """One pipe of the worklist as it was ticked last; `note` may be empty."""

    pipe: PipeRef
    state: TickState
    note: str = ""


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault as reported.

    Attributes
    ----------
    kind : str
        As the trade says it: cipher, dead note, off speech …
    place : str
        Stop and key in words; may be empty.
    words : str
        As it was reported; `walkboard.languages.translation.Own` where somebody typed it.
    reported : date
    fixed_on : date or None
        When it was fixed; None while it is open.
    fix_note : str
    repair : str
        Who fixes it and with what; may be empty.
    """

    kind: str
    place: str
    words: str
    reported: date
    fixed_on: date | None = None
    fix_note: str = ""
    repair: str = ""


@dataclass(frozen=True, slots=True)
class VisitFacts:
    """A visit, as far as a sheet needs it.

    Attributes
    ----------
    day : date
        Day of the visit; it is also the date of the document.
    purpose : str
    air_celsius : mapping of division id to °C
        Thermometers.
    humidity : float or None
        Relative, 0 to 1.
    wind_mm : mapping of division id to mm of water
    event_air_celsius : float or None
        Air at the service or recital that the visit tunes for [°C].
    minutes : float or None
        Minutes available [min].
    closing_note : str
        The tuner's own words.
    """

    day: date
    purpose: str = ""
    air_celsius: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    humidity: float | None = None
    wind_mm: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    event_air_celsius: float | None = None
    minutes: float | None = None
    closing_note: str = ""


@dataclass(frozen=True, slots=True)
class Work:
    """The plan of the visit and what was ticked of it."""

    plan: Plan
    ticks: tuple[Ticked, ...] = ()
