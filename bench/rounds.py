"""A firm's round: three hundred organs, 26 weeks, four tuners, beside nearest-due scheduling.

Invented firms. *Nearest due* is what a card index does: each week the organs whose visit is longest
overdue (a year after the last one), nearest town first, until the week is full; it looks at no
event. All are counted by the same readiness and the same price of driving; the bound is the linear
relaxation. ``python -m bench rounds [SECONDS]`` gives CP-SAT so long for each (0: without it).
"""

from __future__ import annotations

import sys
import time

import numpy as np
from tests.planning.rounds.firms import invented_firm

from walkboard.planning.rounds.bound import bound_of
from walkboard.planning.rounds.greedy import fill
from walkboard.planning.rounds.improve import improve
from walkboard.planning.rounds.kinds import Firm, Prices, Stop
from walkboard.planning.rounds.polish import polish
from walkboard.planning.rounds.state import BeingBuilt

SEEDS = (101, 102, 103)
SIZES = ((300, 40.0), (300, 18.0), (600, 40.0))


def nearest_due(firm: Firm, seed: int) -> BeingBuilt:
    """Longest overdue first, week by week; within a week nearest town first."""
    rng = np.random.default_rng([seed, 7])
    overdue = rng.permutation(firm.shape[0])  # when each was last visited; who knows its drift?
    built = BeingBuilt(firm, Prices())
    waiting = list(overdue)
    for week in range(firm.shape[1]):
        for tuner in range(firm.shape[2]):
            due = waiting[: 3 * firm.shape[2]]
            for organ in sorted(due, key=lambda o: firm.driving_hours[tuner, firm.town[o]]):
                stop = Stop(int(organ), week, tuner)
                if built.fits(stop):
                    built.add(stop)
                    waiting.remove(organ)
    return built


def main() -> None:
    polish_s = float(sys.argv[2]) if len(sys.argv) > 2 else 0.0
    print("organs  hours  seed  nearest due  greedy  exchanges  CP-SAT   bound  gap %      s")
    for organs, hours in SIZES:
        for seed in SEEDS:
            firm = invented_firm(seed, organs=organs, hours_a_week=hours)
            due = nearest_due(firm, seed).total()
            begun_s = time.perf_counter()
            built = BeingBuilt(firm, Prices())
            fill(built)
            greedy = built.total()
            improve(built)
            bound = bound_of(firm, Prices())
            took_s = time.perf_counter() - begun_s
            found = built.total()
            exact = float("nan")
            if polish_s > 0.0:
                stops = polish(firm, Prices(), tuple(sorted(built.stops)), (), limit_s=polish_s)
                exact = BeingBuilt(firm, Prices(), (), stops).total()
            gap = 100.0 * (1.0 - found / bound)
            print(
                f"{organs:6d}  {hours:5.0f}  {seed:4d}  {due:11.1f}  {greedy:6.1f}  {found:9.1f}  "
                f"{exact:6.1f}  {bound:6.1f}  {gap:5.2f}  {took_s:5.1f}",
                flush=True,
            )
