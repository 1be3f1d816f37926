"""Names of near unisons: how often they are given, and whether their sureness is what it claims.

Walks of every third key from C to F sharp five octaves up (15 holds of 4 s), in each of which two
ranks of one pitch sound, with a 4′: a reed with an open flue, a stopped with an open flue, two open
flues. Each rank's loudness and spectrum go on along the keys as `tests.registrations.Voice` says;
detunings, wander, room and noise as in `bench.registrations`, a new room drawn for every hold. Read
three ways: every hold by itself; with what the walk's other holds tell; and with both ranks heard
alone at the C's, too, where a pipe stands up to .2 cent (standard deviation) from where it stands
in the walk. Asked: what is said to be 98 % sure is right in 98 %. Run: python -m bench names
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from tests.registrations import RATE, Voice, mean_hz, scene

from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import Measured, named
from walkboard.listening.types import Comb, Partial, SoundInfo
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.survey.hear.heard_walk import HeardWalk, Hold, Reading
from walkboard.survey.hear.identity import name_pipes
from walkboard.survey.hear.memory import Memory
from walkboard.survey.hear.unison_pairs import either_of
from walkboard.survey.kinds import spectrum_of

SEED = 31_415
KEYS = range(1, 44, 3)
PAIRS = (("reed", "flue"), ("stopped", "flue"), ("flue", "flue"))
FAMILY = {"flue": "open", "reed": "reed", "stopped": "stopped"}
TUNED_BY = {"flue": "slide", "reed": "spring", "stopped": "stopper"}
FEET = ("8", "8", "4")
WAYS = ("each hold by itself", "with the walk", "and alone at the C's")
REGISTERS = ((60.0, 300.0), (300.0, 500.0), (500.0, 800.0))
BINS = ((0.5, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 0.98), (0.98, 0.995), (0.995, 1.0))
INFO = SoundInfo(60.0, RATE, 1, "")


@dataclass(frozen=True)
class Outcome:
    """A pair of a hold, read one way.

    `named` and `right` are None where the pair was not separated; `sureness` is of the likelier
    names, given or not.
    """

    way: str
    hz: float
    hard: bool
    named: bool | None
    right: bool | None
    sureness: float
    flagged: int
    wrong: int


def organ_of(kinds: tuple[str, ...]) -> Organ:
    """An organ of these ranks: two 8′ and perhaps a 4′."""
    text = """
format = 1
name = "Bench"
temperament = "equal"
[pitch]
a4_hz = 440.0
at_celsius = 18.0
[[division]]
id = "great"
name = "Great"
keys = 61
"""
    for number, (kind, feet) in enumerate(zip(kinds, FEET[: len(kinds)], strict=True)):
        text += f"""
[[rank]]
id = "great.rank{number}"
division = "great"
name = "Rank {number}"
family = "{FAMILY[kind]}"
feet = "{feet}"
pipes = 61
tuned_by = "{TUNED_BY[kind]}"
"""
    return read_organ(text)


def places_of(one: Reading, other: Reading) -> tuple[float, float] | None:
    """Where the two are, named or not."""
    if isinstance(one, Measured) and isinstance(other, Measured):
        return one.hz, other.hz
    either = either_of(one)
    return None if either is None else either.hz


def judged(
    way: str, hard: bool, hz: float, readings: tuple[Reading, ...], truths: list[float]
) -> Outcome:
    one, other = readings[0], readings[1]
    places = places_of(one, other)
    right = None
    if places is not None:
        straight = abs(math.log(places[0] / truths[0])) + abs(math.log(places[1] / truths[1]))
        crosswise = abs(math.log(places[0] / truths[1])) + abs(math.log(places[1] / truths[0]))
        right = straight < crosswise
    errors = [
        abs(1200.0 * math.log2(r.hz / truth))
        for r, truth in zip(readings, truths, strict=True)
        if isinstance(r, Measured)
    ]
    return Outcome(
        way,
        hz,
        hard,
        None if right is None else isinstance(one, Measured),
        right,
        one.name_sureness if one.name_sureness is not None else 0.5,
        sum(not isinstance(r, Measured) for r in readings),
        sum(error > 1.0 for error in errors),
    )


def read_walk(turn: int, kinds: tuple[str, ...], *, hard: bool) -> list[Outcome]:
    """A walk read all three ways."""
    rng = np.random.default_rng([SEED, turn, hard, PAIRS.index((kinds[0], kinds[1]))])
    organ = organ_of(kinds)
    faintest, wander = (-25.0, 0.3) if hard else (-18.0, 0.1)
    voices = [Voice.drawn(kind, rng, faintest) for kind in kinds]
    holds: list[Hold] = []
    solos: list[Hold] = []
    truths: list[list[float]] = []
    for key in KEYS:
        pipes = [PipeRef(f"great.rank{n}", key) for n in range(len(kinds))]
        due = [target_hz(organ, pipe, None) for pipe in pipes]
        cents = [float(np.clip(rng.normal(0.0, 4.0), -15.0, 15.0)) for _ in pipes]
        made = [v.pipe((key - 1) / 12.0, hz, rng) for v, hz in zip(voices, due, strict=True)]
        combs = [
            Comb(str(pipe), hz, spectrum_of(organ, pipe))
            for pipe, hz in zip(pipes, due, strict=True)
        ]
        sound, courses = scene(
            tuple(due),
            kinds,
            rng,
            seconds=4.0,
            faintest_db=faintest,
            wander_cents=wander,
            cents=tuple(cents),
            levels_db=tuple(level for level, _ in made),
            shapes=[shape for _, shape in made],
        )
        heard = measure_hold(sound, RATE, combs)
        truths.append([mean_hz(c, r.start_s, r.end_s) for c, r in zip(courses, heard, strict=True)])
        readings = tuple(named(r, p, hz) for p, r, hz in zip(pipes, heard, due, strict=True))
        holds.append(Hold(len(holds) + 1, None, key, 0.0, 4.0, readings))
        if (key - 1) % 12 == 0:
            solos += [
                _alone(pipes[n], due[n], kinds[n], cents[n], made[n], wander, rng) for n in (0, 1)
            ]
    drawn = tuple(f"great.rank{n}" for n in range(len(kinds)))
    plain = HeardWalk("w", INFO, "", drawn, None, tuple(holds), ())
    alone = HeardWalk("s", INFO, "", drawn, None, tuple(solos), ())
    outcomes = []
    for way, walk in zip(
        WAYS,
        (
            plain,
            name_pipes(organ, plain, Memory.of([plain])),
            name_pipes(organ, plain, Memory.of([plain, alone])),
        ),
        strict=True,
    ):
        for hold, truth in zip(walk.holds, truths, strict=True):
            outcomes.append(judged(way, hard, truth[0], hold.readings, truth))
    return outcomes


def _alone(  # noqa: PLR0917
    pipe: PipeRef,
    due_hz: float,
    kind: str,
    cents: float,
    made: tuple[float, np.ndarray],
    wander: float,
    rng: np.random.Generator,
) -> Hold:
    """The pipe alone: in a new random room, at its own level, a little off."""
    sound, _ = scene(
        (due_hz,),
        (kind,),
        rng,
        seconds=4.0,
        faintest_db=0.0,
        wander_cents=wander,
        cents=(cents + rng.normal(0.0, 0.2),),
        levels_db=(0.0,),
        shapes=[made[1]],
    )
    (heard,) = measure_hold(sound, RATE, [Comb(str(pipe), due_hz)])
    reading = named(heard, pipe, due_hz)
    return Hold(1, None, pipe.number, 0.0, 4.0, (at_level(reading, made[0]),))


def at_level(reading: Reading, loudness_db: float) -> Reading:
    partials = tuple(Partial(p.number, p.level_db + loudness_db) for p in reading.partials)
    level = None if reading.level_db is None else reading.level_db + loudness_db
    return replace(reading, partials=partials, level_db=level)


def report(kinds: tuple[str, str], outcomes: list[Outcome]) -> None:
    print(f"\n{kinds[0]} 8 + {kinds[1]} 8 + flue 4: {len(outcomes) // len(WAYS)} pairs")
    head = "".join(f"{low:.0f}-{high:.0f} Hz".rjust(14) for low, high in REGISTERS)
    print(f"{'unflagged of pairs, %':26s}{head}{'wrong name %':>14s}{'>1 c of pipes %':>17s}")
    for way in WAYS:
        mine = [o for o in outcomes if o.way == way]
        row = f"  {way:24s}"
        for low, high in REGISTERS:
            own = [o for o in mine if low <= o.hz < high]
            row += f"{100.0 * np.mean([o.named is True for o in own]):14.0f}"
        named = [o for o in mine if o.named]
        row += f"{100.0 * np.mean([not o.right for o in named]):14.2f}" if named else " " * 14
        wrong, given = sum(o.wrong for o in mine), sum(3 - o.flagged for o in mine)
        print(row + f"{100.0 * wrong / max(given, 1):17.2f}")


def calibration(outcomes: list[Outcome]) -> None:
    print("\nsureness of the likelier names against how often they are right, %")
    head = "".join(f"{100 * low:.0f}-{100 * high:.1f}".rjust(17) for low, high in BINS)
    print(f"{'':26s}{head}")
    for way in WAYS:
        row = f"  {way:24s}"
        for low, high in BINS:
            own = [
                (max(o.sureness, 1.0 - o.sureness), o.right == (o.sureness >= 0.5))
                for o in outcomes
                if o.way == way and o.right is not None
            ]
            inside = [right for sure, right in own if low <= sure < high or sure == high == 1.0]
            share = f"{100.0 * np.mean(inside):.1f}" if inside else "-"
            row += f"{share} ({len(inside)})".rjust(17)
        print(row, flush=True)


def main(walks: int = 8) -> None:
    everything = []
    for kinds in PAIRS:
        outcomes = [
            outcome
            for hard in (False, True)
            for turn in range(walks)
            for outcome in read_walk(turn, (*kinds, "flue"), hard=hard)
        ]
        report(kinds, outcomes)
        everything += outcomes
    calibration(everything)


if __name__ == "__main__":
    main()
