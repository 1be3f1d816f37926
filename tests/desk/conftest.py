"""The desk in a browser: a server with a book of the village organ, and Debian's Chromium."""

from __future__ import annotations

import multiprocessing
import os
import re
import shutil
import signal
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from multiprocessing.process import BaseProcess
from pathlib import Path
from urllib.request import urlopen

import anyio
import httpx2
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Request

from tests.browser import close
from tests.desk import serving
from tests.desk.books import make_book
from tests.desk.looking import LAPTOP, PHONE
from walkboard.desk.frame.pairing import COOKIE
from walkboard.organ import examples
from walkboard.organ.reading import read_organ
from walkboard.work import open_book

# anyio loads its parts when they are first used, and pytest rewrites them: deep in a call, beside
# the browser's loop, that fails in Python 3.11 ("AST constructor recursion depth mismatch").
anyio.open_file  # noqa: B018
# Every desk is a process of its own, forked from one that has loaded what a desk loads: that takes
# longer than most of what is tried on it.
_SERVERS = multiprocessing.get_context("forkserver")
_SERVERS.set_forkserver_preload(["tests.desk.serving", "walkboard.book.cache.seen"])


@dataclass
class Server:
    """A desk that runs in its own process.

    Attributes
    ----------
    book : Path
    port : int
        The same after a restart.
    is_shared : bool
        Whether paired devices find it at an address of their own.
    """

    book: Path
    port: int = 0
    is_shared: bool = True
    process: BaseProcess | None = field(default=None, repr=False)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def for_phones(self) -> str:
        """Where paired devices find it."""
        return f"http://{serving.FOR_PHONES}:{self.port}"

    def pair(self, name: str) -> tuple[str, str]:
        """Pair a device by the code that the desk shows; gives its cookie."""
        with httpx2.Client(follow_redirects=False) as asking:
            shown = asking.post(f"{self.address}/sharing/code").text
            letters = re.search(r'class="letters"[^>]*>([^<]+)<', shown)
            assert letters is not None
            answer = asking.post(f"{self.for_phones}/pair", data={"code": letters[1], "name": name})
            assert answer.status_code == 303
            return COOKIE, answer.cookies[COOKIE]

    def start(self) -> None:
        ours, theirs = _SERVERS.Pipe(duplex=False)
        # No daemon, for a desk starts processes of its own.
        self.process = _SERVERS.Process(
            target=serving.serve, args=(self.book, self.port, theirs, self.is_shared)
        )
        self.process.start()
        theirs.close()
        self.port = ours.recv()
        ours.close()
        with urlopen(f"{self.address}/organs", timeout=60) as answer:
            assert answer.status == 200

    @property
    def pid(self) -> int:
        assert self.process is not None
        assert self.process.pid is not None
        return self.process.pid

    def signal(self, number: signal.Signals) -> None:
        """Send its process a signal."""
        os.kill(self.pid, number)

    def kill(self) -> None:
        """End it as a power cut would."""
        self.signal(signal.SIGKILL)
        self.stop()

    def stop(self) -> None:
        if self.process is not None:
            self.process.terminate()
            self.process.join(timeout=30)
            assert self.process.exitcode is not None, "the desk does not end"
            self.process.close()
            self.process = None


@pytest.fixture(scope="session")
def village_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a book with three visits to the village organ; copy it before changing it."""
    folder = _made_once(tmp_path_factory) / "village"
    copy = tmp_path_factory.mktemp("desk") / "village"
    shutil.copytree(folder, copy)
    return copy


def _made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the books lie that all workers of a run copy; the first worker makes them."""
    is_worker = "PYTEST_XDIST_WORKER" in os.environ
    base = tmp_path_factory.getbasetemp()
    shared = (base.parent if is_worker else base) / "books"
    try:
        shared.with_suffix(".making").mkdir()
    except FileExistsError:
        eventually(shared.exists, within_s=120.0)
    else:
        part = shared.with_suffix(".part")
        part.mkdir()
        make_book(part / "village", examples.village())
        part.rename(shared)
    return shared


@pytest.fixture(scope="session")
def server(village_book: Path) -> Iterator[Server]:
    """A desk for tests that change nothing that others read."""
    running = Server(village_book)
    running.start()
    yield running
    running.stop()


@pytest.fixture(scope="session")
def empty_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A desk that is not shared, of a book that has an organ and nothing else; for reading only."""
    folder = tmp_path_factory.mktemp("empty") / "book"
    with open_book.new(folder) as book:
        description = examples.village()
        book.add_organ(read_organ(description).name, description)
    running = Server(folder, is_shared=False)
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


@pytest.fixture
def nothing_yet(tmp_path: Path) -> Iterator[Server]:
    """A desk of an empty book, to write into."""
    folder = tmp_path / "book"
    open_book.new(folder).close()
    running = Server(folder)
    running.start()
    yield running
    running.stop()


Open = Callable[..., Page]


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Open]:
    """Opens an address in a window of its own; fails on any foreign request or script error.

    Parameters of the opener: address, size (`LAPTOP` or `PHONE`), look (``light`` or ``dark``),
    cookie (of a paired device, from `Server.pair`).
    """
    contexts: list[BrowserContext] = []
    troubles: list[str] = []

    def opening(
        address: str,
        *,
        size: dict[str, int] = LAPTOP,
        look: str = "light",
        wait: bool = True,
        cookie: tuple[str, str] | None = None,
    ) -> Page:
        context = browser.new_context(
            viewport=size,  # type: ignore[arg-type]
            color_scheme=look,  # type: ignore[arg-type]
            has_touch=size is PHONE,
            reduced_motion="reduce",
        )
        contexts.append(context)
        if cookie is not None:
            host = address.split("/", 3)[2].partition(":")[0]
            named = {"name": cookie[0], "value": cookie[1], "domain": host, "path": "/"}
            context.add_cookies([named])  # type: ignore[list-item]
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
        close(context)
    assert not troubles, troubles


def wait_until_fresh(page: Page, within_s: float = 45.0) -> None:
    """Wait until the page has its link to the desk."""
    page.wait_for_selector("html[data-link=fresh]", timeout=1000.0 * within_s)


def eventually(what: Callable[[], bool], within_s: float = 30.0) -> None:
    """Wait for something that another process does."""
    ends = time.monotonic() + within_s
    while not what():
        assert time.monotonic() < ends, "it did not happen"
        time.sleep(0.02)
