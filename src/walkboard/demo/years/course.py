"""Invented years of an organ: what its pipes did, what visits heard, what was tuned.

Nothing here comes from the program's own drift model, and some of it deliberately breaks that
model's assumptions: pipes wander in steps with heavy tails, some ranks follow the humidity with a
lag, the thermometers err slowly over years, dust makes whole divisions flat. Sizes are invented
after common practice (no source); the effect of air on flues is physics, through the targets.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from walkboard.demo.years.habits import USUAL_YEARS, YearsHabits
from walkboard.demo.years.state import OrganState, Thermometers
from walkboard.demo.years.weather import Weather
from walkboard.organ.model import Organ, PipeRef

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_DAYS_A_YEAR = 365.25


@dataclass(frozen=True, eq=False)
class VisitedYears:
    """One visit of the invented years.

    Attributes
    ----------
    weather : Weather
        Date, true air and humidity.
    shown_celsius : dict of division id to float
        What the thermometers showed [°C].
    true_cents : (pipes,) array
        Each pipe's deviation on arrival, from its target in the true air of its division [cents].
    heard : (pipes,) array of bool
    cents, sigma_cents : (pipes,) arrays
        The readings against the targets at the shown air, and their standard deviations; nan where
        a pipe was not heard [cents].
    tuned : (pipes,) array of bool
    left_at_cents : (pipes,) array
        Where the tuner meant to leave it, against the target at the shown air; nan if not tuned.
    left_cents : (pipes,) array
        Each pipe's deviation on leaving, as `true_cents`.
    """

    weather: Weather
    shown_celsius: dict[str, float]
    true_cents: FloatArray
    heard: BoolArray
    cents: FloatArray
    sigma_cents: FloatArray
    tuned: BoolArray
    left_at_cents: FloatArray
    left_cents: FloatArray


@dataclass(frozen=True, eq=False)
class OrganYears:
    """Invented years of an organ.

    Attributes
    ----------
    organ : Organ
    pipes : tuple of PipeRef
        In the order of every array.
    visits : tuple of VisitedYears
    wander : (pipes,) array
        True scale of each pipe's own wander [cents in the first year].
    """

    organ: Organ
    pipes: tuple[PipeRef, ...]
    visits: tuple[VisitedYears, ...]
    wander: FloatArray


@dataclass(frozen=True, eq=False)
class AtHand:
    """What is known when deciding what to hear or tune.

    Attributes
    ----------
    number : int
        Number of the visit, from 0.
    weather : Weather
    shown_celsius : dict of division id to float
        What the thermometers show [°C].
    rank_of, division_of : (pipes,) arrays of int
    reed : (pipes,) array of bool
    cents, sigma_cents : (pipes,) arrays
        Readings of this visit against the targets at the shown air; nan if not heard, all nan when
        deciding what to hear.
    """

    number: int
    weather: Weather
    shown_celsius: dict[str, float]
    rank_of: NDArray[np.int64]
    division_of: NDArray[np.int64]
    reed: BoolArray
    cents: FloatArray
    sigma_cents: FloatArray


Listening = Callable[[AtHand, np.random.Generator], BoolArray]
Tuning = Callable[[AtHand, np.random.Generator], FloatArray]


def walk_some_ranks(at: AtHand, rng: np.random.Generator) -> BoolArray:
    """A third of the ranks walked whole, and one pipe in ten of the rest."""
    ranks = int(at.rank_of.max()) + 1
    walked = rng.random(ranks) < 0.35
    heard: BoolArray = walked[at.rank_of] | (rng.random(len(at.rank_of)) < 0.10)
    return heard


def tune_the_worst(at: AtHand, rng: np.random.Generator) -> FloatArray:
    """Most pipes 4 cents or more (reeds 5) off the middle of their division's flues."""
    middle = standing_of_flues(at)[at.division_of]
    off = np.nan_to_num(np.abs(at.cents - middle))
    tuned = (off > np.where(at.reed, 5.0, 4.0)) & (rng.random(len(off)) < 0.8)
    left_at: FloatArray = np.where(tuned, middle, np.nan)
    return left_at


def simulate_years(
    organ: Organ,
    rng: np.random.Generator,
    visits: Sequence[Weather],
    *,
    habits: YearsHabits = USUAL_YEARS,
    listen: Listening = walk_some_ranks,
    tune: Tuning = tune_the_worst,
) -> OrganYears:
    """What an organ did over some visits, what was heard, and what was tuned.

    Parameters
    ----------
    organ : Organ
    rng : Generator
    visits : sequence of Weather
        In the order of their dates.
    habits : YearsHabits
    listen, tune : callables
        Which pipes are heard at a visit; where tuning leaves pipes, against their targets at the
        shown air [cents], nan where they are not tuned. Historic ranks are never tuned.
    """
    years = OrganState(organ, habits, rng)
    thermometers = Thermometers(organ, habits, rng)
    made: list[VisitedYears] = []
    before: date | None = None
    for number, weather in enumerate(visits):
        if before is not None:
            elapsed = (weather.at - before).days / _DAYS_A_YEAR
            years.pass_time(elapsed, weather)
            thermometers.pass_time(elapsed)
        before = weather.at
        shown = thermometers.show(weather)
        frame = years.shown_less_true(weather, shown)
        true = years.true_cents(weather)
        nothing = np.full(len(true), np.nan)
        seen = (number, weather, shown, years.rank_of, years.division_of, years.reed)
        heard = listen(AtHand(*seen, nothing, nothing), rng)
        sigma = np.where(heard, years.reading_sigma(rng), np.nan)
        cents = true + frame + sigma * rng.standard_normal(len(true))
        left_at = tune(AtHand(*seen, cents, sigma), rng)
        left_at = np.where(years.historic, np.nan, left_at)
        tuned = ~np.isnan(left_at)
        years.tune(tuned, left_at - frame, weather)
        made.append(
            VisitedYears(
                weather=weather,
                shown_celsius=shown,
                true_cents=true,
                heard=heard,
                cents=cents,
                sigma_cents=sigma,
                tuned=tuned,
                left_at_cents=left_at,
                left_cents=years.true_cents(weather),
            )
        )
    return OrganYears(organ, years.pipes, tuple(made), years.wander)


def standing_of_flues(at: AtHand) -> FloatArray:
    """Median of the flues heard of each division, 0 of fewer than three; shape (divisions,)."""
    stands = np.zeros(int(at.division_of.max()) + 1)
    for division in range(len(stands)):
        own = at.cents[(at.division_of == division) & ~at.reed & ~np.isnan(at.cents)]
        stands[division] = float(np.median(own)) if len(own) >= 3 else 0.0
    return stands
