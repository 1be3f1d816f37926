"""Does "ready with a chance of 0.7" come true seven times in ten? A thousand simulated forecasts.

Invented organs over some years (`walkboard.demo.years`, which shares no code with the model).
After the last visit, every stop is forecast for the next one; then the truth is looked at: at most
one pipe in twenty further than the tolerance from where its division's flues really stand.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit, logit

from bench._organs import invented_organ
from bench.drift import history_of
from walkboard.condition.drift.forecast import follow, forecast
from walkboard.condition.kinds import Role, roles
from walkboard.demo.years.course import OrganYears, simulate_years
from walkboard.demo.years.habits import RESTLESS_RANKS, USUAL_YEARS, YearsHabits
from walkboard.demo.years.weather import quarterly
from walkboard.planning.listen import readiness
from walkboard.planning.listen.readiness import SHARE_OUTSIDE, TOLERANCE_CENTS, stop_readiness

PIPES, VISITS = 1200, 9
FIT_SEEDS, SEEDS = range(400, 472), range(720, 760)
TOLERANCES = (TOLERANCE_CENTS, 8.0)
EDGES = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
LEAST = 0.02  # forecasts surer than this either way say nothing of calibration


@dataclass(frozen=True)
class Judged:
    """One stop's forecast and what became of it."""

    chance: float
    came_true: bool
    share_outside: float


def forecasts(seed: int, habits: YearsHabits, tolerance_cents: float) -> list[Judged]:
    """Every stop of one organ, forecast from each of its last visits for the next."""
    organ = invented_organ(PIPES, seed)
    rng = np.random.default_rng([seed, 23])
    years = simulate_years(organ, rng, quarterly(organ, rng, VISITS), habits=habits)
    past = history_of(years)
    found: list[Judged] = []
    for number in range(VISITS - 4, VISITS):
        visit = years.visits[number]
        drift = follow(organ, past[:number])
        ahead = forecast(drift, visit.weather.at, visit.shown_celsius)
        said = stop_readiness(organ, ahead, [s.id for s in organ.stops], tolerance_cents)
        outside = _outside(years, number, tolerance_cents)
        index = {pipe: i for i, pipe in enumerate(years.pipes)}
        for one in said:
            pipes = {
                p for key in organ.keys_of([one.stop]) for p in organ.stop(one.stop).pipes_at(key)
            }
            off = outside[[index[p] for p in pipes]]
            found.append(
                Judged(
                    one.chance, int(off.sum()) <= int(SHARE_OUTSIDE * len(off)), float(off.mean())
                )
            )
    return found


def _outside(years: OrganYears, visit: int, tolerance_cents: float) -> np.ndarray:
    """Which pipes really stand outside the tolerance."""
    true = years.visits[visit].true_cents
    role = roles(years.organ)
    rank = [years.organ.rank(p.rank) for p in years.pipes]
    division = np.array([r.division for r in rank])
    flue = np.array([role[r.id] not in {Role.REED, Role.CELESTE} for r in rank])
    middle = {d: np.median(true[(division == d) & flue]) for d in np.unique(division)}
    outside: np.ndarray = np.abs(true - [middle[d] for d in division]) > tolerance_cents
    return outside


def calibration(judged: list[Judged]) -> float:
    """Print how often each chance came true; the largest distance of a bin with 30 or more."""
    chance = np.array([t.chance for t in judged])
    true = np.array([t.came_true for t in judged])
    worst = 0.0
    for low, high in pairwise(EDGES):
        own = (chance >= low) & ((chance < high) | (high == 1.0))
        if own.any():
            said, came = chance[own].mean(), true[own].mean()
            error = np.sqrt(came * (1 - came) / own.sum())
            print(f"  said {said:.2f}: came true {came:.2f} ±{error:.2f} of {own.sum()}")
            if own.sum() >= 30:
                worst = max(worst, abs(said - came))
    open_ = (chance > LEAST) & (chance < 1.0 - LEAST)
    print(
        f"  all {len(judged)}: said {chance.mean():.3f}, came true {true.mean():.3f}; "
        f"{open_.sum()} open ones: said {chance[open_].mean():.3f}, true {true[open_].mean():.3f}; "
        f"Brier {np.mean((chance - true) ** 2):.4f}"
    )
    return worst


def fit(seeds: range = FIT_SEEDS) -> readiness.Limits:
    """Constants of the calibration under which what came true is most likely."""
    as_they_are = readiness.LIMITS
    readiness.LIMITS = replace(as_they_are, slope=1.0, offset=0.0, blind=0.0)
    try:
        judged = [
            one
            for seed in seeds
            for habits in (USUAL_YEARS, RESTLESS_RANKS)
            for tolerance in TOLERANCES
            for one in forecasts(seed, habits, tolerance)
        ]
    finally:
        readiness.LIMITS = as_they_are
    odds = logit(np.clip([one.chance for one in judged], 1e-6, 1.0 - 1e-6))
    true = np.array([one.came_true for one in judged])

    def surprise(at: np.ndarray) -> float:
        blind = expit(at[2])
        said = 0.5 * blind + (1.0 - blind) * expit(at[0] * odds + at[1])
        return -float(np.mean(np.log(np.where(true, said, 1.0 - said))))

    found = minimize(surprise, [0.6, 0.6, -4.0], method="Nelder-Mead").x
    return replace(
        as_they_are, slope=float(found[0]), offset=float(found[1]), blind=float(expit(found[2]))
    )


def main(seeds: range = SEEDS) -> None:
    """Print the tables."""
    print(f"fitted on {len(FIT_SEEDS)} organs: {fit()}; as it is: {readiness.LIMITS}")
    every: list[Judged] = []
    # a year without slips of whole ranks is easy; tolerances move the chances to the middle
    for name, habits in (("usual years", USUAL_YEARS), ("restless ranks", RESTLESS_RANKS)):
        for tolerance in TOLERANCES:
            print(f"{name}, within {tolerance:g} cents")
            judged = [t for seed in seeds for t in forecasts(seed, replace(habits), tolerance)]
            print(f"  largest distance {calibration(judged):.3f}")
            every += judged
    print("all of these")
    print(f"  largest distance {calibration(every):.3f}")


if __name__ == "__main__":
    main()
