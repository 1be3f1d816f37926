"""A book of the invented chapel with an open visit and readings made by hand."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from tests.survey.organs import SMALL
from walkboard.book.keeping import Book
from walkboard.book.opening import create_book, open_book
from walkboard.book.records import Conditions, KeptVisit
from walkboard.listening.readings import Measured
from walkboard.listening.types import SoundInfo
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.quantities import ratio_of_cents
from walkboard.survey.hear.heard_walk import HeardWalk, Hold
from walkboard.work.open_book import now

AIR_CELSIUS, EVENT_CELSIUS = 18.0, 21.0
RANKS = ("great.principal8", "great.octave4", "great.trumpet8")


def heard_rank(organ: Organ, rank_id: str, cents: list[float]) -> HeardWalk:
    """A walk of one rank with its pipes standing so many cents from their targets."""
    rank = organ.rank(rank_id)
    holds = []
    for number, off in enumerate(cents, start=1):
        pipe = PipeRef(rank_id, number)
        hz = target_hz(organ, pipe, AIR_CELSIUS) * ratio_of_cents(off)
        reading = Measured(
            pipe=pipe,
            hz=hz,
            sigma_cents=0.05,
            cents=off,
            level_db=-24.0,
            start_s=3.0 * number,
            end_s=3.0 * number + 2.0,
        )
        key = rank.key_of(number)
        holds.append(Hold(number, key, number, 3.0 * number, 3.0 * number + 2.0, (reading,)))
    return HeardWalk(
        file=f"{rank_id}.wav",
        sound=SoundInfo(200.0, 24_000, 1, "WAV, 24 bit"),
        organ=organ.name,
        drawn=(rank_id,),
        air_celsius=AIR_CELSIUS,
        holds=tuple(holds),
        silent_keys=(),
    )


def chapel_book(folder: Path, *, is_heard: bool = True) -> None:
    """Three ranks of a visit, each with a few strays; or a visit that heard nothing yet."""
    organ = read_organ(SMALL)
    with create_book(folder, clock=now) as book:
        kept = book.add_organ(organ.name, SMALL)
        air = Conditions({"great": AIR_CELSIUS})
        visit = book.open_visit(kept.id, "", minutes=60.0, conditions=air)
        if is_heard:
            _hear(book, visit, dict.fromkeys(RANKS, 0.0))


def chapel_again(folder: Path, up_cents: Mapping[str, float]) -> None:
    """Close the visit and open the next, in which each rank has risen so far."""
    with open_book(folder, clock=now) as book:
        (first,) = book.visits(1)
        book.close_visit(first.id)
        air = Conditions({"great": AIR_CELSIUS})
        visit = book.open_visit(1, "", minutes=60.0, conditions=air)
        _hear(book, visit, up_cents)


def _hear(book: Book, visit: KeptVisit, up_cents: Mapping[str, float]) -> None:
    organ = read_organ(SMALL)
    rng = np.random.default_rng(3)
    for rank_id, up in up_cents.items():
        cents = up + rng.normal(0.0, 0.8, organ.rank(rank_id).pipes)
        cents[::9] += 8.0
        source = book.path / f"{rank_id}.wav"
        source.write_bytes(f"{visit.id} {rank_id}".encode())
        walk = heard_rank(organ, rank_id, [float(c) for c in cents])
        book.keep_recording(visit.id, source, walk, program_version="0")
        source.unlink()
