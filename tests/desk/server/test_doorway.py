"""The desk answers while it still loads: with what is still true, and to nobody else."""

from __future__ import annotations

import asyncio
import json
import shutil
import threading
from collections.abc import AsyncIterator, Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

import httpx2 as httpx
import pytest
import uvicorn

from tests.desk.conftest import Open, wait_until_fresh
from tests.desk.looking import look_at
from walkboard.book.glance import glance
from walkboard.desk.server.application import make_application
from walkboard.desk.server.doorway import Doorway
from walkboard.desk.server.early_page import FILE, FirstPage, keep_page, kept_page, program_stamp
from walkboard.desk.server.gate import safe_headers
from walkboard.desk.server.network import bound
from walkboard.errors import BookError
from walkboard.work.open_book import opened

HOME = "http://127.0.0.1:8740"
T = TypeVar("T")
KEPT = "<!doctype html><title>kept</title>"


def a_page(folder: Path) -> FirstPage:
    choices = "look=auto; names=scientific; language=en"
    return FirstPage("/organ/1", choices, KEPT, glance(folder).stamp, program_stamp(), "")


class Life:
    """A doorway that the server has started; `there` lets its desk come."""

    def __init__(self, folder: Path, make: Callable[[], Any]) -> None:
        self.there = threading.Event()
        self.has_failed = False

        def load() -> Any:
            self.there.wait(20)
            return make()

        self.doorway = Doorway(folder, None, load, self._fail)
        self._received: asyncio.Queue[dict[str, str]] = asyncio.Queue()
        self._sent: asyncio.Queue[dict[str, Any]] = asyncio.Queue()

    def _fail(self) -> None:
        self.has_failed = True

    def asking(self, client: str = "127.0.0.1") -> httpx.AsyncClient:
        transport = httpx.ASGITransport(self.doorway, client=(client, 9))
        return httpx.AsyncClient(transport=transport, base_url=HOME)

    async def begin(self) -> None:
        self._running = asyncio.create_task(
            self.doorway({"type": "lifespan"}, self._received.get, self._sent.put)  # type: ignore[arg-type]
        )
        await self._received.put({"type": "lifespan.startup"})
        assert (await self._sent.get())["type"] == "lifespan.startup.complete"

    async def end(self) -> None:
        self.there.set()
        await self._received.put({"type": "lifespan.shutdown"})
        await self._running


@asynccontextmanager
async def begun(folder: Path) -> AsyncIterator[Life]:
    life = Life(folder, lambda: make_application(folder))
    await life.begin()
    yield life
    await life.end()


def run(coroutine: Coroutine[Any, Any, T]) -> T:
    """Run it in its own thread: that of the tests may have the browser's loop already."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, coroutine).result(60)


@pytest.fixture
def folder(village_book: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(village_book, tmp_path / "book"))


def test_what_was_kept_is_shown_before_the_desk_is_there(folder: Path) -> None:
    keep_page(folder, a_page(folder))

    async def go() -> None:
        async with begun(folder) as life, life.asking() as browser:
            assert (await browser.get("/")).headers["location"] == "/organ/1"
            answer = await browser.get("/organ/1")
            assert answer.text == KEPT
            for name, value in safe_headers("127.0.0.1:8740").items():
                assert answer.headers[name] == value
            assert (await browser.get("/static/desk.css")).status_code == 200

    run(go())


@pytest.mark.parametrize(
    "page",
    [
        lambda page: replace(page, book="another"),
        lambda page: replace(page, program="another"),
        lambda page: replace(page, until=datetime(2020, 1, 1, tzinfo=UTC).isoformat()),
        lambda page: replace(page, choices="look=dark; names=scientific"),
        lambda page: replace(page, path="/organ/2"),
    ],
    ids=["the book has changed", "another program", "an event is over", "other look", "other page"],
)
def test_an_outdated_page_is_not_shown(
    folder: Path, page: Callable[[FirstPage], FirstPage]
) -> None:
    keep_page(folder, page(a_page(folder)))

    async def go() -> None:
        async with begun(folder) as life, life.asking() as browser:
            answer = (await browser.get("/organ/1")).text
            assert KEPT not in answer
            assert "The desk is opening" in answer

    run(go())


def test_a_page_is_kept_when_the_desk_closes_and_is_the_desks_own(folder: Path) -> None:
    async def first() -> str:
        async with begun(folder) as life, life.asking() as browser:
            life.there.set()
            assert (await browser.get("/organs")).status_code == 200  # waits for the desk
            await browser.get("/organ/1", headers={"Walkboard-Part": "1"})  # and for its ranks
            return (await browser.get("/organ/1")).text

    async def second() -> str:
        async with begun(folder) as life, life.asking() as browser:
            return (await browser.get("/organ/1")).text

    shown = run(first())
    assert (folder / FILE).stat().st_mode & 0o077 == 0
    assert 'class="ranks"' in shown
    assert run(second()) == shown
    with opened(folder) as book:
        book.add_note(book.visits(1)[-1].id, "The blower hums.")
    assert "The desk is opening" in run(second())


def test_strangers_wait_for_the_desk_and_tricks_are_refused_at_once(folder: Path) -> None:
    keep_page(folder, a_page(folder))

    async def go() -> None:
        async with begun(folder) as life, life.asking() as browser:
            refused = await browser.get("/organ/1", headers={"host": "evil.example"})
            assert refused.status_code == 421
            refused = await browser.get("/organ/1", headers={"origin": "http://evil.example"})
            assert refused.status_code == 403
            async with life.asking("192.168.7.20") as phone:
                waiting = asyncio.create_task(phone.get("/organ/1"))
                posting = asyncio.create_task(browser.post("/organ/1"))
                await browser.get("/static/desk.css")
                assert not waiting.done()
                assert not posting.done()
                life.there.set()
                assert (await waiting).status_code == 401
                assert (await posting).status_code == 405

    run(go())


@pytest.mark.parametrize(
    "text", ["", "[]", '{"path": 3}', '{"path": "/organ/1"}', "\N{BELL}", "x" * 99]
)
def test_an_unreadable_stored_page_counts_as_missing(folder: Path, text: str) -> None:
    (folder / FILE).write_text(text, encoding="utf-8")
    assert kept_page(folder) is None


def test_a_stored_page_with_a_wrong_instant_counts_as_missing(folder: Path) -> None:
    keep_page(folder, replace(a_page(folder), until="tomorrow"))
    assert json.loads((folder / FILE).read_text())["until"] == "tomorrow"
    assert kept_page(folder) is None


def test_a_desk_that_does_not_come_says_so(folder: Path) -> None:
    def break_off() -> None:
        raise BookError("The disk went away.")

    async def go() -> None:
        life = Life(folder, break_off)
        await life.begin()
        life.there.set()
        async with life.asking() as browser:
            assert (await browser.get("/organs")).status_code == 503
        assert life.has_failed
        assert isinstance(life.doorway.trouble, BookError)
        await life.end()

    run(go())


def test_a_folder_without_a_book_is_reported_before_anything_listens(tmp_path: Path) -> None:
    with pytest.raises(BookError, match=r"it has no book\.sqlite"):
        Life(tmp_path, lambda: None)


def test_a_page_that_opened_before_the_desk_becomes_the_whole_page(
    folder: Path, open_page: Open
) -> None:
    life = Life(folder, lambda: make_application(folder))
    listening = bound("127.0.0.1", 0)
    server = uvicorn.Server(
        uvicorn.Config(life.doorway, log_level="warning", ws="websockets-sansio")
    )
    serving = threading.Thread(target=server.run, args=([listening],))
    serving.start()
    try:
        page = open_page(f"http://127.0.0.1:{listening.getsockname()[1]}/", wait=False)
        assert page.get_attribute("html", "data-link") == "new"
        look_at(page, "opening")
        life.there.set()
        page.wait_for_selector("table.ranks")
        wait_until_fresh(page)
        assert page.locator("#places a[aria-current=page]").inner_text() == "The organ"
        assert page.locator("[data-live]").count() == 3, "only its parts are live, as ever"
    finally:
        life.there.set()
        server.should_exit = True
        serving.join(20)
