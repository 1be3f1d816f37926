"""A phone that sleeps 90 s, a link that stalls 15 s, a restart: how soon a page is fresh again."""

from __future__ import annotations

import os
import shutil
import signal
import tempfile
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page, sync_playwright
from tests.desk.books import make_book
from tests.desk.conftest import Server, eventually
from tests.desk.live.test_hub import _WATCH, renderers

from walkboard.organ import examples

ASLEEP_S, STALLED_S = 90.0, 15.0


def fresh_after(page: Page, since_ms: float) -> float:
    """Until the first picture that is fresh after an instant [ms]."""
    script = "s => (window.pictures.find(p => p[0] >= s && p[2] === 'fresh') ?? [0])[0]"
    eventually(lambda: page.evaluate(script, since_ms) > 0)
    return float(page.evaluate(script, since_ms)) - since_ms


def oldest_fresh(page: Page) -> float:
    """Age of the oldest value that any picture showed as fresh [ms]."""
    pictures: list[list[Any]] = page.evaluate("window.pictures")
    return max(float(p[0] - p[1]) for p in pictures if p[2] == "fresh")


def watched(browser: Browser, server: Server) -> Page:
    page = browser.new_page()
    page.goto(f"{server.address}/clock")
    page.wait_for_selector("html[data-link=fresh]")
    page.evaluate(_WATCH)
    eventually(lambda: page.evaluate("window.pictures.length") > 20)
    return page


def main() -> None:
    with tempfile.TemporaryDirectory() as temporary, sync_playwright() as playwright:
        book = Path(temporary) / "village"
        make_book(book, examples.village(), visits=1)
        server = Server(book)
        server.start()
        chromium = shutil.which("chromium")
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        print(
            "| what | fresh again after ms | oldest value shown as fresh ms |\n| --- | --- | --- |"
        )
        try:
            page = watched(browser, server)
            asleep = renderers(browser)
            for process in asleep:
                os.kill(process, signal.SIGSTOP)
            time.sleep(ASLEEP_S)
            woken_ms = 1e3 * time.time()
            for process in asleep:
                os.kill(process, signal.SIGCONT)
            row("renderer stopped 90 s", page, woken_ms)
            page = watched(browser, server)
            server.signal(signal.SIGSTOP)
            time.sleep(STALLED_S)
            woken_ms = 1e3 * time.time()
            server.signal(signal.SIGCONT)
            row("server silent 15 s", page, woken_ms)
            page = watched(browser, server)
            server.stop()
            server.start()
            row("server started again", page, 1e3 * time.time())
        finally:
            browser.close()
            server.stop()


def row(what: str, page: Page, since_ms: float) -> None:
    print(f"| {what} | {fresh_after(page, since_ms):.0f} | {oldest_fresh(page):.0f} |", flush=True)
    page.close()


if __name__ == "__main__":
    main()
