"""Three invented years of the invented hall: ten visits, and the pipes' state after them.

The organ's movement is `walkboard.demo.years`; at each visit the program's own plan is carried out.
The last step leads to the visit that the demo records, so the history and the recordings are of one
organ.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import numpy as np

from walkboard.condition.assess import division_states
from walkboard.condition.state import Condition, PipeCents
from walkboard.demo.hall import HallState
from walkboard.demo.years.course import AtHand, OrganYears, simulate_years
from walkboard.demo.years.state import BoolArray, FloatArray
from walkboard.demo.years.weather import Weather, weather_on
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.planning.plan import Plan
from walkboard.planning.request import PlanRequest
from walkboard.planning.what_if import prepare
from walkboard.quantities import cents_of_ratio, ratio_of_cents

MOST_DRAWN = 3  # flue stops walked together


@dataclass(frozen=True, slots=True)
class PlannedVisit:
    """One visit of the history.

    Attributes
    ----------
    months_ago : int
        Before the March that the hall is recorded in.
    purpose : str
    minutes : float
    stops : tuple of str
        Walked; empty for all.
    event_celsius : float
    note : str
        On closing.
    """

    months_ago: int
    purpose: str
    minutes: float
    stops: tuple[str, ...]
    event_celsius: float
    note: str


@dataclass(frozen=True, eq=False)
class HallYears:
    """The hall over its years.

    Attributes
    ----------
    years : OrganYears
        The last visit is the present one: nothing has been heard or tuned yet.
    plans : tuple of Plan
        Plans of every visit but the last.
    skipped : tuple of set of PipeRef
        Pipes on each plan that the tuner skipped.
    """

    years: OrganYears
    plans: tuple[Plan, ...]
    skipped: tuple[set[PipeRef], ...]

    @cached_property
    def index(self) -> dict[PipeRef, int]:
        """Place of each pipe in the arrays."""
        return {pipe: n for n, pipe in enumerate(self.years.pipes)}


def march_before(today: date) -> date:
    """The last 20th of March that is not after a day."""
    this = today.replace(month=3, day=20)
    return this if this <= today else this.replace(year=today.year - 1)


def months_before(at: date, months: int) -> date:
    """The same day so many months earlier, the 28th at the latest."""
    count = at.year * 12 + at.month - 1 - months
    return date(count // 12, count % 12 + 1, min(at.day, 28))


def stops_walked(organ: Organ, visit: PlannedVisit) -> tuple[str, ...]:
    """Stops walked at a visit; if all, those with pipes not sounded by the stops before."""
    if visit.stops:
        return visit.stops
    seen: set[PipeRef] = set()
    walked = []
    for stop in organ.stops:
        pipes = {p for key in organ.keys_of([stop.id]) for p in stop.pipes_at(key)}
        if pipes - seen:
            walked.append(stop.id)
        seen |= pipes
    return tuple(walked)


def registrations(organ: Organ, visit: PlannedVisit) -> tuple[tuple[str, ...], ...]:
    """The same stops as drawn: reeds alone, others up to three of one keyboard."""
    groups: list[list[str]] = []
    for stop in stops_walked(organ, visit):
        alone = _has_reed(organ, [stop])
        last = groups[-1] if groups else []
        same = last and organ.stop(last[0]).division == organ.stop(stop).division
        if same and not alone and len(last) < MOST_DRAWN and not _has_reed(organ, last):
            last.append(stop)
        else:
            groups.append([stop])
    return tuple(tuple(group) for group in groups)


def _has_reed(organ: Organ, stops: Sequence[str]) -> bool:
    plays = [p for stop in stops for p in organ.stop(stop).plays]
    return any(not organ.rank(p.rank).family.is_flue for p in plays)


def hall_years(
    organ: Organ, seed: int, state: HallState, visits: Sequence[PlannedVisit], present: date
) -> HallYears:
    """The hall over some visits, up to the present one.

    Parameters
    ----------
    organ : Organ
    seed : int
    state : HallState
        Gives the air of the present visit, and every pipe's level.
    visits : sequence of PlannedVisit
        Oldest first.
    present : date
        The March of the present visit.
    """
    # Only leap days depend on the year: the same seed gives the same years on any day.
    nominal = present.replace(year=2031)
    rng = np.random.default_rng([seed, 3])
    weather = [weather_on(organ, months_before(nominal, visit.months_ago), rng) for visit in visits]
    weather.append(Weather(nominal, state.air_celsius, 0.52))
    tuner = _Tuner(organ, state, visits)
    years = simulate_years(organ, rng, weather, listen=tuner.listen, tune=tuner.tune)
    dated = tuple(
        replace(v, weather=replace(v.weather, at=at))
        for v, at in zip(
            years.visits,
            [*(months_before(present, v.months_ago) for v in visits), present],
            strict=True,
        )
    )
    return HallYears(replace(years, visits=dated), tuple(tuner.plans), tuple(tuner.skipped))


def hall_after(state: HallState, years: OrganYears) -> HallState:
    """The hall after these years: the same voices at other pitches."""
    last = years.visits[-1]
    pipes = {}
    for pipe, cents in zip(years.pipes, last.true_cents, strict=True):
        was = state.pipes[pipe]
        hz = was.target_hz * ratio_of_cents(float(cents))
        pipes[pipe] = replace(was, voice=replace(was.voice, hz=hz))
    return replace(state, thermometer_celsius=last.shown_celsius, pipes=pipes)


class _Tuner:
    """Walks the stops of the history, tunes by the plan, and skips a pipe now and then."""

    def __init__(self, organ: Organ, state: HallState, visits: Sequence[PlannedVisit]) -> None:
        self._organ, self._state, self._visits = organ, state, visits
        self._pipes = tuple(organ.pipes())
        self._index = {pipe: n for n, pipe in enumerate(self._pipes)}
        self.plans: list[Plan] = []
        self.skipped: list[set[PipeRef]] = []

    def listen(self, at: AtHand, rng: np.random.Generator) -> BoolArray:
        heard = np.zeros(len(self._pipes), dtype=np.bool_)
        if at.number < len(self._visits):
            for stop in stops_walked(self._organ, self._visits[at.number]):
                for key in self._organ.keys_of([stop]):
                    for pipe in self._organ.sounding([stop], key):
                        # about one reading in sixty cannot be trusted and has no value
                        heard[self._index[pipe]] |= rng.random() > 0.016
        return heard

    def tune(self, at: AtHand, rng: np.random.Generator) -> FloatArray:
        left = np.full(len(self._pipes), np.nan)
        if at.number >= len(self._visits):
            return left
        visit = self._visits[at.number]
        heard = [self._reading(at, int(n)) for n in np.flatnonzero(~np.isnan(at.cents))]
        condition = Condition(division_states(self._organ, heard, at.shown_celsius), None)
        plan = prepare(self._organ, condition, heard).plan(
            PlanRequest(visit.minutes, visit.event_celsius, prove_order=True)
        )
        skipped = {item.pipe for item in plan.items if rng.random() < 0.04}
        for item in plan.items:
            if item.pipe not in skipped:
                air_celsius = at.shown_celsius[self._organ.rank(item.pipe.rank).division]
                target = target_hz(self._organ, item.pipe, air_celsius)
                left[self._index[item.pipe]] = cents_of_ratio(item.target_hz / target)
        self.plans.append(plan)
        self.skipped.append(skipped)
        return left

    def _reading(self, at: AtHand, n: int) -> PipeCents:
        pipe = self._pipes[n]
        return PipeCents(
            pipe,
            float(at.cents[n]),
            float(at.sigma_cents[n]),
            self._state.voice(pipe).level_db,
            at.shown_celsius[self._organ.rank(pipe.rank).division],
        )
