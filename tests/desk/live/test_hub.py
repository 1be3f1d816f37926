"""What a phone in a loft does to a link never shows an old value as fresh, nor loses a tick."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from playwright.sync_api import Browser, Page

from tests.desk.conftest import Open, Server, eventually, wait_until_fresh
from walkboard.desk.live.hub import MOST_UNSEEN, Hub
from walkboard.work.snapshot import opened_to_see

STALE_MS = 1200.0  # 0.7 s that a value counts as fresh, and what the test's own clock may be late

# Writes down what each picture shows: when, the newest value on it, and what it says of the link.
_WATCH = """async () => {
  const { live } = await import("/static/frame.js");
  let shown = null;
  window.pictures = [];
  live.on("clock", (value) => { shown = value; });
  const look = () => {
    if (shown) window.pictures.push([Date.now(), shown.at, document.documentElement.dataset.link]);
    requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
}"""


class Socket:
    """Stands for a browser that acknowledges when the test says so."""

    def __init__(self) -> None:
        self.got: list[dict[str, Any]] = []
        self.said: asyncio.Queue[str] = asyncio.Queue()

    async def accept(self) -> None:
        return

    async def receive_text(self) -> str:
        return await self.said.get()

    async def send_text(self, text: str) -> None:
        self.got.append(json.loads(text))

    def acknowledge(self, seen: int, stamp: float = 1.0) -> None:
        self.said.put_nowait(json.dumps({"seen": seen, "stamp": stamp}))


async def until(what: Callable[[], bool]) -> None:
    async with asyncio.timeout(10.0):
        while not what():
            await asyncio.sleep(0.005)


def served(scene: Callable[[Hub, Socket], Any]) -> None:
    async def playing() -> None:
        hub, socket = Hub(), Socket()
        hub.attach()
        serving = asyncio.create_task(hub.serve(socket, ["a", "b"]))  # type: ignore[arg-type]
        await until(lambda: hub.followers("a") == 1)
        await scene(hub, socket)
        serving.cancel()

    # In a thread: the browser of other tests keeps an event loop running in this one.
    with ThreadPoolExecutor(1) as thread:
        thread.submit(lambda: asyncio.run(playing())).result()


def test_the_newest_value_wins_and_ten_unseen_are_enough() -> None:
    async def scene(hub: Hub, socket: Socket) -> None:
        socket.acknowledge(0)
        await until(lambda: len(socket.got) == 1)
        for number in range(200):
            hub.tell("a", number)
            hub.tell("other", number)
            await asyncio.sleep(0.001)
        await until(lambda: len(socket.got) == MOST_UNSEEN)
        hub.tell("a", "newest")
        hub.tell("b", 7)
        await asyncio.sleep(0.6)  # more than two beats: the browser sleeps, the server is silent
        assert len(socket.got) == MOST_UNSEEN
        socket.acknowledge(MOST_UNSEEN, stamp=5.0)
        await until(lambda: len(socket.got) > MOST_UNSEEN)
        after = socket.got[MOST_UNSEEN]
        assert after["values"] == {"a": "newest", "b": 7}
        assert after["echo"] == 5.0

    served(scene)


def test_nothing_is_sent_before_the_first_stamp_and_beats_go_on_without_news() -> None:
    async def scene(hub: Hub, socket: Socket) -> None:
        hub.tell("a", 1)
        await asyncio.sleep(0.4)
        assert not socket.got
        socket.acknowledge(0, stamp=3.0)
        await until(lambda: len(socket.got) >= 3)
        assert [m["values"] for m in socket.got[:3]] == [{"a": 1}, {}, {}]
        assert all(m["echo"] == 3.0 for m in socket.got)
        held = [m["held"] for m in socket.got[:3]]
        assert held == sorted(held)
        assert held[2] > 400.0

    served(scene)


def renderers(browser: Browser) -> list[int]:
    session = browser.new_browser_cdp_session()
    processes = session.send("SystemInfo.getProcessInfo")["processInfo"]
    session.detach()
    return [int(process["id"]) for process in processes if process["type"] == "renderer"]


def assert_nothing_stale_looked_fresh(page: Page, since_ms: float) -> list[list[Any]]:
    pictures: list[list[Any]] = page.evaluate("window.pictures")
    assert len(pictures) > 20
    stale = [p for p in pictures if p[2] == "fresh" and p[0] - p[1] > STALE_MS]
    assert not stale, [(round(p[0] - since_ms), round(p[0] - p[1])) for p in stale[:5]]
    return pictures


def test_a_page_that_slept_shows_nothing_stale_as_fresh(
    server: Server, open_page: Open, browser: Browser
) -> None:
    page = open_page(f"{server.address}/clock")
    page.evaluate(_WATCH)
    eventually(lambda: page.evaluate("window.pictures.length") > 20)
    asleep = renderers(browser)
    for process in asleep:
        os.kill(process, signal.SIGSTOP)
    time.sleep(4.0)
    woken_ms = 1000.0 * time.time()
    for process in asleep:
        os.kill(process, signal.SIGCONT)
    fresh = f"window.pictures.some(p => p[0] > {woken_ms} && p[2] === 'fresh')"
    eventually(lambda: page.evaluate(fresh))
    pictures = assert_nothing_stale_looked_fresh(page, woken_ms)
    after = next(p for p in pictures if p[0] >= woken_ms)
    assert after[2] != "fresh" or after[0] - after[1] < STALE_MS


def test_a_stalled_link_is_reported_and_comes_back_fresh(
    own_server: Server, open_page: Open
) -> None:
    page = open_page(f"{own_server.address}/clock")
    page.evaluate(_WATCH)
    eventually(lambda: page.evaluate("window.pictures.length") > 20)
    own_server.signal(signal.SIGSTOP)
    page.wait_for_selector("html[data-link=behind]")
    assert page.inner_text("#link-words") == "Behind"
    page.wait_for_selector("html[data-link=off]")
    woken_ms = 1000.0 * time.time()
    own_server.signal(signal.SIGCONT)
    wait_until_fresh(page)
    assert_nothing_stale_looked_fresh(page, woken_ms)


def test_ticks_made_without_a_link_are_all_kept(own_server: Server, open_page: Open) -> None:
    page = open_page(f"{own_server.address}/clock")
    own_server.stop()
    page.wait_for_selector("html[data-link=off]")
    page.evaluate(
        """async () => {
          const { outbox } = await import("/static/outbox.js");
          const tick = (n, state) =>
            outbox.set("tick", { visit: 3, pipe: `great.open8:${n}`, state, note: "" });
          for (const n of [1, 2, 3]) tick(n, "done");
          tick(2, "skipped");
        }"""
    )
    assert page.inner_text("#unsent") == "4 not yet sent"
    own_server.start()
    eventually(lambda: page.inner_text("#unsent") == "")
    wait_until_fresh(page)
    with opened_to_see(own_server.book) as book:
        states = {str(pipe): tick.state for pipe, tick in book.pipe_states(3).items()}
    assert states == {
        "great.open8:1": "done",
        "great.open8:2": "skipped",
        "great.open8:3": "done",
    }


def test_a_tick_that_the_book_refuses_is_reported(own_server: Server, open_page: Open) -> None:
    page = open_page(f"{own_server.address}/clock")
    page.evaluate(
        """async () => {
          const { outbox } = await import("/static/outbox.js");
          outbox.set("tick", { visit: 3, pipe: "great.nothing8:1", state: "done", note: "" });
        }"""
    )
    page.wait_for_selector("#refused:not([hidden])")
    assert "great.nothing8" in page.inner_text("#refused")
    page.click("#refused button")
    assert page.is_hidden("#refused")
    assert page.inner_text("#unsent") == ""


def test_what_one_device_ticks_reaches_the_others(own_server: Server, open_page: Open) -> None:
    ticking, *others = [open_page(f"{own_server.address}/clock") for _ in range(3)]
    for other in others:
        other.evaluate(
            """async () => {
              const { live } = await import("/static/frame.js");
              window.changes = [];
              live.on("book", (change) => window.changes.push(change));
            }"""
        )
    eventually(lambda: all(o.evaluate("window.changes.length") == 1 for o in others))
    ticking.evaluate(
        """async () => {
          const { outbox } = await import("/static/outbox.js");
          outbox.set("tick", { visit: 3, pipe: "great.open8:9", state: "done", note: "" });
        }"""
    )
    eventually(lambda: all(o.evaluate("window.changes.length") == 2 for o in others))
