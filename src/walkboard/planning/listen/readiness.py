"""Whether an organ will be ready for an event: how badly it will sound, and which stops hold.

A stop is ready if at most one in twenty of its pipes is further than the tolerance from the flues
of its division. The chance follows from each pipe's forecast: a rank's common part moves its pipes
together, so the number of pipes outside is calculated for each place the rank may have moved to
(exactly, one pipe after the other: the Poisson-binomial), and averaged. A shift of the whole
division moves its flues too, so it does not count for them but does for the reeds. Finally, the
chance is calibrated to how often such chances came true in simulated years (`python -m bench
readiness`).

*Visited* means tuned on the visit's day by a plan based on the forecast alone. A tuner who listens
first does better, so it is a lower bound of what a visit gains.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from scipy.special import expit, logit, ndtr

from walkboard.condition.drift.filter import OrganDrift
from walkboard.condition.drift.fit import Learned
from walkboard.condition.drift.forecast import Forecast, forecast
from walkboard.condition.drift.history import PastVisit, figures
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.planning.arrays import FloatArray, IntArray
from walkboard.planning.listen.foreseen import condition_of, foreseen
from walkboard.planning.request import PlanRequest
from walkboard.planning.value.pipe_offsets import least_badness
from walkboard.planning.value.use import EventUse, RegistrationUse
from walkboard.planning.value.weight import WeightChange
from walkboard.planning.what_if import Prepared, prepare
from walkboard.quantities import cents_of_ratio

TOLERANCE_CENTS = 5.0  # chosen: about half of completely out of tune in the middle of the keyboard
SHARE_OUTSIDE = 0.05
READY_CHANCE = 0.8
_STEP_DAYS = 7
# Nodes and shares of a mean over a standard normal: Gauss and Hermite's rule (numpy).
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(11)
_MOVES: FloatArray = _NODES
_SHARES: FloatArray = _WEIGHTS / _WEIGHTS.sum()


@dataclass(frozen=True, slots=True)
class Limits:
    """Constants of readiness.

    Attributes
    ----------
    least_own_cents : float
        Least spread of a single pipe [cents].
    slope, offset : float
        Correction of the log odds, fitted to how often forecasts came true.
    blind : float
        Share of forecasts that know nothing: what no history shows, such as a rank that slips.
    """

    least_own_cents: float = 0.2  # chosen
    slope: float = 0.60  # fitted by bench readiness
    offset: float = 0.46  # fitted by bench readiness
    blind: float = 0.007  # fitted by bench readiness


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Occasion:
    """An event the organ must be ready for.

    Attributes
    ----------
    at : date
    title : str
    stops : tuple of str
        The stops it names; if empty, the whole organ.
    air_celsius : mapping of division id to float
        Expected [°C].
    use : EventUse
        The registrations and keys that it exposes; empty if unknown.
    """

    at: date
    title: str
    stops: tuple[str, ...]
    air_celsius: Mapping[str, float]
    use: EventUse


@dataclass(frozen=True, slots=True)
class StopReadiness:
    """The forecast state of one stop.

    Attributes
    ----------
    stop : str
    within : float
        Expected share of its pipes within the tolerance.
    chance : float
        Chance that at most one pipe in twenty is outside.
    """

    stop: str
    within: float
    chance: float


@dataclass(frozen=True, slots=True)
class Outcome:
    """The organ's forecast state at an event: expected badness, and each named stop."""

    badness: float
    stops: tuple[StopReadiness, ...]

    @property
    def is_ready(self) -> bool:
        """Whether every stop is ready with a chance of at least `READY_CHANCE`."""
        return all(stop.chance >= READY_CHANCE for stop in self.stops)


@dataclass(frozen=True, slots=True)
class Readiness:
    """One event: without and with a visit before it.

    Attributes
    ----------
    occasion : Occasion
    as_it_is : Outcome
        If nobody comes before it.
    visited : Outcome
        If tuned the day before, on the forecast alone.
    ready_until : date or None
        Last day the stops are ready if nobody comes; None if they are not ready today.
    visit_from : date or None
        Earliest day of a visit that lasts until the event; None if no visit of these minutes does.
    visit_by : date
        The last day for a visit before it.
    """

    occasion: Occasion
    as_it_is: Outcome
    visited: Outcome
    ready_until: date | None
    visit_from: date | None
    visit_by: date


def readiness_of(
    drift: OrganDrift,
    learned: Learned,
    occasion: Occasion,
    today: date,
    minutes: float,
    *,
    tolerance_cents: float = TOLERANCE_CENTS,
    changes: Sequence[WeightChange] = (),
) -> Readiness:
    """Readiness for one event.

    Parameters
    ----------
    drift : OrganDrift
        After the last visit; not changed.
    learned : Learned
    occasion : Occasion
        Must not be in the past.
    today : date
    minutes : float
        Minutes of a visit before the event.
    tolerance_cents : float
    changes : sequence of WeightChange
        What the tuner changed of the weights.
    """
    ask = Asking(
        drift, learned, occasion, minutes, tolerance_cents=tolerance_cents, changes=changes
    )
    by = max(today, occasion.at - timedelta(days=1))
    return Readiness(
        occasion,
        ask.outcome(drift, occasion.at),
        ask.outcome(ask.visited(by), occasion.at),
        ask.ready_until(today),
        ask.visit_from(today, by),
        by,
    )


def stop_readiness(
    organ: Organ, foreseen_at: Forecast, stops: Sequence[str], tolerance_cents: float
) -> tuple[StopReadiness, ...]:
    """The forecast state of stops."""
    shifts = {
        d.division: d.shift_cents or 0.0
        for d in condition_of(organ, foreseen_at).divisions.values()
    }
    index = foreseen_at.index
    found = []
    for id_ in stops:
        stop = organ.stop(id_)
        pipes = dict.fromkeys(p for key in organ.keys_of([id_]) for p in stop.pipes_at(key))
        counts, inside = np.ones(1), 0.0
        for rank_id in dict.fromkeys(pipe.rank for pipe in pipes):
            places = np.array([index[pipe] for pipe in pipes if pipe.rank == rank_id])
            rank = organ.rank(rank_id)
            outside = _outside(
                foreseen_at,
                places,
                shifts[rank.division],
                tolerance_cents,
                is_flue=rank.family.is_flue,
            )
            inside += float(_SHARES @ (1.0 - outside).sum(axis=1))
            counts = np.convolve(counts, _SHARES @ _count(outside))
        most = int(SHARE_OUTSIDE * len(pipes))
        chance = calibrated(min(1.0, float(counts[: most + 1].sum())))
        found.append(StopReadiness(id_, inside / len(pipes), chance))
    return tuple(found)


def calibrated(chance: float) -> float:
    """A chance calibrated by simulated years: log odds times a slope, and a share left open."""
    odds = logit(min(max(chance, 1e-6), 1.0 - 1e-6))
    known = float(expit(LIMITS.slope * odds + LIMITS.offset))
    return 0.5 * LIMITS.blind + (1.0 - LIMITS.blind) * known


def _outside(
    at: Forecast, places: IntArray, shift_cents: float, tolerance_cents: float, *, is_flue: bool
) -> FloatArray:
    """Chance of each pipe of a rank being outside, for each place the rank may have moved to.

    A shift of the whole division moves its flues along and leaves the reeds.

    Returns
    -------
    (moves, pipes) array
    """
    parts = at.parts.chosen(places)
    shared, division = at.shared_cents[places], at.division_cents[places]
    together = shared**2 + (0.0 if is_flue else 1.0) * division**2
    own2 = parts.sigmas**2 - shared[:, None] ** 2
    if is_flue:
        own2 = own2 - division[:, None] ** 2
    own = np.sqrt(np.maximum(own2, LIMITS.least_own_cents**2))
    moved = _MOVES[:, None] * np.sqrt(together)
    middle = parts.means[None] - shift_cents + moved[:, :, None]
    inside = ndtr((tolerance_cents - middle) / own) - ndtr((-tolerance_cents - middle) / own)
    outside: FloatArray = 1.0 - (parts.weights * inside).sum(axis=2)
    return np.clip(outside, 0.0, 1.0)


def _count(chances: FloatArray) -> FloatArray:
    """Distribution of the number of events with separate chances: the Poisson-binomial.

    Parameters
    ----------
    chances : (moves, pipes) array

    Returns
    -------
    (moves, pipes + 1) array
    """
    counts = np.zeros((len(chances), chances.shape[1] + 1))
    counts[:, 0] = 1.0
    for chance in chances.T:
        miss = 1.0 - chance
        counts[:, 1:] = counts[:, 1:] * miss[:, None] + counts[:, :-1] * chance[:, None]
        counts[:, 0] *= miss
    return counts


class Asking:
    """One event, asked about several states of the organ.

    Parameters
    ----------
    drift : OrganDrift
        After the last visit; not changed.
    learned : Learned
    occasion : Occasion
    minutes : float
        Of a visit before the event.
    tolerance_cents : float
    changes : sequence of WeightChange
        What the tuner changed of the weights.
    """

    def __init__(
        self,
        drift: OrganDrift,
        learned: Learned,
        occasion: Occasion,
        minutes: float,
        *,
        tolerance_cents: float,
        changes: Sequence[WeightChange],
    ) -> None:
        self._changes = changes
        self._drift, self._learned, self._occasion = drift, learned, occasion
        self._minutes, self._tolerance = minutes, tolerance_cents
        self._organ = drift.organ
        self._stops = occasion.stops or tuple(stop.id for stop in self._organ.stops)
        use = occasion.use
        if not use.registrations and occasion.stops:
            use = EventUse((RegistrationUse(occasion.stops),))
        self._use = use
        self._after: dict[date, OrganDrift] = {}

    def outcome(self, drift: OrganDrift, at: date) -> Outcome:
        """The state of the organ on a day."""
        there = self._forecast(drift, at)
        found = self._prepared(there).situation(PlanRequest(minutes=0.0, use=self._use))
        stops = stop_readiness(self._organ, there, self._stops, self._tolerance)
        return Outcome(least_badness(found), stops)

    def mean_chance(self, drift: OrganDrift, at: date) -> float:
        """Chance of a stop to be ready, on average over the event's stops."""
        there = self._forecast(drift, at)
        stops = stop_readiness(self._organ, there, self._stops, self._tolerance)
        return float(np.mean([stop.chance for stop in stops])) if stops else 1.0

    def visited(self, on: date) -> OrganDrift:
        """The organ after a visit on a day, tuned on the forecast alone."""
        if on not in self._after:
            self._after[on] = self._visited(on)
        return self._after[on]

    def _visited(self, on: date) -> OrganDrift:
        there = self._forecast(self._drift, on)
        plan = self._prepared(there).plan(
            PlanRequest(
                minutes=self._minutes,
                event_air_celsius=dict(self._occasion.air_celsius),
                use=self._use,
            )
        )
        air = self._occasion.air_celsius
        left = {item.pipe: self._cents(item.pipe, item.target_hz) for item in plan.items}
        after = self._drift.copy()
        (seen,) = figures(self._organ, [PastVisit(on, air, (), left)])
        after.take_in(seen)
        return after

    def ready_until(self, today: date) -> date | None:
        """The last day, to a week, on which the stops are ready if nobody comes."""
        low, high = 0, max(0, (self._occasion.at - today).days)
        if not self._holds(self._drift, today):
            return None
        if self._holds(self._drift, self._occasion.at):
            return self._occasion.at
        while high - low > _STEP_DAYS:  # pipes only become less certain
            middle = (low + high) // 2
            if self._holds(self._drift, today + timedelta(days=middle)):
                low = middle
            else:
                high = middle
        return today + timedelta(days=low)

    def visit_from(self, today: date, by: date) -> date | None:
        """The earliest day of a visit that lasts until the event, to a week."""
        low, high = 0, (by - today).days
        if not self._holds(self.visited(by), self._occasion.at):
            return None
        if self._holds(self.visited(today), self._occasion.at):
            return today
        while high - low > _STEP_DAYS:
            middle = (low + high) // 2
            if self._holds(self.visited(today + timedelta(days=middle)), self._occasion.at):
                high = middle
            else:
                low = middle
        return today + timedelta(days=high)

    def _holds(self, drift: OrganDrift, at: date) -> bool:
        there = self._forecast(drift, at)
        stops = stop_readiness(self._organ, there, self._stops, self._tolerance)
        return all(stop.chance >= READY_CHANCE for stop in stops)

    def _prepared(self, there: Forecast) -> Prepared:
        known = foreseen(self._organ, there)
        return prepare(
            self._organ, known.condition, (), forecasts=known.forecasts, changes=self._changes
        )

    def _forecast(self, drift: OrganDrift, at: date) -> Forecast:
        return forecast(drift, at, self._occasion.air_celsius, self._learned)

    def _cents(self, pipe: PipeRef, hz: float) -> float:
        air = self._occasion.air_celsius.get(self._organ.rank(pipe.rank).division)
        return cents_of_ratio(hz / target_hz(self._organ, pipe, air))
