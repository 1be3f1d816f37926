"""A drift forecast as input to a plan: beliefs about pipes not heard, and the divisions' shifts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from walkboard.condition.drift.forecast import Forecast
from walkboard.condition.kinds import Role, roles
from walkboard.condition.state import Condition, DivisionState, PipeCents
from walkboard.organ.model import Organ, PipeRef
from walkboard.planning.arrays import FloatArray
from walkboard.planning.request import PlanRequest
from walkboard.planning.value.belief import Belief, PipeForecast
from walkboard.planning.value.weight import WeightChange
from walkboard.planning.what_if import prepare

_LEAST_SIGMA_CENTS = 0.5  # of a division's shift: whole ranks move


@dataclass(frozen=True, slots=True)
class ForeseenState:
    """What a plan needs besides the readings.

    Attributes
    ----------
    condition : Condition
        Each division's forecast shift, against its targets at the stated air.
    forecasts : tuple of PipeForecast
        Forecast of every pipe that was not heard.
    """

    condition: Condition
    forecasts: tuple[PipeForecast, ...]


def foreseen(organ: Organ, forecast: Forecast, heard: Iterable[PipeCents] = ()) -> ForeseenState:
    """A forecast as input to a plan.

    Parameters
    ----------
    organ : Organ
    forecast : Forecast
        From `walkboard.condition.drift.forecast`; includes what was heard.
    heard : iterable of PipeCents
        The readings used by the plan.
    """
    known = {pipe.pipe for pipe in heard}
    parts = forecast.parts
    usual = organ.pitch.at_celsius
    division = {rank.id: rank.division for rank in organ.ranks}
    forecasts = tuple(
        PipeForecast(
            pipe,
            Belief(
                tuple(parts.weights[n].tolist()),
                tuple(parts.means[n].tolist()),
                tuple(parts.sigmas[n].tolist()),
            ),
            forecast.air_celsius.get(division[pipe.rank], usual),
        )
        for n, pipe in enumerate(forecast.pipes)
        if pipe not in known
    )
    return ForeseenState(condition_of(organ, forecast), forecasts)


def weights_of(
    organ: Organ, forecast: Forecast, changes: Sequence[WeightChange] = ()
) -> dict[PipeRef, float]:
    """The weight of each pipe in a plan based on a forecast.

    Parameters
    ----------
    organ : Organ
    forecast : Forecast
    changes : sequence of WeightChange
        Weights changed by the tuner.
    """
    known = foreseen(organ, forecast)
    found = prepare(
        organ, known.condition, (), forecasts=known.forecasts, changes=changes
    ).situation(PlanRequest(minutes=0.0))
    return {k.pipe: float(w) for k, w in zip(found.known, found.weight, strict=True)}


def condition_of(organ: Organ, forecast: Forecast) -> Condition:
    """Forecast shift of each division: the middle of its flues, without celestes."""
    part = roles(organ)
    ranks = [organ.rank(pipe.rank) for pipe in forecast.pipes]
    middle = forecast.parts.quantile(0.5)
    states = {}
    for d in organ.divisions:
        own = [r.division == d.id for r in ranks]
        flue = np.array(
            [
                o and part[r.id] not in {Role.REED, Role.CELESTE}
                for o, r in zip(own, ranks, strict=True)
            ]
        )
        reed = np.array([o and part[r.id] is Role.REED for o, r in zip(own, ranks, strict=True)])
        air_celsius = forecast.air_celsius.get(d.id, organ.pitch.at_celsius)
        shift, reeds = _middle(middle[flue]), _middle(middle[reed])
        states[d.id] = DivisionState(
            division=d.id,
            shift_cents=shift,
            shift_sigma_cents=None if shift is None else _LEAST_SIGMA_CENTS,
            stated_celsius=air_celsius,
            implied_celsius=None,
            implied_sigma_celsius=None,
            thermometer_celsius=forecast.air_celsius.get(d.id),
            agrees=None,
            reed_shift_cents=reeds,
            reed_shift_sigma_cents=None if reeds is None else _LEAST_SIGMA_CENTS,
            flues=int(flue.sum()),
            reeds=int(reed.sum()),
        )
    return Condition(MappingProxyType(states), None)


def _middle(cents: FloatArray) -> float | None:
    return float(np.median(cents)) if len(cents) else None
