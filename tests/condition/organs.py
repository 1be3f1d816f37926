"""A small organ with one of everything, and readings of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np

from walkboard.condition.state import PipeCents
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ

HEAD = """
format = 1
name = "Mill Lane Hall, Overmarsh"
temperament = "{temperament}"
[pitch]
a4_hz = {a4}
at_celsius = {celsius}
"""

DIVISIONS = """
[[division]]
id = "great"
name = "Great"
keys = 61
[[division]]
id = "swell"
name = "Swell"
keys = 61
enclosed = true
"""


def a_rank(id_: str, family: str = "open", tuned_by: str = "slide", **more: object) -> str:
    """One rank of the description, 61 pipes unless said."""
    fields = {"feet": '"8"', "pipes": 61, **more}
    if "breaks" in fields:
        del fields["feet"]
    rows = [f"{name} = {value}" for name, value in fields.items()]
    return "\n".join(
        [
            "[[rank]]",
            f'id = "{id_}"',
            f'division = "{id_.partition(".")[0]}"',
            f'name = "{id_.partition(".")[2].capitalize()}"',
            f'family = "{family}"',
            f'tuned_by = "{tuned_by}"',
            *rows,
            "",
        ]
    )


RANKS = [
    a_rank("great.principal"),
    a_rank("great.octave", feet='"4"'),
    a_rank("great.twelfth", tuned_by="cone", feet='"2 2/3"'),
    a_rank(
        "great.mixture",
        tuned_by="cone",
        breaks='[{from = "C2", interval = 19}, {from = "C4", interval = 15}]',
    ),
    a_rank("great.trumpet", "reed", "spring"),
    a_rank("great.old", "stopped", "ears", historic="true"),
    a_rank("swell.flute", "stopped", "stopper"),
    a_rank("swell.viola"),
    a_rank("swell.celeste", beats="2.5"),
    a_rank("swell.oboe", "reed", "spring"),
]


def small_organ(
    temperament: str = "equal", a4: float = 440.0, celsius: float = 18.0, more: str = ""
) -> Organ:
    head = HEAD.format(temperament=temperament, a4=a4, celsius=celsius)
    return read_organ(head + DIVISIONS + more + "\n".join(RANKS))


def readings(
    organ: Organ,
    ranks: Iterable[str],
    cents: Callable[[PipeRef], float],
    air_celsius: float,
    *,
    every: int = 1,
    scatter: float = 0.5,
    seed: int = 1,
) -> list[PipeCents]:
    """Readings of every so many pipes of these ranks, with a normal scatter [cents]."""
    rng = np.random.default_rng(seed)
    heard = []
    for rank in ranks:
        for number in range(1, organ.rank(rank).pipes + 1, every):
            pipe = PipeRef(rank, number)
            off = cents(pipe) + rng.normal(0.0, scatter)
            heard.append(PipeCents(pipe, off, 0.05, -25.0, air_celsius))
    return heard
