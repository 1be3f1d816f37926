"""The organ's state as a whole, from the readings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from walkboard.organ.model import PipeRef


@dataclass(frozen=True, slots=True)
class PipeCents:
    """One pipe's deviation: its best reading of a visit.

    Attributes
    ----------
    pipe : PipeRef
    cents : float
        From the pipe's target at the air given for it [cents], + is sharp.
    sigma_cents : float
    level_db : float or None
        As heard; None if unknown.
    air_celsius : float
        The air temperature of the target [°C].
    clock_sigma_cents : float
        What the recorder's clock may add to every pipe of its recordings alike, one standard
        deviation. Differences are free of it, and `sigma_cents` does not contain it.
    """

    pipe: PipeRef
    cents: float
    sigma_cents: float
    level_db: float | None
    air_celsius: float
    clock_sigma_cents: float = 0.0


@dataclass(frozen=True, slots=True)
class DivisionState:
    """The state of one division.

    Attributes
    ----------
    division : str
    shift_cents, shift_sigma_cents : float or None
        Shift of its flues against their targets at `stated_celsius`; None without enough flues.
    stated_celsius : float
        The air temperature of the targets [°C].
    implied_celsius, implied_sigma_celsius : float or None
        The air that would make the flues' shift zero [°C].
    thermometer_celsius : float or None
        The thermometer's reading, if there was one [°C].
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
    """One temperament the organ may be tuned to.

    Attributes
    ----------
    names : tuple of str
        Its names; several if they give the same twelve pitches.
    root : int
        Semitones above C by which the table is turned (0 is as published).
    probability : float
    """

    names: tuple[str, ...]
    root: int
    probability: float


@dataclass(frozen=True, slots=True)
class TemperamentFinding:
    """The temperament found, with its probability.

    Attributes
    ----------
    candidates : tuple of TemperamentCandidate
        Most probable first.
    claimed : TemperamentCandidate or None
        Only if its probability is above 0.95; otherwise nothing is claimed.
    offsets_cents : tuple of 12 floats
        Heard offsets from equal temperament, C to B, A = 0; nan if no pipe was heard.
    """

    candidates: tuple[TemperamentCandidate, ...]
    claimed: TemperamentCandidate | None
    offsets_cents: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Condition:
    """The organ's state from the readings."""

    divisions: Mapping[str, DivisionState]
    temperament: TemperamentFinding | None
