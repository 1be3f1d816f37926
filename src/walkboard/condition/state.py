"""What the readings say of the organ as a whole."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from walkboard.organ.model import PipeRef


@dataclass(frozen=True, slots=True)
class PipeCents:
    """Where one pipe stands: its best reading of a visit.

    Attributes
    ----------
    pipe : PipeRef
    cents : float
        Against the pipe's target at the air that was told for it [cents], + is sharp.
    sigma_cents : float
    level_db : float or None
        As heard; None where unknown.
    air_celsius : float
        The air temperature that the target was taken at [°C].
    """

    pipe: PipeRef
    cents: float
    sigma_cents: float
    level_db: float | None
    air_celsius: float


@dataclass(frozen=True, slots=True)
class DivisionState:
    """How one division stands as a whole.

    Attributes
    ----------
    division : str
    shift_cents, shift_sigma_cents : float or None
        Shift of its flues against their targets at `stated_celsius`; None without enough flues.
    stated_celsius : float
        The temperature that the targets were taken at [°C].
    implied_celsius, implied_sigma_celsius : float or None
        The air that would make the flues' shift zero [°C].
    thermometer_celsius : float or None
        What the thermometer said, where there was one [°C].
    agrees : bool or None
        Whether flues and thermometer agree within their uncertainties; None without both.
    reed_shift_cents, reed_shift_sigma_cents : float or None
        Shift of its reeds against the same targets, kept separate.
    flues, reeds : int
        How many pipes were used.
    """

    division: str
    shift_cents: float | None
    shift_sigma_cents: float | None
    stated_celsius: float
    implied_celsius: float | None
    implied_sigma_celsius: float | None
    thermometer_celsius: float | None
    agrees: bool | None
    reed_shift_cents: float | None
    reed_shift_sigma_cents: float | None
    flues: int
    reeds: int


@dataclass(frozen=True, slots=True)
class TemperamentCandidate:
    """One temperament that the organ may stand in.

    Attributes
    ----------
    names : tuple of str
        Its names; several where they give the same twelve pitches.
    root : int
        Semitones above C by which the table is turned (0 is as published).
    probability : float
    """

    names: tuple[str, ...]
    root: int
    probability: float


@dataclass(frozen=True, slots=True)
class TemperamentFinding:
    """Which temperament the organ stands in, with how sure.

    Attributes
    ----------
    candidates : tuple of TemperamentCandidate
        Most probable first.
    claimed : TemperamentCandidate or None
        Only where its probability is above 0.95; otherwise nothing is claimed.
    offsets_cents : tuple of 12 floats
        Heard offsets from equal temperament, C to B, A = 0; nan where no pipe was heard.
    """

    candidates: tuple[TemperamentCandidate, ...]
    claimed: TemperamentCandidate | None
    offsets_cents: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Condition:
    """The organ's state as the readings tell it."""

    divisions: Mapping[str, DivisionState]
    temperament: TemperamentFinding | None
