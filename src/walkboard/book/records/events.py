"""Events that the organ must be ready for, and weights that the tuner changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType

from walkboard.planning.value.use import EventUse


@dataclass(frozen=True, slots=True)
class KeptEvent:
    """A service, recital or rehearsal that the organ must be ready for.

    Attributes
    ----------
    uid : str
        The calendar's id for it (RFC 5545, UID), or one given by hand; a changed event keeps its
        uid and becomes a new record that replaces the old.
    starts_at : datetime
    title : str
    stops : tuple of str
        Stops it is known to use; empty if unknown.
    air_celsius : float or None
        Air temperature expected at the organ [°C].
    kept_at : datetime
    cancelled : bool
    superseded_by : int or None
    use : EventUse
        Registrations and keys that its music exposes; empty if unknown.
    air_by_division : mapping of division id to °C
        If the air expected differs from `air_celsius`.
    """

    id: int
    organ_id: int
    uid: str
    starts_at: datetime
    title: str
    stops: tuple[str, ...]
    air_celsius: float | None
    kept_at: datetime
    cancelled: bool = False
    superseded_by: int | None = None
    use: EventUse = field(default_factory=EventUse)
    air_by_division: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class KeptWeight:
    """A weight that the tuner changed.

    Attributes
    ----------
    subject : str
        A stop's or rank's id, or a pipe as ``rank:number``.
    factor : float
        1 undoes the change.
    words : str
        Why.
    """

    id: int
    organ_id: int
    subject: str
    factor: float
    words: str
    kept_at: datetime
    superseded_by: int | None = None
