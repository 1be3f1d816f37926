"""Two unisons in one hold: how near they may be, and whether the names are right.

Scenes as in `bench.registrations`, 4 s, wander to .1 cent, the second pipe so many cents from the
first. Names by the kinds of pipe only: a reed with an open flue, both rich; a stopped flute 10 dB
under a reed, that can hardly be told apart and must be flagged rather than wrong. Names from what
is remembered: the same reed and flue, and two open flues, each heard alone before in a room drawn
anew. Two open flues without it: names unknown.

Given are places where both pipes were told apart, named or not (`hz` or `either_hz`), with the
errors there against the nearer truth in order; named is the share with a value. Asked of rich ones
.5 cent apart: 95 % within .05 cent, names right in 98 %. Run: python -m bench unisons
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from tests.registrations import RATE, mean_hz, scene
from tests.signals import partial_levels

from walkboard.listening.heard import Comb, CombReading, Spectrum
from walkboard.listening.measuring import measure_hold

APART_CENTS = (0.1, 0.2, 0.5, 2.0, 8.0)
BASES_HZ = (98.0, 196.0, 392.0)
SEED = 16_180
HINT = {"flue": Spectrum.FULL, "reed": Spectrum.BRIGHT, "stopped": Spectrum.ODD}


@dataclass(frozen=True)
class Case:
    """Two pipes: kinds, levels, and whether each was heard alone before."""

    title: str
    kinds: tuple[str, str]
    levels_db: tuple[float, float]
    remembered: bool


CASES = (
    Case("reed 8 + flue 8, both rich, by kind", ("reed", "flue"), (0.0, -3.0), False),
    Case("reed 8 + flue 8, both rich, heard alone before", ("reed", "flue"), (0.0, -3.0), True),
    Case("flue 8 + flue 8, heard alone before", ("flue", "flue"), (0.0, -3.0), True),
    Case("flue 8 + flue 8: names unknown", ("flue", "flue"), (0.0, -3.0), False),
    Case("reed 8 + stopped 8 at -10 dB", ("reed", "stopped"), (0.0, -10.0), False),
)


def remembered_db(
    hz: float, kind: str, shape: NDArray[np.float64], rng: np.random.Generator
) -> tuple[float, ...] | None:
    """Partials of a pipe heard alone, from 1 to the first that is missing."""
    sound, _ = scene(
        (hz,), (kind,), rng, seconds=4.0, faintest_db=0.0, wander_cents=0.1, shapes=[shape]
    )
    (heard,) = measure_hold(sound, RATE, [Comb("", hz)])
    levels = {partial.number: partial.level_db for partial in heard.partials}
    known: list[float] = []
    while len(known) + 1 in levels:
        known.append(levels[len(known) + 1])
    return tuple(known) if len(known) > 1 else None


def places_of(readings: tuple[CombReading, ...]) -> tuple[float, float] | None:
    one, other = readings
    if one.hz is not None and other.hz is not None:
        return one.hz, other.hz
    return one.either_hz


def study(case: Case, holds: int) -> None:
    print(f"\n{case.title}")
    head = f"{'apart':>8s}{'told apart %':>14s}{'95 %':>9s}{'named %':>9s}{'wrong name %':>14s}"
    print(f"{head}{'bound holds %':>15s}")
    for apart in APART_CENTS:
        errors, crossed, held, told = [], [], [], 0
        for turn in range(holds):
            rng = np.random.default_rng([SEED, turn, round(10 * apart)])
            hz = BASES_HZ[turn % len(BASES_HZ)]
            shapes = [partial_levels(kind, hz, rng, 10_000.0) for kind in case.kinds]
            samples, courses = scene(
                (hz, hz),
                case.kinds,
                rng,
                seconds=4.0,
                faintest_db=0.0,
                wander_cents=0.1,
                cents=(0.0, apart * (-1.0) ** turn),
                levels_db=case.levels_db,
                shapes=shapes,
            )
            combs = [
                Comb(
                    kind,
                    hz,
                    HINT[kind],
                    remembered_db(hz, kind, shape, rng) if case.remembered else None,
                )
                for kind, shape in zip(case.kinds, shapes, strict=True)
            ]
            readings = measure_hold(samples, RATE, combs)
            truths = [
                mean_hz(c, r.start_s, r.end_s) for c, r in zip(courses, readings, strict=True)
            ]
            places = places_of(readings)
            if places is not None:
                told += 1
                errors += [
                    abs(1200.0 * np.log2(place / truth))
                    for place, truth in zip(sorted(places), sorted(truths), strict=True)
                ]
            if readings[0].hz is not None:
                crossed.append((readings[0].hz < hz_of(readings[1])) != (truths[0] < truths[1]))
            for reading, truth in zip(readings, truths, strict=True):
                if reading.near_hz is not None and reading.bound_cents is not None:
                    away = abs(1200.0 * np.log2(truth / reading.near_hz))
                    held.append(away <= reading.bound_cents)
        row = f"{apart:8.1f}{100.0 * told / holds:14.0f}"
        row += f"{np.quantile(errors, 0.95):9.4f}" if errors else " " * 9
        row += f"{100.0 * len(crossed) / holds:9.0f}"
        row += f"{100.0 * np.mean(crossed):14.1f}" if crossed else " " * 14
        print(row + (f"{100.0 * np.mean(held):15.0f}" if held else ""), flush=True)


def hz_of(reading: CombReading) -> float:
    return np.nan if reading.hz is None else reading.hz


def main(holds: int = 24) -> None:
    for case in CASES:
        study(case, holds)


if __name__ == "__main__":
    main()
