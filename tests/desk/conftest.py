"""The desk in a browser: a server with a book of the village organ, and Debian's Chromium."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from urllib.request import urlopen

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Request, sync_playwright

from tests.desk.books import make_book
from tests.desk.looking import LAPTOP, PHONE
from walkboard.organ import examples
from walkboard.organ.reading import read_organ
from walkboard.work import keeping

CHROMIUM = shutil.which("chromium")
ROOT = Path(__file__).resolve().parents[2]


@dataclass
class Server:
    """A desk that runs in a process of its own.

    Attributes
    ----------
    book : Path
    port : int
        The same after a restart.
    """

    book: Path
    port: int = 0
    process: subprocess.Popen[str] | None = field(default=None, repr=False)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        module = "tests.desk.serving"
        self.process = subprocess.Popen(
            [sys.executable, "-m", module, str(self.book), str(self.port)],
            cwd=ROOT,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line.startswith("http://"), line
        self.port = int(line.rstrip("/\n").rpartition(":")[2])
        with urlopen(f"{self.address}/organs", timeout=20) as answer:
            assert answer.status == 200

    def stop(self) -> None:
        if self.process is not None:
            self.process.send_signal(signal.SIGTERM)
            self.process.wait(timeout=20)
            assert self.process.stdout is not None
            self.process.stdout.close()
            self.process = None


@pytest.fixture(scope="session")
def village_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a book with three visits to the village organ; copy it before changing it."""
    folder = tmp_path_factory.mktemp("desk") / "village"
    make_book(folder, examples.village())
    return folder


@pytest.fixture(scope="session")
def server(village_book: Path) -> Iterator[Server]:
    """A desk for tests that change nothing that others read."""
    running = Server(village_book)
    running.start()
    yield running
    running.stop()


@pytest.fixture(scope="session")
def empty_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A desk of a book that has an organ and nothing else; for reading only."""
    folder = tmp_path_factory.mktemp("empty") / "book"
    with keeping.new(folder) as book:
        description = examples.village()
        book.add_organ(read_organ(description).name, description)
    running = Server(folder)
    running.start()
    yield running
    running.stop()


@pytest.fixture(scope="module")
def own_server(village_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A desk of the module's own, to write into its book and to start again."""
    folder = tmp_path_factory.mktemp("own") / "book"
    shutil.copytree(village_book, folder)
    running = Server(folder)
    running.start()
    yield running
    running.stop()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if CHROMIUM is None:
        pytest.skip("Debian's chromium is not installed: the pages are not tried in a browser")
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu"],
        )
        yield launched
        launched.close()


Open = Callable[..., Page]


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Open]:
    """Opens an address in a window of its own; fails on any foreign request or script error.

    Parameters of the opener: address, size (`LAPTOP` or `PHONE`), look (``light`` or ``dark``).
    """
    contexts: list[BrowserContext] = []
    troubles: list[str] = []

    def opening(
        address: str, *, size: dict[str, int] = LAPTOP, look: str = "light", wait: bool = True
    ) -> Page:
        context = browser.new_context(
            viewport=size,  # type: ignore[arg-type]
            color_scheme=look,  # type: ignore[arg-type]
            has_touch=size is PHONE,
            reduced_motion="reduce",
        )
        contexts.append(context)
        page = context.new_page()
        home = address.split("/", 3)[2]

        def seen(request: Request) -> None:
            if not request.url.startswith((f"http://{home}/", "data:", "blob:")):
                troubles.append(f"asked {request.url}")

        page.on("request", seen)
        page.on("pageerror", lambda error: troubles.append(f"script: {error}"))
        page.on(
            "console",
            lambda said: (
                troubles.append(f"console: {said.text}")
                if "Content Security Policy" in said.text
                else None
            ),
        )
        page.goto(address)
        if wait:
            wait_until_fresh(page)
        return page

    yield opening
    for context in contexts:
        context.close()
    assert not troubles, troubles


def wait_until_fresh(page: Page, within_s: float = 10.0) -> None:
    """Wait until the page has its link to the desk."""
    page.wait_for_selector("html[data-link=fresh]", timeout=1000.0 * within_s)


def eventually(what: Callable[[], bool], within_s: float = 30.0) -> None:
    """Wait for something that another process does."""
    ends = time.monotonic() + within_s
    while not what():
        assert time.monotonic() < ends, "it did not happen"
        time.sleep(0.02)
