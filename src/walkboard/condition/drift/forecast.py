"""Where each pipe will be on a date in a given air: the forecast, with its spread.

`follow` reads a history, `forecast` looks ahead, `learn` (`walkboard.condition.drift.fit`) learns
how this organ's kinds of pipes drift. Without history the forecast is the prior of the kind of
pipe. The model is in `walkboard.condition.drift.rank` and `drift.common`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from walkboard.condition.drift.filter import OrganDrift
from walkboard.condition.drift.fit import AS_USUAL, Learned, spread_of
from walkboard.condition.drift.history import PastVisit, VisitFigures, air_of, figures, year_of
from walkboard.condition.drift.kinds import UNKNOWN_AIR_CENTS
from walkboard.condition.drift.rank import Foreseen
from walkboard.condition.mixtures import FloatArray, NormalParts
from walkboard.organ.model import Organ, PipeRef


@dataclass(frozen=True, eq=False)
class Forecast:
    """Where every pipe of an organ is expected to be.

    Attributes
    ----------
    at : date
    air_celsius : mapping of division id to float
        Air of the forecast; a division without one is at the organ's pitch temperature [°C].
    pipes : tuple of PipeRef
        Rank by rank, in the organ's order.
    parts : NormalParts
        Against each pipe's target in that air [cents].
    reading_cents : (n,) array
        What a reading also shares with the readings of its division: a wrong thermometer, humidity;
        one standard deviation [cents].
    shared_cents, division_cents : (n,) arrays
        Parts of each pipe's spread: shared by its rank, and shared by the flues of its division;
        one standard deviation [cents].
    """

    at: date
    air_celsius: Mapping[str, float]
    pipes: tuple[PipeRef, ...]
    parts: NormalParts
    reading_cents: FloatArray
    shared_cents: FloatArray
    division_cents: FloatArray

    @property
    def index(self) -> dict[PipeRef, int]:
        """Place of each pipe in the arrays."""
        return {pipe: n for n, pipe in enumerate(self.pipes)}

    def of_readings(self) -> NormalParts:
        """Expected reading of each pipe against the noted air [cents]."""
        return self.parts.widened(self.reading_cents)


def follow(organ: Organ, visits: Sequence[PastVisit], learned: Learned = AS_USUAL) -> OrganDrift:
    """Read a history.

    Parameters
    ----------
    organ : Organ
    visits : sequence of PastVisit
        Oldest first; may be empty.
    learned : Learned
    """
    drift = OrganDrift(organ, learned.habits, learned.common)
    for visit in figures(organ, visits):
        drift.take_in(visit)
    return drift


def forecast(
    drift: OrganDrift,
    at: date,
    air_celsius: Mapping[str, float],
    learned: Learned = AS_USUAL,
) -> Forecast:
    """Forecast for a date and an air.

    Parameters
    ----------
    drift : OrganDrift
        From `follow`; it is not changed.
    at : date
        If before the last visit, the forecast is for the last visit's day.
    air_celsius : mapping of division id to float
        [°C].
    learned : Learned
        The same as `drift` was followed with.
    """
    ahead = drift.copy()
    ahead.pass_to(year_of(at))
    when = VisitFigures(year_of(at), air_of(drift.organ, air_celsius), {})
    return standing_forecast(ahead, when, at, air_celsius, learned)


def at_visit(
    drift: OrganDrift, visit: PastVisit, learned: Learned = AS_USUAL
) -> tuple[OrganDrift, Forecast]:
    """What is known during a visit at which some pipes were heard or tuned.

    Parameters
    ----------
    drift : OrganDrift
        State before the visit; not changed. All readings so far are added at once, so start from
        here again after each round of listening.
    visit : PastVisit
    learned : Learned

    Returns
    -------
    OrganDrift
        With the visit included.
    Forecast
        Of readings of this visit, at its noted air: what the visit's readings have in common is in
        it, as far as it is known.
    """
    ahead = drift.copy()
    (seen,) = figures(drift.organ, [visit])
    ahead.take_in(seen)
    return ahead, _forecast(
        ahead, seen, visit.at, visit.air_celsius, learned, foresee=ahead.read_now
    )


def standing_forecast(
    drift: OrganDrift,
    when: VisitFigures,
    at: date,
    air_celsius: Mapping[str, float],
    learned: Learned,
) -> Forecast:
    """What is known of every pipe now."""
    return _forecast(drift, when, at, air_celsius, learned, foresee=drift.foresee)


def _forecast(
    drift: OrganDrift,
    when: VisitFigures,
    at: date,
    air_celsius: Mapping[str, float],
    learned: Learned,
    *,
    foresee: Callable[[int, VisitFigures], Foreseen],
) -> Forecast:
    organ = drift.organ
    rows = []
    air_is_known = dict(
        zip((d.id for d in organ.divisions), drift.air_is_known(when.air_cents), strict=True)
    )
    shared, of_rank, of_division = [], [], []
    for number, rank in enumerate(organ.ranks):
        seen = foresee(number, when)
        kind = drift.kinds[number]
        parts = spread_of(
            seen.sigma_cents,
            seen.slipped,
            drift.ranks[number].slip_cents,
            learned.recalibration[kind],
        )
        rows.append(parts.moved(seen.cents))
        place = learned.common.place_cents if air_is_known[rank.division] else UNKNOWN_AIR_CENTS
        common = float(np.hypot(learned.common.visit_cents, place)) if rank.family.is_flue else 0.0
        shared.append(np.full(rank.pipes, common))
        near = learned.recalibration[kind].near
        of_rank.append(np.full(rank.pipes, near * seen.shared_cents))
        of_division.append(np.full(rank.pipes, drift.division_sigma_cents(number)))
    return Forecast(
        at,
        air_celsius,
        tuple(organ.pipes()),
        NormalParts(
            np.concatenate([r.weights for r in rows]),
            np.concatenate([r.means for r in rows]),
            np.concatenate([r.sigmas for r in rows]),
        ),
        np.concatenate(shared),
        np.concatenate(of_rank),
        np.concatenate(of_division),
    )
