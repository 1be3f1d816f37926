"""Where a handled pipe settles: how soon it is known, and whether what is claimed is true.

First table, the law itself: offsets to 30 cents, time constants of 20 to 120 s, two readings a
second of σ .03 cent, the pipe wandering by .1 cent. Asked: within half a cent for 95 % by 1.6 time
constants; claims right in 95 %.
Second table, pipes that do not keep the law: wall and air cool apart, the hand leaves what hands
leave of that kind (half of them much more or less), and a third were never touched. Asked: 2σ hold
92 to 98 % from .1 time constants on.
Run: python -m bench settling
"""

from __future__ import annotations

import time

import numpy as np
from tests.signals import slow_noise

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


def hands(runs: int) -> None:
    print(
        "\n  τ heard   kind      touched   95 %   in 2σ   median σ   |   untouched 95 %   in 2σ   σ"
    )
    for taus in (0.1, 0.2, 0.4, 0.8, 1.5):
        for usual_cents in (0.2, 3.0, 8.0):
            warmth = Warmth(50.0, 0.6, usual_cents)
            rng = np.random.default_rng([72, round(10 * usual_cents)])
            rows: dict[bool, list[tuple[float, float]]] = {True: [], False: []}
            for n in range(runs):
                touched = n % 3 > 0
                tau_s = float(50.0 * np.exp(0.5 * rng.standard_normal()))
                offset = usual_cents * float(np.exp(0.7 * rng.standard_normal()) * touched)
                times = np.arange(0.4, max(2.0, taus * tau_s), 0.25)
                wall, air = 0.82 * np.exp(-times / tau_s), 0.18 * np.exp(-5.0 * times / tau_s)
                cents = offset * (wall + air) + 0.03 * rng.standard_normal(len(times))
                for hz, size in zip(
                    rng.uniform(0.1, 0.9, 3), rng.uniform(0.02, 0.08, 3), strict=True
                ):
                    cents += size * np.sin(2.0 * np.pi * (hz * times + rng.random()))
                share = 0.0 if touched else 0.7
                seen = forecast(times, cents, np.full(len(times), 0.04), warmth, share)
                rows[touched].append((abs(seen.settled_cents), seen.sigma_cents))
            parts = []
            for touched in (True, False):
                error, sigma = np.array(rows[touched]).T
                held = np.mean(error < 2.0 * sigma)
                parts.append(f"{np.quantile(error, 0.95):9.2f}{held:8.0%}{np.median(sigma):10.2f}")
            print(f"{taus:9.1f}{usual_cents:7.1f}      {parts[0]}   |   {parts[1]}")


def main() -> None:
    law(60)
    hands(90)


if __name__ == "__main__":
    main()
