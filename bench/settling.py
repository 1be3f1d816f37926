"""Where a handled pipe settles: how soon it is known, and whether what is claimed is true.

Offsets to 30 cents, time constants of 20 to 120 s, two readings a second of σ .03 cent, the pipe
wandering by .1 cent. Asked: within half a cent for 95 % by 1.6 time constants; claims
right in 95 %.
Run: python -m bench settling
"""

from __future__ import annotations

import time

import numpy as np
from tests.signals import slow_noise

from walkboard.condition.settling.forecast import forecast


def main() -> None:
    rng = np.random.default_rng(71)
    print("  τ heard   median     95 %   within .5   in 2σ   claims (σ < .25)   right     ms")
    for taus in (0.3, 0.6, 1.0, 1.25, 1.6, 2.0, 3.0):
        errors, inside, right = [], [], []
        begun = time.process_time()
        for _ in range(300):
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
        spent = 1e3 * (time.process_time() - begun) / 300
        true = f"{np.mean(right):8.1%}" if right else "       –"
        print(
            f"{taus:9.2f}{np.median(errors):9.3f}{np.quantile(errors, 0.95):9.3f}"
            f"{np.mean(np.array(errors) < 0.5):12.1%}{np.mean(inside):8.1%}"
            f"{len(right) / 300:19.0%}{true}{spent:7.1f}"
        )


if __name__ == "__main__":
    main()
