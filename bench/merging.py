"""Taking organs along and bringing them back: time and size, beside writing the same facts.

Each figure is processor time of this process. Run: python -m bench merging, or VISITS=12 ORGANS=4.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.book.making import DESCRIPTION, a_hold, a_plan, a_reading, a_sound, a_walk

from walkboard.book.files.folder import DATABASE
from walkboard.book.keeping import Book
from walkboard.work import open_book
from walkboard.work.take_along import bring_back, take_along

ORGANS = int(os.environ.get("ORGANS", "3"))
VISITS = int(os.environ.get("VISITS", "8"))  # of each organ
RECORDINGS = 3  # of a visit
KEYS, PIPES = 61, 4  # of a recording: 244 readings
DAY = datetime(2031, 3, 1, 9, 0, tzinfo=UTC)


def cost_s(act: Callable[[], object]) -> float:
    """Processor time [s]."""
    at_s = time.process_time()
    act()
    return time.process_time() - at_s


def visit(book: Book, organ_id: int, folder: Path, words: str) -> None:
    """One visit with its recordings and a plan."""
    kept = book.open_visit(organ_id, words)
    holds = [a_hold(n, *(a_reading(p) for p in range(1, PIPES + 1))) for n in range(1, KEYS + 1)]
    for n in range(RECORDINGS):
        source = a_sound(folder, content=f"{words} {organ_id} {n}".encode())
        book.keep_recording(kept.id, source, a_walk(*holds), program_version="0")
    book.keep_plan(kept.id, a_plan(*range(1, 40)))
    book.close_visit(kept.id)


def main() -> None:
    """Build, take along, work in both, bring back, print the table."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        home, away = folder / "home", folder / "away"
        book = open_book.new(home)
        clock = iter(DAY + timedelta(minutes=n) for n in range(10**6))
        book._clock = lambda: next(clock)  # noqa: SLF001 - years of visits in a minute
        organs = [
            book.add_organ(f"Organ {n}", DESCRIPTION.replace("Harbour Hall", f"Organ {n}")).id
            for n in range(ORGANS)
        ]

        def write() -> None:
            for n in range(VISITS):
                for organ in organs:
                    visit(book, organ, folder, f"{n}")

        wrote_s = cost_s(write)
        book.close()
        readings = ORGANS * VISITS * RECORDINGS * KEYS * PIPES
        rows = [("write it all, as recordings come", readings, wrote_s)]
        rows.append(("take it all along", readings, cost_s(lambda: take_along(home, away))))
        with open_book.opened(away) as other:
            one = cost_s(lambda: visit(other, 1, folder, "away"))
        of_one = RECORDINGS * KEYS * PIPES
        rows += [
            ("write one visit", of_one, one),
            ("bring back one visit, dry run", of_one,
             cost_s(lambda: bring_back(away, home, dry_run=True))),
            ("bring back one visit", of_one, cost_s(lambda: bring_back(away, home))),
            ("bring it back again: nothing", 0, cost_s(lambda: bring_back(away, home))),
        ]  # fmt: skip
        print(f"{ORGANS} organs, {ORGANS * VISITS} visits, {readings} readings,"
              f" {(home / DATABASE).stat().st_size / 1e6:.0f} MB\n")  # fmt: skip
        print("| what | readings | s |\n| --- | ---: | ---: |")
        for what, count, seconds in rows:
            print(f"| {what} | {count} | {seconds:.2f} |")
