"""From sound to screen: how old a live reading is when it is painted, on a phone and two more.

A recording is played to the desk by the clock, three browsers show it, one of them as a phone. Each
reading says when its newest sample was heard, by the clock on the wall; the page says when it was
painted, by the same machine's clock. Asked: 95 % under 150 ms, 20 updates a second with three
clients, the server under half of one core, its memory flat.
Run: python -m bench live_link
"""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from pathlib import Path

import numpy as np
from playwright.sync_api import Page, sync_playwright
from tests.desk.books import make_book
from tests.desk.conftest import Server
from tests.desk.live_playing import open_tasks, play, write
from tests.desk.looking import LAPTOP, PHONE

from walkboard.organ import examples

SECONDS = 60.0
WARM_S = 5.0
# Once a picture: the newest reading that is shown, as the page has it then.
_WATCH = """() => import("/static/measured.js").then(({ newest }) => {
  window.painted = [];
  let n = -1;
  const paint = () => {
    const update = newest();
    if (update?.on && update.n !== n && update.cents !== null) {
      n = update.n;
      window.painted.push([update.n, Date.now() - update.heard_ms]);
    }
    requestAnimationFrame(paint);
  };
  requestAnimationFrame(paint);
})"""


def spent_s(process: int) -> float:
    """Processor time of a process so far [s] (proc(5), fields 14 and 15 of stat)."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def memory_mb(process: int) -> float:
    """Resident memory of a process [MB] (proc(5), field 2 of statm)."""
    pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def main() -> None:
    with tempfile.TemporaryDirectory() as temporary, sync_playwright() as playwright:
        book = Path(temporary) / "village"
        make_book(book, examples.village(), visits=1)
        server = Server(book)
        server.start()
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox"]
        )
        try:
            task = open_tasks(server)[0]
            sound = write(Path(temporary) / "one.wav", (task, 7.0, SECONDS + 30.0))
            pages: list[tuple[str, Page]] = []
            for name, size in (("phone", PHONE), ("phone 2", PHONE), ("laptop", LAPTOP)):
                page = browser.new_page(viewport=size)  # type: ignore[arg-type]
                page.goto(f"{server.address}/organ/1/pipe")
                page.wait_for_selector("html[data-link=fresh]")
                pages.append((name, page))
            play(pages[0][1], server, sound)
            pages[0][1].wait_for_timeout(1000.0 * WARM_S)
            for _, page in pages:
                page.evaluate(_WATCH)
            before_s, before_mb, begun_s = (
                spent_s(server.pid),
                memory_mb(server.pid),
                time.monotonic(),
            )
            pages[0][1].wait_for_timeout(1000.0 * SECONDS)
            took_s = time.monotonic() - begun_s
            share = (spent_s(server.pid) - before_s) / took_s
            print("| client | readings painted a second | median ms | 95 % ms | numbers missed |")
            print("| --- | --- | --- | --- | --- |")
            for name, page in pages:
                painted = np.array(page.evaluate("window.painted"), dtype=float)
                numbers, late_ms = painted[:, 0], painted[:, 1]
                missed = 1.0 - len(numbers) / (numbers[-1] - numbers[0] + 1.0)
                print(
                    f"| {name} | {len(late_ms) / took_s:.1f} | {np.median(late_ms):.0f} |"
                    f" {np.quantile(late_ms, 0.95):.0f} | {missed:.1%} |"
                )
            print(
                f"server: {share:.0%} of a core, {before_mb:.0f} MB at the start,"
                f" {memory_mb(server.pid):.0f} MB after {took_s:.0f} s;"
                f" load {os.getloadavg()[0]:.1f}"
            )
        finally:
            browser.close()
            server.stop()


if __name__ == "__main__":
    main()
