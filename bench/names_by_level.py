"""Whether the sureness of a name is what it claims, at the level of partials instead of sound.

Ranks whose loudness and spectrum go on along the keys (`tests.registrations.Voice`, levels over 18
dB); each hold, and each pipe heard alone, through a new random room (direct sound 3 dB under a
diffuse field, every partial by itself); partials down to 50 dB below the loudest; the two readings
of a hold crossed by chance. Where the pipes stand is left out, so nothing but spectra and levels
names them. Four ways: a walk of every third key, the same with both ranks heard alone at the C's,
and one hold with either the two pipes themselves or two up to six keys away heard alone. Odds are
cut at 6 as in `survey.identity`. Asked: what is said to be 98 % sure is right in 98 %. Run: python
-m bench names_by_level
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from tests.registrations import Voice

from walkboard.listening.joint.labels import expected_levels_db
from walkboard.listening.types import Comb, Partial, Spectrum
from walkboard.survey.hear.names import PairHeard, odds_along
from walkboard.survey.hear.unison_pairs import level_differences

SEED = 14_142
PAIRS = (("reed", "flue"), ("stopped", "flue"), ("flue", "flue"))
HINT = {"flue": Spectrum.FULL, "reed": Spectrum.BRIGHT, "stopped": Spectrum.ODD}
MOST_ODDS = 6.0
NOTHING = 1e-6
BINS = ((0.5, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 0.98), (0.98, 0.995), (0.995, 1.0))
LOWEST_HZ = 65.4
FAINTEST_DB = 50.0

Levels = NDArray[np.float64]


def pipes_of(voices: list[Voice], key: int, rng: np.random.Generator) -> list[Levels]:
    """Levels of the partials of the two pipes of a key [dB]."""
    hz = LOWEST_HZ * 2.0 ** (key / 12.0)
    count = max(2, min(16, int(6_000.0 / hz)))
    levels = []
    for voice in voices:
        loudness_db, shape = voice.pipe(key / 12.0, hz, rng)
        levels.append(loudness_db + 20.0 * np.log10(shape[:count] / np.linalg.norm(shape)))
    return levels


def heard(levels_db: list[Levels], rng: np.random.Generator) -> list[list[Partial]]:
    """Partials of pipes, each through a new random room."""
    through = []
    for levels in levels_db:
        diffuse = 10.0 ** (3.0 / 20.0) * rng.normal(size=(len(levels), 2)) @ [1.0, 1j]
        through.append(levels + 20.0 * np.log10(np.abs(1.0 + diffuse / math.sqrt(2.0))))
    least = max(float(levels.max()) for levels in through) - FAINTEST_DB
    return [
        [Partial(n, float(x)) for n, x in enumerate(levels, start=1) if x > least]
        for levels in through
    ]


def pair_of(
    both: list[list[Partial]], kinds: tuple[str, str], key: int, odds: float = 0.0
) -> PairHeard:
    hz = LOWEST_HZ * 2.0 ** (key / 12.0)
    difference = level_differences(*both)
    numbers = sorted(difference)
    due = [expected_levels_db(Comb("", hz, HINT[kind]), numbers) for kind in kinds]
    apart = {n: (a or 0.0) - (b or 0.0) for n, a, b in zip(numbers, *due, strict=True)}
    return PairHeard(float(key), difference, apart, odds)


def read_walk(
    kinds: tuple[str, str], rng: np.random.Generator, *, alone: bool
) -> list[tuple[int, float]]:
    """Key and odds, positive where right, of every hold of a walk."""
    voices = [Voice.drawn(kind, rng, -18.0) for kind in kinds]
    pairs, signs = [], []
    for key in range(0, 43, 3):
        pipes = pipes_of(voices, key, rng)
        if alone and key % 12 == 0:
            solos = [heard([pipe], rng)[0] for pipe in pipes]
            pairs.append(pair_of(solos, kinds, key, math.inf))
            signs.append(0.0)
        both = heard(pipes, rng)
        cross = bool(rng.integers(2))
        pairs.append(pair_of(both[::-1] if cross else both, kinds, key))
        signs.append(-1.0 if cross else 1.0)
    odds = odds_along(pairs)
    return [
        (round(one.place), sign * value)
        for one, sign, value in zip(pairs, signs, odds, strict=True)
        if sign
    ]


def read_one(kinds: tuple[str, str], rng: np.random.Generator, reach: int) -> tuple[int, float]:
    """A single hold, with two pipes up to so many keys away heard alone."""
    voices = [Voice.drawn(kind, rng, -18.0) for kind in kinds]
    key = int(rng.integers(0, 43))
    near = max(0, key + int(rng.integers(-reach, reach + 1)))
    pipes = pipes_of(voices, key, rng)
    others = pipes if near == key else pipes_of(voices, near, rng)
    solos = [heard([pipe], rng)[0] for pipe in others]
    both = heard(pipes, rng)
    cross = bool(rng.integers(2))
    known = pair_of(solos, kinds, near, math.inf)
    asked = pair_of(both[::-1] if cross else both, kinds, key)
    return key, (-1.0 if cross else 1.0) * odds_along([known, asked])[1]


def line(title: str, odds: list[tuple[int, float]]) -> str:
    """A row: pairs that nothing tells of count as not named, in no bin."""
    right = np.clip([value for _, value in odds], -MOST_ODDS, MOST_ODDS)
    sure = 1.0 / (1.0 + np.exp(-np.abs(right)))
    row = f"  {title:24s}{len(right):6d}{100.0 * np.mean(sure >= 0.98):10.0f}"
    for low, high in BINS:
        inside = right[(sure >= low) & (sure < high) & (np.abs(right) > NOTHING)] > 0.0
        share = f"{100.0 * inside.mean():.1f}" if len(inside) else "-"
        row += f"{share} ({len(inside)})".rjust(14)
    return row


def main(walks: int = 40, ones: int = 400) -> None:
    bins = "".join(f"{100 * low:g}-{100 * high:g}".rjust(14) for low, high in BINS)
    print(f"right of so sure, % (pairs)\n{'':26s}{'pairs':>6s}{'named %':>10s}{bins}")
    for kinds in PAIRS:
        print(f"{kinds[0]} 8 + {kinds[1]} 8")
        rng = np.random.default_rng([SEED, PAIRS.index(kinds)])
        for title, alone in (("walk", False), ("walk, alone at the C's", True)):
            read = [one for _ in range(walks) for one in read_walk(kinds, rng, alone=alone)]
            print(line(title, read), flush=True)
        for title, reach in (("one hold, alone before", 0), ("a near key alone before", 6)):
            print(line(title, [read_one(kinds, rng, reach) for _ in range(ones)]), flush=True)


if __name__ == "__main__":
    main()
