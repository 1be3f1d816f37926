"""How the cost's constants were fitted: organs and hymns that judge nothing else.

Per cent of the audible excess removed in 60 and in 120 minutes under the four judges of
`python -m bench ear`, one constant changed at a time, on other organs and on the chorales that made
the table of use. Then how far a cost that adds up pipe by pipe is from the pairs that are really
heard: the plan is improved by exchanging pipes as long as the judges themselves say that it helps.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from builders.use_of_keys import Moment, read_cached

from bench.ear import Case, case_of, strays_left, tuned_by_plan
from walkboard.condition.assess import assess
from walkboard.planning.choose import problem
from walkboard.planning.request import PlanRequest
from walkboard.planning.value import cost, ordinary, weight
from walkboard.planning.what_if import prepare

ORGANS = tuple(range(12))
MINUTES = (60.0, 120.0)
EXCHANGES, TRIED = 60, 25  # accepted at most, and tried for each


def training_music() -> list[list[Moment]]:
    """The chorales that made the plan's table."""
    named = os.environ.get("WALKBOARD_CHORALES")
    path = Path(named) if named else Path(tempfile.gettempdir()) / "walkboard-chorales.json"
    return read_cached(path)[::2]


@contextmanager
def changed(of_cost: dict[str, Any], of_use: dict[str, Any]) -> Iterator[None]:
    """The cost with other constants, for a while."""
    before = cost.LIMITS, ordinary.LIMITS
    made = replace(cost.LIMITS, **of_cost), replace(ordinary.LIMITS, **of_use)

    def put(costs: cost.Limits, use: ordinary.Limits) -> None:
        cost.LIMITS, ordinary.LIMITS = costs, use
        for module in (weight, ordinary, problem):
            vars(module)["COST"] = costs

    put(*made)
    try:
        yield
    finally:
        put(*before)


def judged(cases: list[Case], minutes: float) -> np.ndarray:
    """Mean over the organs: four judges, strays left."""
    rows = []
    for case in cases:
        this = case.this
        ready = prepare(this.organ, assess(this.organ, this.heard, {}), this.heard)
        after = case.after(*tuned_by_plan(case, ready.plan(PlanRequest(minutes))))
        shift = ready.condition.divisions
        base = np.concatenate(
            [np.full(r.pipes, shift[r.division].shift_cents or 0.0) for r in this.organ.ranks]
        )
        removed = 100.0 * case.verdict.removed(after)
        rows.append(np.append(removed, strays_left(case, after, base)))
    mean: np.ndarray = np.mean(rows, axis=0)
    return mean


def exchanged(case: Case) -> tuple[np.ndarray, np.ndarray, float]:
    """What the plan removes, what exchanges make of it, and how much the mean of A and B rises.

    A pipe of the plan is given up for another of a rank that is open already, so the minutes stay;
    the judges decide.
    """
    tuned, target = tuned_by_plan(case, case.prepared.plan(PlanRequest(MINUTES[-1])))
    organ = case.this.organ
    rank = np.concatenate([np.full(r.pipes, n) for n, r in enumerate(organ.ranks)])
    shift = case.prepared.condition.divisions
    base = np.concatenate(
        [np.full(r.pipes, shift[r.division].shift_cents or 0.0) for r in organ.ranks]
    )
    rng = np.random.default_rng(1)

    def value(which: np.ndarray) -> float:
        return float(case.verdict.removed(case.after(which, base))[:2].mean())

    best, now = tuned.copy(), value(tuned)
    before = now
    for _ in range(EXCHANGES):
        better = False
        open_ranks = np.unique(rank[best])
        others = np.flatnonzero(~best & np.isin(rank, open_ranks))
        for _ in range(TRIED):
            out = rng.choice(np.flatnonzero(best))
            come = rng.choice(others)
            trial = best.copy()
            trial[out], trial[come] = False, True
            found = value(trial)
            if found > now:
                best, now, better = trial, found, True
                break
        if not better:
            break
    return (
        100.0 * case.verdict.removed(case.after(tuned, target)),
        100.0 * case.verdict.removed(case.after(best, base)),
        100.0 * (now - before),
    )


def main() -> None:
    """Print the tables."""
    music = training_music()
    cases = [case_of(seed, music) for seed in ORGANS]
    print(f"{len(cases)} organs; strays left in C3 to C6")
    heads = " ".join(f"{j:>9s}" for j in ("fluct.", "rough.", "beating", "sourest", "strays"))
    print(f"{'':22s} " + " | ".join(f"{heads} in {m:.0f} min" for m in MINUTES))
    scans: list[tuple[str, dict[str, float], dict[str, float]]] = [("as it is", {}, {})]
    for name, values in (
        ("half_beats_hz", (0.5, 1.0, 1.4, 2.0)),
        ("half_cents", (4.0, 16.0)),
        ("neighbours_cents", (0.0, 0.5, 1.5)),
        ("stray_badness", (0.0, 0.15, 0.7, 1.4)),
        ("treble_hz", (2500.0, 10_000.0, 1e9)),
    ):
        scans += [(f"{name} {v:g}", {name: v}, {}) for v in values]
    for name, values in (
        ("least_use", (0.0, 0.15)),
        ("key_power", (0.5, 1.0)),
        ("drawn_power", (0.0, 1.0)),
    ):
        scans += [(f"{name} {v:g}", {}, {name: v}) for v in values]
    for name, of_cost, of_use in scans:
        with changed(of_cost, of_use):
            rows = [judged(cases, minutes) for minutes in MINUTES]
        cells = " | ".join(" ".join(f"{v:9.1f}" for v in row) + " " * 10 for row in rows)
        print(f"{name:22s} {cells.rstrip()}", flush=True)
    print("\nExchanges from the plan, by the judges A and B themselves (4 organs):")
    for case in cases[:4]:
        plan, better, gain = exchanged(case)
        cells = " ".join(f"{a:5.1f}>{b:5.1f}" for a, b in zip(plan, better, strict=True))
        print(f"  {cells}  A and B +{gain:.1f}", flush=True)


if __name__ == "__main__":
    main()
