"""A firm's book for studies of size: many organs with years of visits, written as plain rows."""

from __future__ import annotations

import hashlib
import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Sequence
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from walkboard.book import create_book, open_book
from walkboard.book.database.sqlite import SqliteDatabase
from walkboard.book.files.folder import DATABASE
from walkboard.book.rows.counting import drop, install
from walkboard.organ import examples
from walkboard.organ.model import Organ, PipeRef, Rank
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz

RECORDINGS = 2  # a visit; each of one rank
BETWEEN = timedelta(days=91)
TICKED = 6  # one pipe of so many is tuned
FAULTS = 3  # open ones of an organ
FACTS = frozenset({"visit", "conditions", "recording", "hearing", "tick", "fault", "fault_link",
                   "event"})  # tables whose rows have uids  # fmt: skip


def make_firm(folder: Path, organs: int, visits: int) -> None:
    """A book of so many village organs with so many visits each, the last one open.

    Parameters
    ----------
    folder : Path
        The new folder; must not exist.
    organs, visits : int
    """
    village = examples.village()
    last = datetime.now(UTC).replace(microsecond=0) - timedelta(days=1)
    descriptions = [
        village.replace('name = "', f'name = "{number} ', 1) for number in range(1, organs + 1)
    ]
    with create_book(folder, clock=lambda: last) as book:
        for description in descriptions:
            book.add_organ(read_organ(description).name, description)
    engine = SqliteDatabase(folder).engine(wait_s=0.0)
    with engine.begin() as connection:
        drop(connection)
    _fill(folder, read_organ(village), organs, visits, last)
    with engine.begin() as connection:
        install(connection)
        connection.exec_driver_sql("ANALYZE")
    engine.dispose()
    with open_book(folder, clock=lambda: last) as book:
        problems = book.check_records() if organs == 1 else ()
        if problems:
            raise RuntimeError(f"the book that was made is not whole: {problems[0]}")


Rows = dict[str, list[tuple[object, ...]]]


def _fill(folder: Path, organ: Organ, organs: int, visits: int, last: datetime) -> None:
    random = np.random.default_rng(18)
    hz = {
        rank.id: [target_hz(organ, PipeRef(rank.id, n), 17.0) for n in range(1, rank.pipes + 1)]
        for rank in organ.ranks
    }
    with closing(sqlite3.connect(folder / DATABASE)) as database, database:
        hold = 0
        for number in range(1, organs + 1):
            rows: Rows = defaultdict(list)
            for nth in range(1, visits + 1):
                visit = (number - 1) * visits + nth
                at = last - BETWEEN * (visits - nth)
                closed = None if nth == visits else _at(at + timedelta(hours=3))
                rows["visit"].append(
                    (visit, number, number, f"visit {nth}", 120.0, _at(at), closed, "")
                )
                rows["conditions"].append((visit, visit, _at(at), 0.55))
                rows["division_conditions"] += [(visit, d.id, 17.0) for d in organ.divisions]
                for place in range(RECORDINGS):
                    rank = organ.ranks[(nth * RECORDINGS + place) % len(organ.ranks)]
                    hearing = (visit - 1) * RECORDINGS + place + 1
                    _recording(rows, organ, rank, (hearing, visit, number), at)
                    cents = [float(c) for c in random.normal(0.0, 2.0, rank.pipes)]
                    _pipes(rows, rank, (hearing, hold), hz[rank.id], cents)
                    hold += rank.pipes
                    if closed is not None:
                        tuned_at = _at(at + timedelta(hours=2))
                        rows["tick"] += [
                            (f"{hearing} {n}", visit, rank.id, n, "done", "", tuned_at, tuned_at)
                            for n in range(TICKED, rank.pipes + 1, TICKED)
                        ]
            _faults_and_event(rows, number, last)
            for table, columns in _COLUMNS.items():
                _insert(database, table, columns, rows[table])


def _recording(
    rows: Rows, organ: Organ, rank: Rank, ids: tuple[int, int, int], at: datetime
) -> None:
    hearing, visit, description = ids
    stop = next(s.id for s in organ.stops if any(p.rank == rank.id for p in s.plays))
    sha256 = hashlib.sha256(f"{hearing}".encode()).hexdigest()
    rows["sound"].append((sha256, "flac", 1))
    rows["recording"].append((hearing, visit, sha256, "walk.flac", _at(at)))
    heard = ("0", _at(at), "walk.flac", 250.0, 48_000, 1, "FLAC", organ.name, f'["{stop}"]')
    rows["hearing"].append((hearing, hearing, description, *heard, 17.0, "[]", "[]"))


def _pipes(
    rows: Rows, rank: Rank, ids: tuple[int, int], hz: Sequence[float], cents: Sequence[float]
) -> None:
    hearing, hold = ids
    for n, (target, away) in enumerate(zip(hz, cents, strict=True), start=1):
        at_s, key = 4.0 * n, rank.key_of(n).semitone
        rows["hold"].append((hold + n, hearing, n - 1, n, key, n, at_s, at_s + 3.5, 1.0, "[]"))
        sounds_hz = target * 2.0 ** (away / 1200.0)
        rows["reading"].append(
            (hold + n, 0, rank.id, n, sounds_hz, 0.05, away, -20.0, at_s, at_s + 3.0, 0.1, "[]")
        )


def _faults_and_event(rows: Rows, number: int, last: datetime) -> None:
    for nth in range(FAULTS):
        id_ = (number - 1) * FAULTS + nth + 1
        rows["fault"].append((id_, number, "cipher", f"sounds by itself, {nth}", _at(last)))
        rows["fault_link"].append((id_, _at(last)))
    starts_at = _at(last + timedelta(days=20))
    rows["event"].append((number, f"e{number}", starts_at, "Recital", "[]", 19.0, 0, _at(last)))


_COLUMNS: dict[str, Sequence[str]] = {
    "visit": ("id", "organ_id", "description_id", "purpose", "minutes", "opened_at", "closed_at",
              "closing_note"),
    "conditions": ("id", "visit_id", "noted_at", "humidity"),
    "division_conditions": ("conditions_id", "division", "air_celsius"),
    "sound": ("sha256", "extension", "bytes"),
    "recording": ("id", "visit_id", "sha256", "file_name", "kept_at"),
    "hearing": ("id", "recording_id", "description_id", "program_version", "heard_at", "file",
                "seconds", "sample_rate", "channels", "format", "organ", "drawn", "air_celsius",
                "silent_keys", "warnings"),
    "hold": ("id", "hearing_id", "position", "n", "semitone", "key_number", "start_s", "end_s",
             "sureness", "flags"),
    "reading": ("hold_id", "position", "rank", "number", "hz", "sigma_cents", "cents", "level_db",
                "start_s", "end_s", "wander_cents", "flags"),
    "tick": ("uid", "visit_id", "rank", "number", "state", "note", "at", "received_at"),
    "fault": ("id", "organ_id", "kind", "words", "reported_at"),
    "fault_link": ("fault_id", "linked_at"),
    "event": ("organ_id", "uid", "starts_at", "title", "stops", "air_celsius", "cancelled",
              "kept_at"),
}  # fmt: skip


def _insert(
    database: sqlite3.Connection,
    table: str,
    columns: Sequence[str],
    rows: Iterable[tuple[object, ...]],
) -> None:
    if table in FACTS:
        columns = (*columns, "fact_uid")
        (so_far,) = database.execute(f"SELECT count(*) FROM {table}").fetchone()
        rows = [(*row, fact_uid(so_far + place)) for place, row in enumerate(rows)]
    names = ", ".join(f'"{name}"' for name in columns)
    marks = ", ".join("?" * len(columns))
    database.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", rows)


def fact_uid(place: int) -> str:
    """The uid of a table's fact, in the order of the places."""
    return f"00000000-0000-7000-8000-{place:012d}"


def _at(instant: datetime) -> str:
    return instant.isoformat(timespec="microseconds")
