"""Where every pipe that was heard stands against where it should be left, and what that costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.condition.kinds import Role, roles
from walkboard.condition.shift import air_cents
from walkboard.condition.state import PipeCents
from walkboard.organ.model import Organ, PipeRef, Rank
from walkboard.organ.targets import target_hz
from walkboard.planning.arrays import FloatArray
from walkboard.planning.cost import expected_badness, left_by_tuning_cents
from walkboard.planning.minutes import pipe_minutes
from walkboard.planning.pitch import DivisionPitch
from walkboard.planning.weighing import Weight, average_level_db, weigh, weigh_unheard
from walkboard.quantities import cents_of_ratio, ratio_of_cents

# How far an unheard flue may stand from its division, one standard deviation [cents]: a season's
# wander of the pipe and of its rank (common practice, no source).
UNHEARD_CENTS = 2.0

# The reference is searched within this of where the organ stands, in these steps [cents].
REACH_CENTS, REFERENCE_STEP_CENTS = 8.0, 0.1
_MOST_STEPS = round(REACH_CENTS / REFERENCE_STEP_CENTS)
REFERENCES_CENTS: FloatArray = np.round(
    np.arange(-_MOST_STEPS, _MOST_STEPS + 1) * REFERENCE_STEP_CENTS, 6
)


@dataclass(frozen=True, slots=True)
class Standing:
    """One pipe that was heard.

    Attributes
    ----------
    pipe : PipeRef
    rank : Rank
    role : Role
    target_hz : float
        Where to leave it today, if the organ is tuned where it stands.
    cents, sigma_cents : float
        Where it stands against that [cents], with one standard deviation.
    cents_from_flues : float
        Where it stands against its division's flues today; differs from `cents` for reeds when
        the event's air is not today's.
    weight : Weight
    left_cents : float
        How far off it may be after tuning, one standard deviation.
    minutes : float
    tunable : bool
        False for historic ranks.
    """

    pipe: PipeRef
    rank: Rank
    role: Role
    target_hz: float
    cents: float
    sigma_cents: float
    cents_from_flues: float
    weight: Weight
    left_cents: float
    minutes: float
    tunable: bool

    def badness_at(self, reference_cents: float) -> float:
        """Weighted mean badness if it is left as it is and the organ tuned to a reference."""
        mean = expected_badness(self.cents - reference_cents, self.sigma_cents, self.target_hz)
        return self.weight.whole * float(mean)

    @property
    def badness_left(self) -> float:
        """Weighted mean badness after tuning."""
        return self.weight.whole * float(expected_badness(0.0, self.left_cents, self.target_hz))


def standings(
    organ: Organ, pitches: Mapping[str, DivisionPitch], pipes: Sequence[PipeCents]
) -> tuple[Standing, ...]:
    """Standing of each pipe that was heard.

    Parameters
    ----------
    organ : Organ
    pitches : mapping of division id to DivisionPitch
        From `walkboard.planning.pitch.division_pitches`.
    pipes : sequence of PipeCents
        Each pipe once.
    """
    part = roles(organ)
    average = average_level_db(organ, pipes)
    ratios = _Ratios(organ)
    found = []
    for heard in pipes:
        rank = organ.rank(heard.pipe.rank)
        role = part[rank.id]
        pitch = pitches[rank.division]
        nominal = target_hz(organ, heard.pipe, None)
        speaks = nominal * ratios.at(heard.air_celsius) * ratio_of_cents(heard.cents)
        above = ratio_of_cents(pitch.above_cents)
        flues = nominal * ratios.at(pitch.air_celsius) * above
        is_reed = role is Role.REED
        leave = nominal * ratios.at(pitch.event_celsius) * above if is_reed else flues
        weight = weigh(organ, role, heard, average)
        found.append(
            Standing(
                pipe=heard.pipe,
                rank=rank,
                role=role,
                target_hz=leave,
                cents=cents_of_ratio(speaks / leave),
                sigma_cents=heard.sigma_cents,
                cents_from_flues=cents_of_ratio(speaks / flues),
                weight=weight,
                left_cents=left_by_tuning_cents(leave, reed=is_reed),
                minutes=pipe_minutes(rank, role, leave),
                tunable=not rank.historic,
            )
        )
    return tuple(found)


def untouched_badness(
    standing: Sequence[Standing], references_cents: FloatArray = REFERENCES_CENTS
) -> FloatArray:
    """Weighted mean badness of each pipe at each reference, nothing tuned.

    Returns
    -------
    (references, pipes) array
    """
    cents = np.array([s.cents for s in standing])
    sigma = np.array([s.sigma_cents for s in standing])
    hz = np.array([s.target_hz for s in standing])
    weight = np.array([s.weight.whole for s in standing])
    worth: FloatArray = weight * expected_badness(cents - references_cents[:, None], sigma, hz)
    return worth


def left_badness(standing: Sequence[Standing]) -> FloatArray:
    """Weighted mean badness of each pipe after tuning, at whatever reference."""
    left = np.array([s.left_cents for s in standing])
    hz = np.array([s.target_hz for s in standing])
    worth: FloatArray = np.array([s.weight.whole for s in standing])
    return worth * expected_badness(0.0, left, hz)


def unheard_pull(
    organ: Organ,
    pitches: Mapping[str, DivisionPitch],
    pipes: Sequence[PipeCents],
    references_cents: FloatArray = REFERENCES_CENTS,
) -> FloatArray:
    """What leaving the present pitch costs by the flues that were not heard.

    They are taken to stand with their division. The sum is counted from the present pitch
    (reference 0), so that it adds nothing unless the reference moves: without it a plan that heard
    one rank would carry the organ's pitch to wherever that rank has gone.

    Returns
    -------
    (references,) array
    """
    part = roles(organ)
    heard = {p.pipe for p in pipes}
    hz: list[float] = []
    weight: list[float] = []
    sigma: list[float] = []
    ratios = _Ratios(organ)
    for pipe in organ.pipes():
        rank = organ.rank(pipe.rank)
        if pipe in heard or not rank.family.is_flue:
            continue
        pitch = pitches[rank.division]
        hz.append(target_hz(organ, pipe, None) * ratios.at(pitch.air_celsius))
        register, kind = weigh_unheard(organ, part[rank.id], pipe)
        weight.append(register * kind)
        sigma.append(float(np.hypot(UNHEARD_CENTS, pitch.sigma_cents)))
    if not hz:
        return np.zeros(len(references_cents))
    at = np.append(references_cents, 0.0)
    worth = np.array(weight) * expected_badness(at[:, None], np.array(sigma), np.array(hz))
    total = worth.sum(axis=1)
    pull: FloatArray = total[:-1] - total[-1]
    return pull


class _Ratios:
    """What air does to a flue's pitch, worked out once for each temperature."""

    def __init__(self, organ: Organ) -> None:
        self._from = organ.pitch.at_celsius
        self._known: dict[float, float] = {}

    def at(self, celsius: float) -> float:
        if celsius not in self._known:
            self._known[celsius] = ratio_of_cents(air_cents(self._from, celsius))
        return self._known[celsius]
