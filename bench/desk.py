"""How fast the desk is on the hall of 2,500 pipes: the first page, each page, and its size."""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from urllib.error import HTTPError, URLError
from urllib.request import Request, urlopen

import psutil
from tests.desk.books import make_book

from walkboard.book.opening import open_book
from walkboard.book.records import Tick
from walkboard.organ import examples
from walkboard.organ.model import PipeRef
from walkboard.work.keeping import now

PAGES = (
    "/organ/1",
    "/organ/1/rank/great.principal8",
    "/organ/1/rank/great.principal8?pipe=20",
    "/organ/1/description",
    "/organs",
    "/sharing",
)
PORT = 8790
TIMES = 9


def get(address: str) -> tuple[float, int]:
    begun = time.perf_counter()
    with urlopen(Request(address, headers={"Accept": "text/html"}), timeout=30) as answer:
        size = len(answer.read())
    return time.perf_counter() - begun, size


def first_page(folder: Path) -> tuple[subprocess.Popen[bytes], float, float]:
    """Start the desk and wait for its first page [s], and what that took of the processor [s]."""
    begun = time.perf_counter()
    command = "from walkboard.cli.main import main; main()"
    desk = subprocess.Popen(
        [sys.executable, "-c", command, "desk", str(folder), "--port", str(PORT)],
        stdout=subprocess.DEVNULL,
    )
    while True:
        try:
            get(f"http://127.0.0.1:{PORT}/organ/1")
        except HTTPError as error:
            desk.terminate()
            raise SystemExit(f"the first page answers {error.code}") from None
        except (URLError, ConnectionError):
            if desk.poll() is not None:
                raise SystemExit("the desk did not start") from None
            time.sleep(0.01)
        else:
            spent = psutil.Process(desk.pid).cpu_times()
            return desk, time.perf_counter() - begun, spent.user + spent.system


def main() -> None:
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / "hall"
        make_book(folder, examples.hall())
        firsts = []
        for _ in range(3):
            desk, first_s, processor_s = first_page(folder)
            firsts.append(f"{first_s:.2f} s ({processor_s:.2f} s of the processor)")
            if len(firsts) < 3:
                desk.terminate()
                desk.wait()
        print(f"first page after the command: {', '.join(firsts)}\n")
        get(f"http://127.0.0.1:{PORT}/organ/1")
        print("| page | first ms | median ms | after a tick ms | kB |\n" + "| --- " * 5 + "|")
        try:
            with open_book(folder, clock=now) as book:
                for number, path in enumerate(PAGES, start=1):
                    address = f"http://127.0.0.1:{PORT}{path}"
                    cold, size = get(address)
                    warm = statistics.median(get(address)[0] for _ in range(TIMES))
                    pipe = PipeRef("great.principal8", number)
                    book.set_tick(Tick(f"bench-{number}", 3, pipe, "done", "", now()))
                    ticked, _ = get(address)
                    print(
                        f"| {path} | {1e3 * cold:.0f} | {1e3 * warm:.0f} | {1e3 * ticked:.0f} "
                        f"| {size / 1e3:.0f} |"
                    )
        finally:
            desk.terminate()
            desk.wait()


if __name__ == "__main__":
    main()
