"""An organ for trying the pages: the village organ, with an open visit whose walks are invented.

Nothing sounds and nothing was measured: each pipe's deviation is random, most near their rank's
line and one in twelve a stray, and the visit's name says so.
"""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from walkboard import __version__
from walkboard.book.records import Conditions, KeptOrgan, KeptVisit
from walkboard.listening.readings import Measured
from walkboard.listening.types import SoundInfo
from walkboard.organ import examples
from walkboard.organ.model import Organ, PipeRef, Rank
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.quantities import ratio_of_cents
from walkboard.survey.hear.heard_walk import HeardWalk, Hold
from walkboard.survey.hear.to_json import walk_to_json

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

SEED = 20
_HOLD_S, _GAP_S = 4.0, 0.4
_FLUES_CENTS, _REEDS_CENTS = 2.0, -4.0  # the whole organ, like flues moved by 0.7 °C
_SPREAD_CENTS, _STRAYS_CENTS = 0.8, (-14.0, -8.0, 7.0, 11.0)
_STRAY_SHARE = 1.0 / 12.0
_SIGMA_CENTS = 0.06
_RATE = 48_000


def add_trial_organ(book: Book, purpose: str) -> KeptOrgan:
    """Add the village organ with an open visit that has been heard.

    Parameters
    ----------
    book : Book
    purpose : str
        Name of the visit, so that nobody takes it for a real one.

    Raises
    ------
    BookError
        When the book cannot be written.
    """
    description = examples.village()
    organ = read_organ(description)
    kept = book.add_organ(organ.name, description)
    air = {d.id: 16.5 + 0.4 * n for n, d in enumerate(organ.divisions)}
    visit = book.open_visit(kept.id, purpose, minutes=60.0, conditions=Conditions(air, 0.55))
    chance = np.random.default_rng(SEED)
    for rank in organ.ranks:
        _keep(book, visit, _walk(organ, rank, air[rank.division], chance))
    return kept


def _walk(organ: Organ, rank: Rank, celsius: float, chance: np.random.Generator) -> HeardWalk:
    stop = next(s for s in organ.stops if any(p.rank == rank.id for p in s.plays))
    middle = _FLUES_CENTS if rank.family.is_flue else _REEDS_CENTS
    holds = []
    for number in range(1, rank.pipes + 1):
        pipe = PipeRef(rank.id, number)
        cents = middle + float(chance.normal(0.0, _SPREAD_CENTS))
        if chance.random() < _STRAY_SHARE:
            cents += float(chance.choice(_STRAYS_CENTS))
        hz = target_hz(organ, pipe, celsius) * ratio_of_cents(cents)
        start = (number - 1) * (_HOLD_S + _GAP_S)
        end = start + _HOLD_S
        reading = Measured(
            pipe=pipe,
            hz=hz,
            sigma_cents=_SIGMA_CENTS,
            cents=cents,
            level_db=-24.0,
            start_s=start + 0.3,
            end_s=end,
            wander_cents=0.1,
        )
        holds.append(Hold(number, rank.key_of(number), number, start, end, (reading,), 0.99))
    return HeardWalk(
        file=f"invented, {rank.id}.json",
        sound=SoundInfo(rank.pipes * (_HOLD_S + _GAP_S), _RATE, 1, "none: invented"),
        organ=organ.name,
        drawn=(stop.id,),
        air_celsius=celsius,
        holds=tuple(holds),
        silent_keys=(),
    )


def _keep(book: Book, visit: KeptVisit, walk: HeardWalk) -> None:
    with tempfile.TemporaryDirectory() as made:
        path = Path(made) / walk.file
        path.write_text(json.dumps(walk_to_json(walk), ensure_ascii=False), encoding="utf-8")
        book.keep_recording(visit.id, path, walk, program_version=__version__)
