"""A firm's book of 300 and 600 organs beside one of a single organ: every page, the first answer.

Each page is asked for in this process, so that the statements to the database are counted: the
first time, again, after a tick on another organ, and after a tick on its own. Times are of the
processor. Run: python -m bench size, or with sizes: SIZE=1,30 VISITS=40.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Engine, event
from starlette.testclient import TestClient

from bench._firm import make_firm
from walkboard.book.files.folder import DATABASE
from walkboard.book.records import Tick, TickState
from walkboard.organ.model import PipeRef
from walkboard.work import open_book

SIZES = tuple(int(n) for n in os.environ.get("SIZE", "1,300,600").split(","))
VISITS = int(os.environ.get("VISITS", "40"))
PAGES = (
    "/organs",
    "/organ/1",
    "/organ/1/rank/{rank}",
    "/organ/1/rank/{rank}?pipe=20",
    "/organ/1/visit",
    "/organ/1/visit/listen",
    "/organ/1/visit/plan",
    "/organ/1/faults",
    "/organ/1/calendar",
    "/organ/1/book",
    "/organ/1/air",
    "/organ/1/guide",
    "/organ/1/book/visit/2",
    "/round",
)
_asked = Counter[str]()


@event.listens_for(Engine, "before_cursor_execute")
def _count(*_: object) -> None:
    _asked["statements"] += 1


def cost(ask: Callable[[], object]) -> tuple[float, int]:
    """Processor time [ms] and statements."""
    before, at_s = _asked.total(), time.process_time()
    ask()
    return 1000.0 * (time.process_time() - at_s), _asked.total() - before


def main() -> None:
    """Build each book, ask for every page, print the table."""
    for organs in SIZES:
        with tempfile.TemporaryDirectory() as temporary:
            folder = Path(temporary) / "book"
            at_s = time.perf_counter()
            make_firm(folder, organs, VISITS)
            size_mb = (folder / DATABASE).stat().st_size / 1e6
            print(
                f"\n{organs} organs with {VISITS} visits: {size_mb:.0f} MB,"
                f" made in {time.perf_counter() - at_s:.0f} s\n",
                flush=True,
            )
            study(folder, organs)
            newest_values(folder)


def newest_values(folder: Path) -> None:
    """Each pipe's newest value, of one organ and of all."""
    with open_book.opened(folder) as book:
        rows = (
            ("newest value of each pipe of an organ, from the readings", lambda: book.pipes_now(1)),
            ("the same, as kept", lambda: book.pipes_now(1)),
            ("all pipes more than 5 cents off, from the readings", lambda: book.pipes_off(5.0)),
            ("the same, as kept", lambda: book.pipes_off(5.0)),
        )
        for words, ask in rows:
            ms, statements = cost(ask)
            print(f"{words}: {ms:.0f} ms, {statements} statements", flush=True)


def study(folder: Path, organs: int) -> None:
    """A row for each page."""
    from walkboard.desk.server.application import make_application

    at_s = time.process_time()
    application = make_application(folder)
    desk = application.state.desk
    with TestClient(application, base_url="http://127.0.0.1", client=("127.0.0.1", 5)) as client:
        client.get("/organs").raise_for_status()
        print(f"first answer (the list of organs) {1000 * (time.process_time() - at_s):.0f} ms")
        desk.is_warm.wait()
        time.sleep(3.0)  # what the desk does in the background would be counted too
        rank = next(iter(desk.book.last_heard(1)))
        print("| page | first | again | after a tick on another organ | on its own |")
        print("| --- | --- | --- | --- | --- |")
        for page in PAGES:
            address = page.format(rank=rank)

            def ask(address: str = address) -> None:
                answer = client.get(address)
                assert answer.status_code < 400, (address, answer.status_code)

            cells = [cost(ask), cost(ask)]
            tick(desk.book, organs, f"{page} other")
            cells.append(cost(ask))
            tick(desk.book, 1, f"{page} own")
            cells.append(cost(ask))
            words = " | ".join(f"{ms:.0f} ms, {n}" for ms, n in cells)
            print(f"| {page} | {words} |", flush=True)


def tick(book: object, organ_id: int, uid: str) -> None:
    """A pipe of an organ's open visit is tuned."""
    from walkboard.book.cache.seen import SeenBook

    assert isinstance(book, SeenBook)
    visit = book.visit_in_progress(organ_id)
    assert visit is not None
    pipe = PipeRef(next(iter(book.last_heard(organ_id))), 3)
    book.set_tick(Tick(uid, visit.id, pipe, TickState.DONE.value, "", datetime.now(UTC)))
