"""Two unisons in one hold: how near they may be, and whether the names are right.

Scenes as in `bench.registrations`, 4 s, wander to .1 cent, the second pipe so many cents from the
first. Names by the kinds of pipe only: a reed with an open flue, both rich; a stopped flute 10 dB
under a reed, that can hardly be separated and must be flagged rather than wrong. Names from what is
remembered: the same reed and flue, and two open flues, each heard alone before in a room drawn
again. Two open flues without it: names unknown.

Given are places where both pipes were separated, named or not (`hz` or `either_hz`), with the
errors there against the nearer truth in order; named is the share with a value. Asked of rich ones
.5 cent apart: 95 % within .05 cent, names right in 98 %. Run: python -m bench unisons
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from tests.registrations import RATE, mean_hz, scene
from tests.signals import partial_levels

from bench.names import INFO, at_level, organ_of
from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import Bounded, Measured, named
from walkboard.listening.types import Comb
from walkboard.organ.model import PipeRef
from walkboard.organ.targets import target_hz
from walkboard.survey.hear.heard_walk import HeardWalk, Hold, Reading
from walkboard.survey.hear.identity import name_pipes
from walkboard.survey.hear.memory import Memory
from walkboard.survey.hear.unison_pairs import either_of
from walkboard.survey.kinds import spectrum_of

APART_CENTS = (0.1, 0.2, 0.5, 2.0, 8.0)
KEYS = (8, 20, 32)  # 98, 196 and 392 Hz
SEED = 16_180


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


def heard_alone(  # noqa: PLR0917
    pipe: PipeRef,
    due_hz: float,
    kind: str,
    cents: float,
    shape: NDArray[np.float64],
    level_db: float,
    rng: np.random.Generator,
) -> Hold:
    """The pipe alone, in a new random room, up to .2 cent (σ) from where it is beside the other."""
    sound, _ = scene(
        (due_hz,),
        (kind,),
        rng,
        seconds=4.0,
        faintest_db=0.0,
        wander_cents=0.1,
        cents=(cents + rng.normal(0.0, 0.2),),
        shapes=[shape],
    )
    (heard,) = measure_hold(sound, RATE, [Comb(str(pipe), due_hz)])
    reading = at_level(named(heard, pipe, due_hz), level_db)
    return Hold(1, None, pipe.number, 0.0, 4.0, (reading,))


def read_pair(case: Case, turn: int, apart_cents: float) -> tuple[tuple[Reading, ...], list[float]]:
    """Readings of both and true frequencies."""
    rng = np.random.default_rng([SEED, turn, round(10 * apart_cents)])
    organ = organ_of(case.kinds)
    key = KEYS[turn % len(KEYS)]
    pipes = [PipeRef(f"great.rank{n}", key) for n in (0, 1)]
    due_hz = target_hz(organ, pipes[0], None)
    shapes = [partial_levels(kind, due_hz, rng, 10_000.0) for kind in case.kinds]
    cents = (0.0, apart_cents * (-1.0) ** turn)
    samples, courses = scene(
        (due_hz, due_hz),
        case.kinds,
        rng,
        seconds=4.0,
        faintest_db=0.0,
        wander_cents=0.1,
        cents=cents,
        levels_db=case.levels_db,
        shapes=shapes,
    )
    combs = [Comb(str(pipe), due_hz, spectrum_of(organ, pipe)) for pipe in pipes]
    heard = measure_hold(samples, RATE, combs)
    truths = [mean_hz(c, r.start_s, r.end_s) for c, r in zip(courses, heard, strict=True)]
    readings = tuple(named(r, p, due_hz) for p, r in zip(pipes, heard, strict=True))
    walk = walk_of([Hold(1, None, key, 0.0, 4.0, readings)])
    if case.remembered:
        solos = [
            heard_alone(
                pipes[n], due_hz, case.kinds[n], cents[n], shapes[n], case.levels_db[n], rng
            )
            for n in (0, 1)
        ]
        walk = name_pipes(organ, walk, Memory.of([walk_of(solos)]))
    return walk.holds[0].readings, truths


def walk_of(holds: list[Hold]) -> HeardWalk:
    return HeardWalk("", INFO, "", ("great.rank0", "great.rank1"), None, tuple(holds), ())


def places_of(readings: tuple[Reading, ...]) -> tuple[float, float] | None:
    """Where the two stand, named or not."""
    one, other = readings
    if isinstance(one, Measured) and isinstance(other, Measured):
        return one.hz, other.hz
    either = either_of(one)
    return None if either is None else either.hz


def bound_holds(reading: Reading, truth_hz: float) -> bool | None:
    """Whether the truth lies within a merged reading's bound; None if there is none."""
    if not isinstance(reading, Bounded):
        return None
    bound = reading.bound
    return bool(abs(1200.0 * np.log2(truth_hz / bound.near_hz)) <= bound.bound_cents)


def study(case: Case, holds: int) -> None:
    """Read so many holds at each distance and print the table."""
    print(HEAD.format(case.title))
    for apart in APART_CENTS:
        print(line(apart, [read_pair(case, turn, apart) for turn in range(holds)]), flush=True)


HEAD = (
    f"\n{{}}\n{'apart':>8s}{'resolved %':>14s}{'95 %':>9s}{'named %':>9s}{'wrong name %':>14s}"
    f"{'bound holds %':>15s}"
)


def line(apart_cents: float, read: list[tuple[tuple[Reading, ...], list[float]]]) -> str:
    """A row of the table."""
    errors: list[float] = []
    crossed, held, resolved = [], [], 0
    for readings, truths in read:
        places = places_of(readings)
        if places is not None:
            resolved += 1
            errors += [
                abs(1200.0 * np.log2(place / truth))
                for place, truth in zip(sorted(places), sorted(truths), strict=True)
            ]
            if isinstance(readings[0], Measured):
                crossed.append((places[0] < places[1]) != (truths[0] < truths[1]))
        for reading, truth in zip(readings, truths, strict=True):
            inside = bound_holds(reading, truth)
            if inside is not None:
                held.append(inside)
    row = f"{apart_cents:8.1f}{100.0 * resolved / len(read):14.0f}"
    row += f"{np.quantile(errors, 0.95):9.4f}" if errors else " " * 9
    row += f"{100.0 * len(crossed) / len(read):9.0f}"
    row += f"{100.0 * np.mean(crossed):14.1f}" if crossed else " " * 14
    return row + (f"{100.0 * np.mean(held):15.0f}" if held else "")


def main(holds: int = 24) -> None:
    for case in CASES:
        study(case, holds)


if __name__ == "__main__":
    main()
