"""Two unisons in one hold: how near they may be, and whether the names are right.

Scenes as in `bench.registrations`, 4 s, wander to .1 cent, the second pipe so many cents from the
first: a reed with a flue (names by the kind of spectrum); a stopped flute 10 dB under a reed, that
can hardly be told apart and must be flagged rather than wrong; two flues, whose names cannot be
known. Asked of rich ones .5 cent apart: 95 % within .05 cent, names right in 98 %.
Run: python -m bench unisons
"""

from __future__ import annotations

import numpy as np
from tests.registrations import RATE, mean_hz, scene

from walkboard.listening.heard import Comb, Spectrum
from walkboard.listening.measuring import measure_hold

APART_CENTS = (0.1, 0.2, 0.5, 2.0, 8.0)
BASES_HZ = (98.0, 196.0, 392.0)
SEED = 27_182


def study(title: str, kinds: tuple[str, str], levels_db: tuple[float, float], holds: int) -> None:
    hint = {"flue": Spectrum.FULL, "reed": Spectrum.BRIGHT, "stopped": Spectrum.ODD}
    print(f"\n{title}")
    head = f"{'apart':>8s}{'given %':>9s}{'95 %':>9s}"
    print(f"{head}{'wrong name %':>14s}{'bound holds %':>15s}")
    for apart in APART_CENTS:
        errors, crossed, held = [], [], []
        for turn in range(holds):
            rng = np.random.default_rng([SEED, turn, round(10 * apart)])
            hz = BASES_HZ[turn % len(BASES_HZ)]
            samples, courses = scene(
                (hz, hz),
                kinds,
                rng,
                seconds=4.0,
                faintest_db=0.0,
                wander_cents=0.1,
                cents=(0.0, apart * (-1.0) ** turn),
                levels_db=levels_db,
            )
            readings = measure_hold(samples, RATE, [Comb(k, hz, hint[k]) for k in kinds])
            truths = [
                mean_hz(c, r.start_s, r.end_s) for c, r in zip(courses, readings, strict=True)
            ]
            for n, reading in enumerate(readings):
                if reading.hz is not None:
                    own = abs(1200.0 * np.log2(reading.hz / truths[n]))
                    other = abs(1200.0 * np.log2(reading.hz / truths[1 - n]))
                    errors.append(own)
                    crossed.append(other < own)
                elif reading.near_hz is not None and reading.bound_cents is not None:
                    away = abs(1200.0 * np.log2(truths[n] / reading.near_hz))
                    held.append(away <= reading.bound_cents)
        given = 100.0 * len(errors) / (2 * holds)
        row = f"{apart:8.1f}{given:9.0f}"
        row += (
            f"{np.quantile(errors, 0.95):9.4f}{100 * np.mean(crossed):14.1f}"
            if errors
            else " " * 23
        )
        print(row + (f"{100 * np.mean(held):15.0f}" if held else ""), flush=True)


def main(holds: int = 12) -> None:
    study("reed 8 + flue 8, both rich", ("reed", "flue"), (0.0, -3.0), holds)
    study("reed 8 + stopped 8 at -10 dB", ("reed", "stopped"), (0.0, -10.0), holds)
    study("flue 8 + flue 8: names unknown", ("flue", "flue"), (0.0, -3.0), holds)


if __name__ == "__main__":
    main()
