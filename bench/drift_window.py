"""Over how many visits must the drift be followed? Forecasts from the newest visits beside all.

Forty invented years of an organ, four visits a year; the last visits are forecast from the newest
12, 24, 60 visits before them and from all, always with those that were the last to hear a rank, as
`walkboard.work.outlook` does. Run: python -m bench drift_window, or with SEEDS=2.
"""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from bench._organs import invented_organ
from bench.drift import Scored, by_the_model, history_of
from walkboard.condition.drift.filter import OrganDrift, Surprises
from walkboard.condition.drift.fit import AS_USUAL, Learned, learn
from walkboard.condition.drift.history import PastVisit, figures
from walkboard.demo.years.course import simulate_years
from walkboard.demo.years.habits import RESTLESS_RANKS, USUAL_YEARS, YearsHabits
from walkboard.demo.years.weather import quarterly
from walkboard.organ.model import Organ

PIPES, VISITS = 500, 160
FORECAST = range(145, VISITS, 5)  # visits that are forecast
WINDOWS = (12, 24, 60, VISITS)
SEEDS = range(1, 1 + int(os.environ.get("SEEDS", "3")))
SCENES = (("usual years", USUAL_YEARS), ("restless ranks", RESTLESS_RANKS))


@dataclass
class Row:
    """What came out with one window."""

    scored: Scored = field(default_factory=Scored.empty)
    errors_cents: list[np.ndarray] = field(default_factory=list)
    processor_s: list[float] = field(default_factory=list)


def newest(past: Sequence[PastVisit], most: int) -> list[PastVisit]:
    """The newest visits, and older ones that were the last to hear a rank."""
    last = {pipe.pipe.rank: place for place, visit in enumerate(past) for pipe in visit.heard}
    kept = {*range(max(0, len(past) - most), len(past)), *last.values()}
    return [past[place] for place in sorted(kept)]


def surprise(
    organ: Organ, past: Sequence[PastVisit], visit: PastVisit, learned: Learned
) -> tuple[OrganDrift, Surprises]:
    """How far a visit was from its forecast."""
    drift = OrganDrift(organ, learned.habits, learned.common)
    *before, then = figures(organ, [*past, visit])
    for seen in before:
        drift.take_in(seen)
    return drift, drift.take_in(then)


def scene(name: str, habits: YearsHabits) -> None:
    """Print the table of one kind of years."""
    rows = {(who, most): Row() for who in ("as usual", "learned") for most in WINDOWS}
    for seed in SEEDS:
        organ = invented_organ(PIPES, seed)
        rng = np.random.default_rng([seed, 29])
        weather = quarterly(organ, rng, VISITS)
        past = history_of(simulate_years(organ, rng, weather, habits=habits))
        for most in WINDOWS:
            learned = learn(organ, newest(past[: FORECAST[0]], most))
            for who, how in (("as usual", AS_USUAL), ("learned", learned)):
                row = rows[who, most]
                for number in FORECAST:
                    at_s = time.process_time()
                    drift, seen = surprise(organ, newest(past[:number], most), past[number], how)
                    row.processor_s.append(time.process_time() - at_s)
                    row.errors_cents.append(seen.cents)
                    for reeds in (False, True):
                        found = by_the_model(drift, [seen], how, reeds=reeds)
                        row.scored.log += found.log
                        row.scored.ninety += found.ninety
    print(f"\n{name}: {len(SEEDS)} organs of {PIPES} pipes, {len(FORECAST)} visits forecast each\n")
    print("| visits | habits | pipes | log density | in 90 % | median error | rms error | s |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for (who, most), row in rows.items():
        log, ninety = np.concatenate(row.scored.log), np.concatenate(row.scored.ninety)
        off = np.concatenate(row.errors_cents)
        print(
            f"| {'all' if most == VISITS else most} | {who} | {len(off)} | {log.mean():.3f} |"
            f" {ninety.mean():.3f} | {np.median(np.abs(off)):.3f} |"
            f" {np.sqrt(np.mean(off**2)):.3f} | {np.mean(row.processor_s):.2f} |",
            flush=True,
        )


def main() -> None:
    """Both kinds of years."""
    for name, habits in SCENES:
        scene(name, habits)
