"""Spoiled descriptions and stop lists, by number: what a slip of the hand or the file may make."""

from __future__ import annotations

import copy
import random
import tomllib
from typing import Any

from tests.organ.stoplist.expected import LISTS, typed
from tests.strategies import toml
from tests.work.test_however_built import BUILT, HEAD
from walkboard.errors import DescriptionError
from walkboard.organ import examples
from walkboard.organ.census import census
from walkboard.organ.model import Organ
from walkboard.organ.picture import picture_text
from walkboard.organ.reading import read_organ
from walkboard.organ.sounding import held_keys
from walkboard.organ.stoplist.describing import describe
from walkboard.organ.stoplist.reading import read_stop_list
from walkboard.organ.targets import target_hz
from walkboard.scales.keys import Key

BASES = [examples.village(), *(HEAD + built.toml for built in BUILT.values())]
WRONG: list[Any] = [
    7, -1, 0, 0.5, True, "", "x", "C2", "C#2", "Ab3*", "B10", "great", "8", "2 2/3", "short",
    "reed", "moved", [], [1], ["a"], ["C2"], ["Eb"], {}, {"a": 1}, {"from": "C2"}, [{}],
    [{"from": "C3"}], [{"rank": "principal"}], 10**30, -(10**30), 1e300, "\u0000", "é" * 500,
]  # fmt: skip
NAMES = [
    "missing", "split", "octave", "parts", "celeste", "changes", "front", "build", "pipes", "feet",
    "breaks", "from", "keys", "lowest", "octaves", "plays", "toy", "coupler", "organ", "tremulant",
]  # fmt: skip


def spoiled_description(number: int) -> str:
    """A description with one or more things wrong in its tables, or a few letters in its text."""
    rng = random.Random(number)
    base = BASES[number % len(BASES)]
    if rng.random() < 0.3:
        return _spoiled_text(base, rng)
    raw: dict[str, Any] = copy.deepcopy(tomllib.loads(base))
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        holder: Any = raw
        while True:
            steps = list(holder) if isinstance(holder, dict) else range(len(holder))
            if not steps:
                break
            step = rng.choice(list(steps))
            inner = holder[step]
            if isinstance(inner, dict | list) and inner and rng.random() < 0.8:
                holder = inner
                continue
            _spoil(holder, step, rng)
            break
    return "\n".join(f"{key} = {toml(value)}" for key, value in raw.items())


def _spoil(holder: Any, step: Any, rng: random.Random) -> None:
    way = rng.random()
    if way < 0.25:
        del holder[step]
    elif way < 0.45 and isinstance(holder, dict):
        holder[rng.choice(NAMES)] = copy.deepcopy(rng.choice(WRONG))
    elif way < 0.6 and isinstance(holder, list):
        holder.append(copy.deepcopy(holder[step]))
    else:
        holder[step] = copy.deepcopy(rng.choice(WRONG))


def _spoiled_text(text: str, rng: random.Random) -> str:
    letters = list(text)
    for _ in range(rng.randint(1, 5)):
        at = rng.randrange(len(letters))
        way = rng.random()
        if way < 0.4:
            del letters[at]
        elif way < 0.7:
            letters.insert(at, rng.choice('"[]{}=#\n,.0xé\t'))
        else:
            letters[at] = rng.choice('"[]{}=#\n,.0xé\t')
    return "".join(letters)


def spoiled_list(number: int) -> str:
    """A typed stop list with lines and letters moved, doubled, lost."""
    rng = random.Random(number)
    lines = typed(LISTS[number % len(LISTS)]).text.split("\n")
    rng.shuffle(lines)
    lines = lines[: rng.randint(1, 12)]
    return _spoiled_text("\n".join(lines) + "\n", rng)


def use_whatever_is_read(text: str) -> bool:
    """Read a description; where it is right, do with it what pages do. Whether it was right."""
    try:
        organ = read_organ(text)
    except DescriptionError as error:
        problems = error.problems
    else:
        _use(organ)
        return True
    assert problems
    assert all(problem.what and problem.fix for problem in problems)
    return False


def _use(organ: Organ) -> None:
    census(organ).text()
    picture_text(organ)
    for rank in organ.ranks:
        pipes = [pipe for pipe in organ.pipes() if pipe.rank == rank.id]
        held_keys(organ, rank, pipes)
        for pipe in (pipes[0], pipes[-1]):
            assert target_hz(organ, pipe, 20.0) > 0.0
    for stop in organ.stops:
        for key in organ.keys_of([stop.id]):
            assert stop.pipes_at(key)
    for coupler in organ.couplers:
        organ.sounding([organ.stops[0].id, coupler.id], Key.parse("C4"))


def use_whatever_is_listed(text: str) -> None:
    """Read a stop list and describe it; no line may be lost."""
    made = describe(read_stop_list(text))
    lines = {n for n, line in enumerate(text.split("\n"), 1) if line.strip()}
    assert {row.line.number for row in made.rows} == lines or "\t" in text or '"' in text
    if any(row.stop is not None for row in made.rows):
        read_organ(made.toml)
