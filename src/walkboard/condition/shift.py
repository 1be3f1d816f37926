"""The common shift of each division: its flues, the air they imply, and its reeds separately.

Flues move with their air, all by the same cents, so the common shift of a division's flues shows
how warm it is; reeds stay where they were. By ear alone, a common shift could also be dust or
another tuner's pitch. A thermometer separates them, so both are given, and if they disagree neither
is adjusted to the other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from walkboard.condition.gather import stated_celsius
from walkboard.condition.kinds import Role
from walkboard.condition.location import Location, Spread, locate
from walkboard.condition.state import DivisionState, PipeCents
from walkboard.organ.model import Organ
from walkboard.physics.air import Air, celsius_for_pitch_ratio, cents_per_celsius, pitch_ratio
from walkboard.quantities import cents_of_ratio, ratio_of_cents

# Spreads when nothing is wrong: common practice, no source; a season's wander of a flue, and the
# common movement of a rank that was measured as the floor of a shift's uncertainty.
FLUES = Spread(core_cents=1.5, rank_cents=0.6)
REEDS = Spread(core_cents=2.5, rank_cents=1.5)
FEWEST_PIPES = 3  # with fewer, no shift is given

THERMOMETER_CELSIUS = (
    0.3  # one standard deviation of a carefully read room thermometer; from memory
)
# Unmeasured humidity: 12 % of relative humidity either way is 0.8 cent at 20 °C (Cramer 1993; 1.26
# cents from 40 to 60 %).
HUMIDITY_CENTS = 0.8
AGREEING_SIGMAS = 2.0


@dataclass(frozen=True, slots=True)
class _Group:
    cents: list[float]
    sigma: list[float]
    rank: list[int]
    clock: list[float]


def division_state(
    organ: Organ,
    role: Mapping[str, Role],
    division: str,
    pipes: Sequence[PipeCents],
    thermometer_celsius: float | None,
) -> DivisionState:
    """State of one division from its own pipes.

    Parameters
    ----------
    organ : Organ
    role : mapping of rank id to Role
    division : str
    pipes : sequence of PipeCents
        All of that division, each pipe once, at least one.
    thermometer_celsius : float or None
        Measured air of the division [°C].

    Notes
    -----
    Celestes say nothing about the air: they are off by as much as their tuner liked. Mutations and
    rows of mixtures do count, because their cents are against pure targets. Readings taken against
    targets at different air are converted to the commonest of them first. The uncertainties of the
    shifts, and of the air they imply, contain the recorder's clock.
    """
    stated = stated_celsius(organ, pipes)
    flues, reeds = _Group([], [], [], []), _Group([], [], [], [])
    number = {rank.id: index for index, rank in enumerate(organ.ranks)}
    for pipe in pipes:
        part = role[pipe.pipe.rank]
        if part is Role.CELESTE:
            continue
        group = reeds if part is Role.REED else flues
        group.cents.append(pipe.cents + air_cents(stated, pipe.air_celsius))
        group.sigma.append(pipe.sigma_cents)
        group.rank.append(number[pipe.pipe.rank])
        group.clock.append(pipe.clock_sigma_cents)
    shift, reed_shift = _locate(flues, FLUES), _locate(reeds, REEDS)
    implied, implied_sigma = (None, None) if shift is None else _implied(stated, shift)
    agrees = None
    if implied is not None and implied_sigma is not None and thermometer_celsius is not None:
        apart = abs(implied - thermometer_celsius)
        agrees = bool(apart <= AGREEING_SIGMAS * np.hypot(implied_sigma, THERMOMETER_CELSIUS))
    return DivisionState(
        division=division,
        shift_cents=None if shift is None else shift.cents,
        shift_sigma_cents=None if shift is None else shift.sigma_cents,
        stated_celsius=stated,
        implied_celsius=implied,
        implied_sigma_celsius=implied_sigma,
        thermometer_celsius=thermometer_celsius,
        agrees=agrees,
        reed_shift_cents=None if reed_shift is None else reed_shift.cents,
        reed_shift_sigma_cents=None if reed_shift is None else reed_shift.sigma_cents,
        flues=len(flues.cents),
        reeds=len(reeds.cents),
    )


def air_cents(from_celsius: float, to_celsius: float) -> float:
    """How much sharper flues get when their air goes from one temperature to the other [cents]."""
    if from_celsius == to_celsius:
        return 0.0
    return cents_of_ratio(pitch_ratio(from_celsius, to_celsius))


def _locate(group: _Group, spread: Spread) -> Location | None:
    if len(group.cents) < FEWEST_PIPES:
        return None
    found = locate(
        np.array(group.cents), np.array(group.sigma), np.array(group.rank, dtype=np.int64), spread
    )
    # One recorder, one clock: its error is in every pipe, and more pipes do not make it less.
    clock_cents = float(np.sqrt(np.mean(np.square(group.clock))))
    return replace(found, sigma_cents=float(np.hypot(found.sigma_cents, clock_cents)))


def _implied(stated: float, shift: Location) -> tuple[float | None, float | None]:
    """Air at which the flues' shift would be zero, with its uncertainty."""
    try:
        celsius = celsius_for_pitch_ratio(stated, ratio_of_cents(shift.cents))
    except ValueError:  # no air makes such a shift: the organ is at another pitch than stated
        return None, None
    slope = cents_per_celsius(Air(celsius))
    return celsius, float(np.hypot(shift.sigma_cents, HUMIDITY_CENTS)) / slope
