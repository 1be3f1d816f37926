"""Several pipes in one hold: errors by registration, by octave and by length of the hold.

Scenes of `tests.registrations`: one phase course a pipe, each wandering by itself, all in one room
of 2.5 s of reverberation, 30 dB of signal to noise, detunings of σ 4 cents clipped at ±15. Two
kinds: levels over 18 dB and wander to .1 cent ("plain"), and to 25 dB and .3 cent ("hard"); and
plain ones in which one pipe is dead, which must be flagged. Asked of plain ones: median .01 cent,
95 % within .05, at most .5 % wrong by over a cent, .1 % of the unflagged; of hard ones at most 2 %
wrong, .3 % of the unflagged, 15 % flagged; 2σ covers 92 to 98 %. "wrong" counts what a flag
withholds too only where a value was given in spite of it, so it is the share of all pipes with a
value that is off. Every hold by itself: what the other holds of a walk tell of names is in
`bench.names`. Run: python -m bench registrations
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
from tests.registrations import RATE, mean_hz, scene

from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import Measured
from walkboard.listening.types import Comb, Spectrum

SEED = 6_174  # thresholds were fitted on 31, 2_001, 5_150 and 7_007
BASES_HZ = (65.4, 92.5, 130.8, 185.0, 261.6, 370.0, 523.3, 740.0)
HINT = {"flue": Spectrum.FULL, "reed": Spectrum.BRIGHT, "stopped": Spectrum.ODD}


@dataclass(frozen=True)
class Registration:
    """Pipes of a key: multiples of the 8′ frequency, and kinds."""

    multiples: tuple[float, ...]
    kinds: tuple[str, ...]


def rows_of_mixture(base_hz: float) -> tuple[float, ...]:
    """15-19-22-26, one step lower from middle C, another from its octave."""
    rows = (3.0, 4.0, 6.0, 8.0)
    if base_hz < 250.0:
        return (4.0, 6.0, 8.0, 12.0)
    return rows if base_hz < 500.0 else (2.0, 3.0, 4.0, 6.0)


REGISTRATIONS = {
    "8+4+2 2/3+2": Registration((1.0, 2.0, 3.0, 4.0), ("flue",) * 4),
    "15-19-22-26": Registration((), ("flue",) * 4),
    "8-4-2 2/3-2-1 3/5": Registration((1.0, 2.0, 3.0, 4.0, 5.0), ("flue",) * 5),
    "16+8+4": Registration((0.5, 1.0, 2.0), ("flue",) * 3),
    "8 reed+8+4": Registration((1.0, 1.0, 2.0), ("reed", "flue", "flue")),
    "8 stopped+8 open": Registration((1.0, 1.0), ("stopped", "flue")),
    "8 stopped+4+2": Registration((1.0, 2.0, 4.0), ("stopped", "flue", "flue")),
}


@dataclass(frozen=True)
class Outcome:
    """A pipe of a hold: error [cents], None where flagged; σ; its 8′ [Hz]; whether it sounded."""

    error: float | None
    sigma: float
    base_hz: float
    flags: tuple[str, ...]
    sounded: bool


def study(
    name: str, holds: int, *, seconds: float, hard: bool, dead: bool = False
) -> tuple[list[Outcome], float]:
    """Outcomes of so many holds, and computing time over the sound's."""
    outcomes = []
    spent = 0.0
    for turn in range(holds):
        read, took = read_hold(name, turn, seconds=seconds, hard=hard, dead=dead)
        outcomes += read
        spent += took
    return outcomes, spent / (holds * seconds)


def read_hold(
    name: str, turn: int, *, seconds: float, hard: bool, dead: bool = False
) -> tuple[list[Outcome], float]:
    """Outcomes of one hold, and computing time [s]."""
    made = REGISTRATIONS[name]
    seed = [SEED, list(REGISTRATIONS).index(name), turn, round(seconds), hard, dead]
    rng = np.random.default_rng(seed)
    base = BASES_HZ[turn % len(BASES_HZ)]
    due = tuple(m * base for m in made.multiples or rows_of_mixture(base))
    silent = int(rng.integers(len(due))) if dead else None
    samples, courses = scene(
        due,
        made.kinds,
        rng,
        seconds=seconds,
        faintest_db=-25.0 if hard else -18.0,
        wander_cents=0.3 if hard else 0.1,
        dead=silent,
    )
    combs = [
        Comb(str(n), hz, HINT[k]) for n, (hz, k) in enumerate(zip(due, made.kinds, strict=True))
    ]
    begun = time.process_time()
    readings = measure_hold(samples, RATE, combs)
    spent = time.process_time() - begun
    outcomes = []
    for pipe, reading in enumerate(readings):
        error = None
        if isinstance(reading, Measured):
            true_hz = mean_hz(courses[pipe], reading.start_s, reading.end_s)
            error = float(1200.0 * np.log2(reading.hz / true_hz))
        outcomes.append(
            Outcome(
                error,
                reading.sigma_cents_or_none or np.nan,
                base,
                tuple(reading.flags),
                pipe != silent,
            )
        )
    return outcomes, spent


def line(title: str, outcomes: list[Outcome], speed: float | None = None) -> str:
    """One row of a table."""
    sounded = [o for o in outcomes if o.sounded]
    given = [o for o in sounded if o.error is not None]
    if not given:
        return f"{title:28s}{len(sounded):6d}  none given"
    errors = np.abs([o.error or 0.0 for o in given])
    covered = float(np.mean(errors < 2.0 * np.array([o.sigma for o in given])))
    flagged = 1.0 - len(given) / len(sounded)
    row = f"{title:28s}{len(sounded):6d}{np.median(errors):9.4f}{np.quantile(errors, 0.95):9.4f}"
    row += f"{100 * np.mean(errors > 1.0):9.2f}{100 * np.mean(errors > 0.1):9.2f}"
    row += f"{100 * flagged:9.1f}{100 * covered:9.1f}"
    return row + (f"{1.0 / speed:9.1f}" if speed else "")


HEAD = (
    f"{'':28s}{'pipes':>6s}{'median':>9s}{'95 %':>9s}{'>1 c %':>9s}{'>.1 c %':>9s}"
    f"{'flagged %':>10s}{'2 sigma %':>9s}{'x real':>8s}"
)


def by_registration(holds: int) -> None:
    """Tables of holds of 4 s, plain and hard."""
    for hard in (False, True):
        print(f"\n{'hard' if hard else 'plain'}, 4 s\n{HEAD}")
        everything: list[Outcome] = []
        for name in REGISTRATIONS:
            outcomes, speed = study(name, holds, seconds=4.0, hard=hard)
            everything += outcomes
            print(line(name, outcomes, speed), flush=True)
        print(line("all", everything))
        for base_hz in BASES_HZ:
            own = [o for o in everything if o.base_hz == base_hz]
            print(line(f"  8' at {base_hz:.0f} Hz", own), flush=True)


def by_length(holds: int) -> None:
    """Plain holds of 2 and 8 s."""
    print(f"\nplain, by length of the hold\n{HEAD}")
    for seconds in (2.0, 8.0):
        everything: list[Outcome] = []
        speeds = []
        for name in REGISTRATIONS:
            outcomes, speed = study(name, holds, seconds=seconds, hard=False)
            everything += outcomes
            speeds.append(speed)
            print(line(f"{seconds:.0f} s: {name}", outcomes, speed), flush=True)
        print(line(f"{seconds:.0f} s: all", everything, float(np.mean(speeds))), flush=True)


def with_one_dead(holds: int) -> None:
    """Plain holds in which one pipe does not speak."""
    print("\none pipe dead: how often it is given a value, %, and the others' errors\n" + HEAD)
    for name in REGISTRATIONS:
        outcomes, _ = study(name, holds, seconds=4.0, hard=False, dead=True)
        wrong = [o for o in outcomes if not o.sounded and o.error is not None]
        dead = sum(not o.sounded for o in outcomes)
        print(line(name, outcomes), f"   dead given: {100 * len(wrong) / dead:.0f} %", flush=True)


def main(holds: int = 48) -> None:
    print("Errors in cents of readings with a value; flagged ones have none.")
    by_registration(holds)
    by_length(holds // 3)
    with_one_dead(holds // 3)


if __name__ == "__main__":
    main()
