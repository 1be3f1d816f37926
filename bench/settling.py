"""Where a handled pipe settles: how soon it is known, and whether what is claimed is true.

First table, the law itself: offsets to 30 cents, time constants of 20 to 120 s, two readings a
second of σ .03 cent, the pipe wandering by .1 cent. Asked: within half a cent for 95 % by 1.6 time
constants; claims right in 95 %.
Second table, pipes that cool in three ways (`bench._cooling.LAWS`), the hand leaving what hands do
of that kind (half of them much more or less), or never touched. Asked: 2σ hold 92 to 98 % from .1
time constants on.
Third table, the closed loop on readings (`bench._cooling_loop`): called done, falsely, and when.
Run: python -m bench settling, or python -m bench.settling [RUNS] [SEED]
"""

from __future__ import annotations

import sys
import time

import numpy as np
from tests.signals import slow_noise

from bench._cooling import LAWS
from bench._cooling_loop import table
from walkboard.condition.settling.forecast import Warmth, forecast


def law(runs: int) -> None:
    rng = np.random.default_rng(71)
    print("  τ heard   median     95 %   within .5   in 2σ   claims (σ < .25)   right     ms")
    for taus in (0.3, 0.6, 1.0, 1.25, 1.6, 2.0, 3.0):
        errors, inside, right = [], [], []
        begun = time.process_time()
        for _ in range(runs):
            tau_s, offset = rng.uniform(20.0, 120.0), rng.uniform(-30.0, 30.0)
            count = int(taus * tau_s / 0.5)
            times = np.linspace(0.5, 0.5 * count, count)
            cents = offset * np.exp(-times / tau_s) + rng.normal(0.0, 0.03, count)
            cents += 0.1 * slow_noise(count, 2.0, 0.5, rng)
            seen = forecast(times, cents, np.full(count, 0.03))
            errors.append(abs(seen.settled_cents))
            inside.append(errors[-1] < 2.0 * seen.sigma_cents)
            if seen.sigma_cents < 0.25:
                right.append(errors[-1] < 0.5)
        spent = 1e3 * (time.process_time() - begun) / runs
        true = f"{np.mean(right):8.1%}" if right else "       –"
        print(
            f"{taus:9.2f}{np.median(errors):9.3f}{np.quantile(errors, 0.95):9.3f}"
            f"{np.mean(np.array(errors) < 0.5):12.1%}{np.mean(inside):8.1%}"
            f"{len(right) / runs:19.0%}{true}{spent:7.1f}"
        )


def hands(runs: int, seed: int) -> None:
    print(
        "\n  a hand's offset as stated (rms), by the way it cools: in 2σ, median σ, 95 % of errors"
    )
    for usual_cents in (0.2, 3.0, 8.0):
        for law in LAWS:
            line = f"  {usual_cents:4.1f} {law:8s}"
            for taus in (0.1, 0.2, 0.4, 0.8, 1.5, 2.0):
                found = [_one(law, taus, usual_cents, [seed, n], 0.0) for n in range(runs)]
                line += _cell(found)
            print(line, flush=True)
    print("  untouched, believed to be so to 0.7")
    for usual_cents in (0.2, 3.0, 8.0):
        line = f"  {usual_cents:4.1f}         "
        for taus in (0.1, 0.2, 0.4, 0.8, 1.5, 2.0):
            line += _cell([_one("", taus, usual_cents, [seed, n], 0.7) for n in range(runs)])
        print(line, flush=True)


def _one(
    law: str, taus: float, usual_cents: float, seed: list[int], untouched: float
) -> tuple[float, float]:
    """Error and σ of one pipe's forecast; `law` empty for one that nobody has warmed."""
    rng = np.random.default_rng(seed)
    tau_s = float(50.0 * np.exp(0.5 * rng.standard_normal()))
    # The root mean square is the usual offset: of a lognormal that is e^(s²) over its median.
    offset = usual_cents * float(np.exp(0.7 * rng.standard_normal() - 0.49))
    times = np.arange(0.4, max(2.0, taus * tau_s), 0.25)
    cents = 0.03 * rng.standard_normal(len(times))
    for share, pace in LAWS.get(law, ()):
        cents += offset * share * np.exp(-times / (tau_s * pace))
    for hz, size in zip(rng.uniform(0.1, 0.9, 3), rng.uniform(0.02, 0.08, 3), strict=True):
        cents += size * np.sin(2.0 * np.pi * (hz * times + rng.random()))
    warmth = Warmth(50.0, 0.6, usual_cents)
    seen = forecast(times, cents, np.full(len(times), 0.04), warmth, untouched)
    return abs(seen.settled_cents), seen.sigma_cents


def _cell(found: list[tuple[float, float]]) -> str:
    error, sigma = np.array(found).T
    held = np.mean(error < 2.0 * sigma)
    return f" |{held:5.0%}{np.median(sigma):6.2f}{np.quantile(error, 0.95):6.2f}"


def main() -> None:
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    runs, seed = (*numbers, 10, 72)[:2] if len(numbers) != 1 else (numbers[0], 72)
    law(3 * runs)
    hands(6 * runs, seed)
    table(runs, seed)


if __name__ == "__main__":
    main()
