"""The prior of each kind of pipe: how it wanders, moves with its rank, slips.

Pipes are grouped by their tuning device, because that is what slips: slides and the like, cones,
stoppers and caps, and the reeds' springs. Every size here is common practice, no source;
`walkboard.condition.drift.fit` learns them from a book that has some years.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from enum import StrEnum
from types import MappingProxyType
from typing import TypeVar

import numpy as np

from walkboard.condition.mixtures import FloatArray
from walkboard.organ.model import Rank, TunedBy

_Sizes = TypeVar("_Sizes", "Habits", "CommonHabits")


class DriftKind(StrEnum):
    """Pipes that drift alike."""

    SLIDE = "slide"  # slides, rolls, shades
    CONE = "cone"
    STOPPED = "stopped"  # stoppers, caps, ears
    REED = "reed"


_OF = MappingProxyType(
    {
        TunedBy.SLIDE: DriftKind.SLIDE,
        TunedBy.ROLL: DriftKind.SLIDE,
        TunedBy.SHADE: DriftKind.SLIDE,
        TunedBy.CONE: DriftKind.CONE,
        TunedBy.STOPPER: DriftKind.STOPPED,
        TunedBy.CAP: DriftKind.STOPPED,
        TunedBy.EARS: DriftKind.STOPPED,
        TunedBy.SPRING: DriftKind.REED,
    }
)


def drift_kind(rank: Rank) -> DriftKind:
    """Kind of most of a rank's pipes; a reed is a reed by whatever it is tuned."""
    return _OF[rank.tuned_by] if rank.family.is_flue else DriftKind.REED


def drift_kinds(rank: Rank) -> tuple[DriftKind, ...]:
    """Kind of each pipe of a rank, upward."""
    return tuple(
        _OF[rank.tuned_by_of(number)] if rank.family.is_flue else DriftKind.REED
        for number in range(1, rank.pipes + 1)
    )


@dataclass(frozen=True, slots=True)
class Habits:
    """How one kind drifts. Wander grows with the square root of time.

    Attributes
    ----------
    wander_cents : float
        Wander of a single pipe in a year, one standard deviation [cents].
    rank_cents : float
        Wander of a whole rank in a year [cents].
    slips_a_year : float
        Chance of a slip, for a pipe not prone to it.
    slip_cents : float
        Size of a slip, root mean square [cents].
    own_cents, common_cents : float
        Prior spread of a pipe about its rank, and of a rank about its division [cents].
    left_cents : float
        How far off a tuned pipe is left [cents].
    """

    wander_cents: float
    rank_cents: float
    slips_a_year: float
    slip_cents: float
    own_cents: float
    common_cents: float
    left_cents: float

    def __post_init__(self) -> None:
        if not all(0.0 < getattr(self, field.name) < 1e3 for field in fields(self)):
            raise ValueError("every size of a kind's drift is above zero")


USUAL_HABITS: Mapping[DriftKind, Habits] = MappingProxyType(
    {
        DriftKind.SLIDE: Habits(1.0, 0.8, 0.04, 11.0, 1.5, 1.0, 0.5),
        DriftKind.CONE: Habits(0.7, 0.8, 0.008, 10.0, 1.2, 1.0, 0.5),
        DriftKind.STOPPED: Habits(1.0, 0.8, 0.03, 11.0, 1.5, 1.0, 0.5),
        DriftKind.REED: Habits(2.0, 1.5, 0.10, 11.0, 2.5, 4.0, 1.0),
    }
)


@dataclass(frozen=True, slots=True)
class Recalibration:
    """How the forecast's spread is corrected by the outcome of earlier forecasts.

    The core of a forecast of standard deviation s becomes two normals, of s × `near` with weight
    1 − `far_share` and of s × `near` × `far`; the chance of a slip is multiplied by `slips`.
    """

    near: float = 0.92
    far: float = 2.0
    far_share: float = 0.12
    slips: float = 1.0


@dataclass(frozen=True, slots=True)
class CommonHabits:
    """What the flues of the organ, and of a division, have in common [cents].

    Attributes
    ----------
    visit_cents, place_cents : float
        At one visit only, for the whole organ and for one division: thermometer error (0.17 °C at 3
        cents per °C), and unmeasured humidity.
    organ_cents, division_cents : float
        Lasting movement in a year: dust, a thermometer that ages, a wet year.
    """

    visit_cents: float = 0.5
    place_cents: float = 0.5
    organ_cents: float = 0.8
    division_cents: float = 0.5

    def __post_init__(self) -> None:
        if not all(0.0 < getattr(self, field.name) < 1e3 for field in fields(self)):
            raise ValueError("every size of common movement is above zero")


USUAL_COMMON = CommonHabits()
UNKNOWN_AIR_CENTS = 15.0  # if the air was not noted: 5 °C either way

# Share of the flues' movement with the air that a rank follows beyond its physics.
FLUE_FOLLOWS, FLUE_FOLLOWS_SIGMA = 0.0, 0.04
REED_FOLLOWS, REED_FOLLOWS_SIGMA = -0.97, 0.08  # −1 is a reed that stays where it is
SEASON_CENTS = 0.5  # yearly swing of a rank beside what its air explains, by each of sine, cosine

# Pipes differ: how many visits' evidence it takes to believe a pipe's own wander, and how many
# slips its own proneness.
ALIKE_VISITS, ALIKE_SLIPS = 4.0, 0.8
# Slips to expect in a pipe never heard: as if it had been left alone for so many years.
UNHEARD_YEARS = 2.0


def as_vector(habits: Habits | CommonHabits) -> FloatArray:
    """Logarithms of the sizes, in the order of the fields."""
    return np.log([getattr(habits, field.name) for field in fields(habits)])


def of_vector(kind: type[_Sizes], vector: FloatArray) -> _Sizes:
    """The sizes again."""
    return kind(*(float(value) for value in np.exp(vector)))
