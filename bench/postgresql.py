"""A book on a PostgreSQL server a millisecond away: pages, and four writers whom death interrupts.

``python -m bench postgresql`` does both; ``WRITES=1000`` makes fewer ticks than 10,000.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import random
import re
import socket
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from ctypes import c_int64
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient
from tests.desk.books import make_book
from tests.postgresql import Server, installed, programs, started

from bench.desk import PAGES
from walkboard.book.cache.seen import open_seen
from walkboard.book.importing import import_book
from walkboard.book.opening import connect_book, open_book
from walkboard.book.records import Tick
from walkboard.desk.server.application import make_application
from walkboard.errors import BookError
from walkboard.organ import examples
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.work.open_book import now

LATENCY_S = 0.001
TIMES = 5
WRITERS = 4
WRITES = int(os.environ.get("WRITES", "10000"))
SERVER_KILLED_EACH_S = 5.0
FIRST_TICK = datetime(2031, 3, 1, 9, 0, tzinfo=UTC)


class Line:
    """A loopback port whose every message towards the server takes a millisecond; counts them.

    A message is answered at once, so that a round trip takes the millisecond. It runs in its own
    process, so that it does not take turns with what is measured.
    """

    def __init__(self, server: Server) -> None:
        self._trips: Any = multiprocessing.Value(c_int64, 0)
        ready: Any = multiprocessing.Queue()
        self._process = multiprocessing.Process(
            target=_carry, args=(str(server.folder), self._trips, ready), daemon=True
        )
        self._process.start()
        self.port: int = ready.get()

    def address(self, database: str) -> str:
        return f"postgresql://walkboard@127.0.0.1:{self.port}/{database}"

    @property
    def trips(self) -> int:
        return int(self._trips.value)

    def close(self) -> None:
        self._process.terminate()
        self._process.join()


def _carry(folder: str, trips: Any, ready: Any) -> None:
    listening = socket.create_server(("127.0.0.1", 0))
    ready.put(listening.getsockname()[1])
    while True:
        client, _ = listening.accept()
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        server = socket.socket(socket.AF_UNIX)
        server.connect(f"{folder}/.s.PGSQL.5432")
        for source, target, is_asked in ((client, server, True), (server, client, False)):
            arguments = (source, target, trips if is_asked else None)
            threading.Thread(target=_pass_on, args=arguments, daemon=True).start()


def _pass_on(source: socket.socket, target: socket.socket, trips: Any) -> None:
    with suppress(OSError):
        while chunk := source.recv(1 << 16):
            if trips is not None:
                time.sleep(LATENCY_S)
                trips.value += 1
            target.sendall(chunk)
    for end in (source, target):
        with suppress(OSError):
            end.shutdown(socket.SHUT_RDWR)


@contextmanager
def desk_of(folder: Path) -> Iterator[TestClient]:
    """A desk whose book has been asked nothing, with its templates and connections there."""
    application = make_application(folder)
    client = TestClient(application, base_url="http://127.0.0.1:8790", client=("127.0.0.1", 50_000))
    application.state.desk.is_warm.set()  # nothing is worked out before: each page does it itself
    client.get("/sharing")
    yield client
    application.state.desk.book.close()


def get_ms(client: TestClient, page: str) -> tuple[float, float]:
    """By the clock and of the processor [ms]."""
    begun, worked = time.perf_counter(), time.process_time()
    answer = client.get(page, headers={"Accept": "text/html"})
    taken = 1000.0 * (time.perf_counter() - begun), 1000.0 * (time.process_time() - worked)
    assert answer.status_code == 200, (page, answer.status_code)
    return taken


def pages(server: Server, line: Line, place: Path) -> None:
    """Each page cold and warm: round trips, time, and how much of it the processor worked."""
    make_book(place / "file", examples.village())
    with open_book(place / "file", clock=now) as book:
        book.export_json(place / "book.json")
    address = server.new_database()
    import_book(place / "book.json", place / "first", clock=now, address=address).close()
    name = address.rpartition("/book_")[2].partition("?")[0]
    far = place / "far"
    connect_book(far, line.address(f"book_{name}"), clock=now).close()
    print(f"{'page':34} cold: trips     ms  processor   warm: trips     ms  processor")
    ranks = [rank.id for rank in read_organ(examples.village()).ranks]
    # The village has other ranks than the hall.
    for page in (re.sub(r"(?<=rank/)[^?]*", ranks[0], page) for page in PAGES):
        with desk_of(place / "file") as client:
            get_ms(client, page)  # so that the program is loaded, which a server's desk does once
        with desk_of(far) as client:
            before = line.trips
            cold_ms, cold_processor_ms = get_ms(client, page)
            cold = line.trips - before
            get_ms(client, page)
            before = line.trips
            each = [get_ms(client, page) for _ in range(TIMES)]
            warm = (line.trips - before) / TIMES
        warm_ms, warm_processor_ms = (statistics.median(one) for one in zip(*each, strict=True))
        print(
            f"{page:34} {cold:10.0f} {cold_ms:6.0f} {cold_processor_ms:10.0f} {warm:13.1f}"
            f" {warm_ms:6.1f} {warm_processor_ms:10.1f}",
            flush=True,
        )


def write(folder: Path, visit_id: int, writer: int, numbers: tuple[int, int], kept: Path) -> None:
    """Tick from the first number on; note each number once the book has reported it kept."""
    with kept.open("a") as notes:
        number, last = numbers
        while number < last:
            try:
                with open_book(folder, clock=now, wait_s=10.0) as book:
                    while number < last:
                        pipe = PipeRef(f"great.open{writer}", 1 + number % 61)
                        uid = f"{writer}-{number}"
                        at = FIRST_TICK + timedelta(seconds=number)  # sent again, it is the same
                        book.set_tick(Tick(uid, visit_id, pipe, "done", "", at, f"w{writer}"))
                        notes.write(f"{uid}\n")
                        notes.flush()
                        number += 1
            except BookError:
                time.sleep(0.05)  # the server is being started again; the same tick is sent again


def writers(place: Path) -> None:
    """Four processes tick one visit; each is killed now and then, and the server too.

    The server ends as in a crash and recovers from its log. Beside them a book that remembers, as
    the desk's, is asked for all that was reported as kept before.
    """
    by_disk = {"fsync": "on", "synchronous_commit": "on", "full_page_writes": "on"}
    chance = random.Random(18)
    with installed() as server:
        with server.running(**by_disk):
            folder = server.empty_book(place / "many")
            with open_book(folder, clock=now) as book:
                organ = book.add_organ("Harbour Hall", examples.village())
                visit = book.open_visit(organ.id, "all hands")
        each = WRITES // WRITERS
        notes = [place / f"kept-{writer}" for writer in range(WRITERS)]
        for file in notes:
            file.touch()
        client_kills = server_kills = 0
        running: dict[int, Any] = {}
        begun = time.perf_counter()
        stale = 0
        while any(_count(file) < each for file in notes):
            with (
                server.running(**by_disk),
                suppress(BookError),
                open_seen(folder, clock=now) as desk,
            ):
                until = time.perf_counter() + SERVER_KILLED_EACH_S
                while time.perf_counter() < until and any(_count(f) < each for f in notes):
                    for writer, file in enumerate(notes):
                        done = _count(file)
                        if done < each and (
                            writer not in running or not running[writer].is_alive()
                        ):
                            running[writer] = multiprocessing.Process(
                                target=write, args=(folder, visit.id, writer, (done, each), file)
                            )
                            running[writer].start()
                    time.sleep(0.3)
                    reported = {line for file in notes for line in whole_lines(file)}
                    stale += len(reported - {tick.uid for tick in desk.ticks(visit.id)})
                    victim = running.get(chance.randrange(WRITERS))
                    if victim is not None and victim.is_alive() and chance.random() < 0.3:
                        victim.kill()
                        victim.join()
                        client_kills += 1
            server_kills += any(_count(f) < each for f in notes)
        for one in running.values():
            one.join()
        taken_s = time.perf_counter() - begun
        with server.running(**by_disk), open_book(folder, clock=now) as book:
            there = {tick.uid for tick in book.ticks(visit.id)}
            twice = len(book.ticks(visit.id)) - len(there)
        reported = {line for file in notes for line in whole_lines(file)}
    print(
        f"{WRITERS} writers, {len(reported)} ticks reported as kept in {taken_s:.0f} s,"
        f" {client_kills} clients and {server_kills} servers killed:"
        f" {len(reported - there)} lost, {twice} kept twice, {stale} stale"
    )


def whole_lines(file: Path) -> list[str]:
    return file.read_text().rpartition("\n")[0].split()


def _count(file: Path) -> int:
    return file.read_text().count("\n")


def main() -> None:
    assert programs() is not None, "PostgreSQL's server is not installed"
    with tempfile.TemporaryDirectory() as folder:
        with started() as server:
            line = Line(server)
            try:
                pages(server, line, Path(folder))
            finally:
                line.close()
        writers(Path(folder))
    print(json.dumps({"latency_ms": 1000.0 * LATENCY_S}))
