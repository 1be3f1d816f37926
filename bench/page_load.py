"""Time to the first byte and to the whole page in Chromium, for a young book and one of 60 visits.

The limits that are asked: 60 ms to the first byte, 400 ms to the load event, at the 95th percentile
of all pages together, on an idle machine. The machine's load stands beside the table.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

import numpy as np
from playwright.sync_api import Browser, sync_playwright
from tests.desk.books import make_book

from bench.desk import PAGES, PORT, started, stopped
from walkboard.organ import examples

VISITS = (3, 60)
TIMES = int(os.environ.get("TIMES", "12"))
FIRST_BYTE_MS, LOAD_MS = 60.0, 400.0
_TIMING = """() => {
  const [at] = performance.getEntriesByType("navigation");
  return [at.responseStart - at.requestStart, at.loadEventEnd - at.startTime];
}"""


def measured(browser: Browser, path: str) -> np.ndarray:
    """Reload one page so many times: first byte and load [ms], of shape (TIMES, 2)."""
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    rows = []
    for _ in range(TIMES + 1):  # the first fills the browser's cache, and the desk's
        page.goto(f"http://127.0.0.1:{PORT}{path}", wait_until="load")
        page.wait_for_function("performance.getEntriesByType('navigation')[0].loadEventEnd > 0")
        rows.append(page.evaluate(_TIMING))
    context.close()
    return np.array(rows[1:])


def study(browser: Browser, folder: Path, visits: int) -> None:
    """Print a row for each page and one for all of them."""
    desk: subprocess.Popen[bytes]
    desk, _ = started(folder, expected=b"")
    found = []
    last = f"/organ/1/book/visit/{visits}"
    try:
        for path in [last if "/book/visit/" in page else page for page in PAGES]:
            times = measured(browser, path)
            found.append(times)
            row(visits, path, times)
    finally:
        stopped(desk)
    row(visits, "all pages", np.concatenate(found))


def row(visits: int, what: str, times: np.ndarray) -> None:
    half, most = np.percentile(times, (50, 95), axis=0)
    load = os.getloadavg()[0]
    print(
        f"| {visits} | {what} | {half[0]:.0f} | {most[0]:.0f} | {half[1]:.0f} | {most[1]:.0f} "
        f"| {load:.1f} |",
        flush=True,
    )


def main() -> None:
    chromium = shutil.which("chromium")
    if chromium is None:
        raise SystemExit("chromium is not installed")
    print(
        f"asked: {FIRST_BYTE_MS:.0f} and {LOAD_MS:.0f} ms at 95 %; {TIMES} loads a page\n\n"
        "| visits | page | first byte, median ms | 95 % | load, median ms | 95 % | load of machine "
        "|\n" + "| --- " * 7 + "|"
    )
    with tempfile.TemporaryDirectory() as temporary, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for visits in VISITS:
            folder = Path(temporary) / f"hall-{visits}"
            make_book(folder, examples.hall(), visits=visits)
            study(browser, folder, visits)
        browser.close()


if __name__ == "__main__":
    main()
