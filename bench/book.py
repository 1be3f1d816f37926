"""How fast a book of 2,440 pipes and 40 visits opens, keeps and answers.

Forty visits, each with ten recordings of four ranks of 61 keys: 97,600 readings. Times are of this
machine and of its disk: every keeping waits until the disk has it. Run: python -m bench book.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from statistics import median

import numpy as np

from walkboard.book import create_book, open_book
from walkboard.book.keeping import Book
from walkboard.book.records import Tick
from walkboard.listening.readings import Measured
from walkboard.listening.types import SoundInfo
from walkboard.organ.model import PipeRef
from walkboard.planning.plan import CurvePoint, Plan, PlanItem, Reference
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Hold

VISITS, RECORDINGS, RANKS, KEYS = 40, 10, 4, 61
SOUND_BYTES = 200_000


def main() -> None:
    """Build the book, time it, print the table."""
    with tempfile.TemporaryDirectory() as temporary:
        path = Path(temporary) / "book"
        rows = [("make a new book", [_timed(lambda: create_book(path, clock=_now).close())])]
        with open_book(path, clock=_now) as book:
            rows.append((f"keep a recording, {RANKS * KEYS} readings", _fill(book, path.parent)))
        rows.append(("open it", [_timed(lambda: open_book(path, clock=_now).close())]))
        with open_book(path, clock=_now) as book:
            last = book.visits(1)[-1].id
            pipe = PipeRef("rank0", 30)
            asked: list[tuple[str, Callable[[], object]]] = [
                ("best reading of each of 2,440 pipes", lambda: book.best_readings(last)),
                ("all recordings of a visit with their walks", lambda: book.recordings(last)),
                ("one pipe over 40 visits", lambda: book.readings_of_pipe(1, pipe)),
                ("keep a plan of 300 pipes", lambda: book.keep_plan(last, _plan())),
                ("the worklist with its ticks", lambda: book.worklist(last)),
                ("search", lambda: book.search("reeds")),
            ]
            rows += [(name, [_timed(ask) for _ in range(5)]) for name, ask in asked]
            ticks = [partial(book.set_tick, _tick(last, number)) for number in range(20)]
            rows.append(("a tick", [_timed(tick) for tick in ticks]))
            slow: list[tuple[str, Callable[[], object]]] = [
                ("check all", book.check),
                ("export as JSON", lambda: book.export_json(path.parent / "book.json")),
                ("copy the whole book", lambda: book.copy_to(path.parent / "copy")),
            ]
            rows += [(name, [_timed(ask)]) for name, ask in slow]
        size = (path / "book.sqlite").stat().st_size / 1e6
    print(f"database {size:.1f} MB")
    print(f"{'':46}{'median':>10}{'worst':>10}  [ms]")
    for name, taken in rows:
        print(f"{name:46}{1e3 * median(taken):10.1f}{1e3 * max(taken):10.1f}")


def _timed(act: Callable[[], object]) -> float:
    begun = time.perf_counter()
    act()
    return time.perf_counter() - begun


def _now() -> datetime:
    return datetime.now(UTC)


def _fill(book: Book, folder: Path) -> list[float]:
    random = np.random.default_rng(7)
    organ = book.add_organ("Invented Hall", "format = 1")
    taken = []
    for number in range(VISITS):
        visit = book.open_visit(organ.id, f"visit {number}, reeds first")
        for recording in range(RECORDINGS):
            source = folder / "walk.flac"
            source.write_bytes(random.bytes(SOUND_BYTES))
            walk = _walk(random, recording)
            keep = partial(book.keep_recording, visit.id, source, walk, program_version="0")
            taken.append(_timed(keep))
        if number < VISITS - 1:
            book.close_visit(visit.id)
    return taken


def _walk(random: np.random.Generator, recording: int) -> HeardWalk:
    ranks = [f"rank{RANKS * recording + place}" for place in range(RANKS)]
    sound = SoundInfo(271.4, 48_000, 1, "FLAC, 24 bit")
    holds = tuple(_hold(random, ranks, key) for key in range(KEYS))
    return HeardWalk("walk.flac", sound, "Invented Hall", tuple(ranks), 17.2, holds, ())


def _hold(random: np.random.Generator, ranks: list[str], key: int) -> Hold:
    start_s = 4.0 * key
    readings = tuple(
        Measured(
            pipe=PipeRef(rank, key + 1),
            hz=440.0 * random.random(),
            sigma_cents=random.random(),
            cents=random.random(),
            level_db=-20.0 * random.random(),
            start_s=start_s,
            end_s=start_s + 3.0,
        )
        for rank in ranks
    )
    return Hold(key + 1, Key(36 + key), key + 1, start_s, start_s + 3.5, readings)


def _plan() -> Plan:
    items = tuple(
        PlanItem(n, PipeRef(f"rank{n // KEYS}", n % KEYS + 1), 3.0, 440.0, "flatter", 0.5, "sharp")
        for n in range(1, 301)
    )
    curve = tuple(CurvePoint(10.0 * n, 800.0 - n) for n in range(25))
    return Plan(240.0, (Reference("great", 0.0, 18.0),), items, 812.0, 96.0, 95.9, 238.0, curve)


def _tick(visit_id: int, number: int) -> Tick:
    at = _now() - timedelta(seconds=1)
    return Tick(f"tick {number}", visit_id, PipeRef("rank0", number + 1), "done", "", at)
