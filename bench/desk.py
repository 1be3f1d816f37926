"""How fast the desk is on the hall of 2,500 pipes: the first page, each page, and its size.

The time of the processor is beside each time on the clock, and so is what importing numpy takes:
on the machine of the other studies that is 0.18 s (a quiet laptop), so a share of the two compares.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from urllib.error import HTTPError, URLError
from urllib.request import Request, urlopen

import psutil
from tests.desk.books import make_book

from walkboard.book.opening import open_book
from walkboard.book.records import Tick
from walkboard.desk.server.early_page import FILE
from walkboard.organ import examples
from walkboard.organ.model import PipeRef
from walkboard.work.open_book import now

PAGES = (
    "/organ/1",
    "/organ/1/rank/great.principal8",
    "/organ/1/rank/swell.oboe8?pipe=20",
    "/organ/1/description",
    "/organ/1/visit",
    "/organ/1/visit/listen",
    "/organ/1/visit/plan",
    "/organ/1/visit/work",
    "/organ/1/pipe",
    "/organ/1/holding",
    "/organ/1/faults",
    "/organ/1/calendar",
    "/organ/1/book",
    "/organ/1/book/visit/2",
    "/organs",
    "/sharing",
)
PORT = 8790
TIMES = 9
STARTS = 5
_COMMAND = "from walkboard.cli.start import start; start()"


@dataclass(frozen=True)
class Start:
    """What a start took to the first page and to the whole desk, by clock and processor [s]."""

    first_s: float
    first_processor_s: float
    whole_s: float
    whole_processor_s: float


def get(address: str, **headers: str) -> tuple[float, bytes]:
    begun = time.perf_counter()
    with urlopen(
        Request(address, headers={"Accept": "text/html", **headers}), timeout=60
    ) as response:
        text: bytes = response.read()
    return time.perf_counter() - begun, text


def waited_for(desk: subprocess.Popen[bytes], path: str, **headers: str) -> bytes:
    while True:
        try:
            return get(f"http://127.0.0.1:{PORT}{path}", **headers)[1]
        except HTTPError as error:
            raise SystemExit(f"{path} answers {error.code}") from None
        except (URLError, ConnectionError):
            if desk.poll() is not None:
                raise SystemExit("the desk did not start") from None
            time.sleep(0.005)


def processor_s(desk: subprocess.Popen[bytes]) -> float:
    spent = psutil.Process(desk.pid).cpu_times()
    return float(spent.user + spent.system)


def started(folder: Path, *, expected: bytes) -> tuple[subprocess.Popen[bytes], Start]:
    """Start the desk; its first page must hold what is `expected`."""
    begun = time.perf_counter()
    desk = subprocess.Popen(
        [sys.executable, "-c", _COMMAND, "desk", str(folder), "--port", str(PORT)],
        stdout=subprocess.DEVNULL,
    )
    try:
        text = waited_for(desk, "/organ/1")
        first_s, first_processor_s = time.perf_counter() - begun, processor_s(desk)
        assert expected in text, "the first page is not that which was to be measured"
        waited_for(desk, "/organs")
        waited_for(desk, "/organ/1", **{"Walkboard-Part": "1"})
        whole = time.perf_counter() - begun, processor_s(desk)
    except BaseException:
        stopped(desk)
        raise
    return desk, Start(first_s, first_processor_s, *whole)


def stopped(desk: subprocess.Popen[bytes]) -> None:
    desk.terminate()
    desk.wait()


def numpy_s() -> float:
    code = "import time; t = time.process_time(); import numpy; print(time.process_time() - t)"
    asked = [sys.executable, "-c", code]
    outputs = [subprocess.run(asked, capture_output=True, check=True).stdout for _ in range(3)]
    return statistics.median(float(text) for text in outputs)


def starts(folder: Path) -> None:
    """Print how long starts take: with the page that was kept, and without one."""

    def forget() -> None:
        (folder / FILE).unlink()

    kinds: tuple[tuple[str, bytes, Callable[[], None]], ...] = (
        ("the page that was kept", b'class="ranks"', lambda: None),
        ("no page kept: its frame", b'class="coming"', forget),
    )
    print(f"importing numpy: {numpy_s():.2f} s of the processor\n")
    print(
        f"| first page, medians of {STARTS} | on the clock s | processor s | whole desk, clock s "
        "| processor s |\n" + "| --- " * 5 + "|"
    )
    desk, _ = started(folder, expected=b"")  # keeps the page when it ends
    stopped(desk)
    for words, expected, before in kinds:
        found = []
        for _ in range(STARTS):
            before()
            desk, start = started(folder, expected=expected)
            stopped(desk)
            found.append(start)
        row = [
            statistics.median(getattr(start, name) for start in found)
            for name in ("first_s", "first_processor_s", "whole_s", "whole_processor_s")
        ]
        print(f"| {words} | " + " | ".join(f"{value:.2f}" for value in row) + " |", flush=True)


def pages(folder: Path) -> None:
    """Print how long each page takes: first, again, and after a tick; the slowest are the last."""
    desk, _ = started(folder, expected=b"")
    print(
        "\n| page | first ms | processor ms | median ms | after a tick ms | processor ms | kB |\n"
        + "| --- " * 7
        + "|"
    )
    try:
        with open_book(folder, clock=now) as book:
            for number, path in enumerate(PAGES, start=1):
                address = f"http://127.0.0.1:{PORT}{path}"
                spent = processor_s(desk)
                cold, text = get(address)
                cold_processor = processor_s(desk) - spent
                warm = statistics.median(get(address)[0] for _ in range(TIMES))
                pipe = PipeRef("great.principal8", number)
                book.set_tick(Tick(f"bench-{number}-{time.time_ns()}", 3, pipe, "done", "", now()))
                spent = processor_s(desk)
                ticked, _ = get(address)
                print(
                    f"| {path} | {1e3 * cold:.0f} | {1e3 * cold_processor:.0f} "
                    f"| {1e3 * warm:.0f} | {1e3 * ticked:.0f} "
                    f"| {1e3 * (processor_s(desk) - spent):.0f} | {len(text) / 1e3:.0f} |",
                    flush=True,
                )
    finally:
        stopped(desk)


def main() -> None:
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / "hall"
        make_book(folder, examples.hall())
        starts(folder)
        pages(folder)


if __name__ == "__main__":
    main()
