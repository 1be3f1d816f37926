"""Without a link: a browser that was closed opens the pages of a visit again, and loses no tick."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from tests.browser import close
from tests.desk.conftest import Server, eventually, wait_until_fresh
from tests.desk.looking import PHONE
from walkboard.book.records import Tick
from walkboard.work.snapshot import opened_to_see

# What a page of another book, whose visit has the same number, would have left unsent.
_FOR_ANOTHER_BOOK = """async (pipe) => {
  const { outbox } = await import("/static/outbox.js");
  const opened = "2030-01-01T00:00:00+00:00";
  outbox.set("tick", { visit: 3, opened, pipe, state: "open", note: "", over: "" });
}"""


@pytest.fixture
def phone(browser: Browser) -> Iterator[BrowserContext]:
    """A device at the desk's own address: browsers take it for as safe as an encrypted one."""
    context = browser.new_context(viewport=PHONE, has_touch=True)  # type: ignore[arg-type]
    yield context
    close(context)


def opened(context: BrowserContext, server: Server) -> Page:
    page = context.new_page()
    page.goto(f"{server.address}/organ/1/pipe")
    return page


def ticks(server: Server) -> list[tuple[str, str]]:
    with opened_to_see(server.book) as book:
        return [(str(t.pipe), t.state) for t in book.ticks(3)]


def press_done(page: Page) -> str:
    page.wait_for_selector("#thumb:not([data-rest])")
    pipe = str(page.get_attribute("#one", "data-pipe"))
    page.click("#done")
    return pipe


def test_a_closed_browser_opens_the_worklist_without_a_link(
    own_server: Server, phone: BrowserContext
) -> None:
    page = opened(phone, own_server)
    wait_until_fresh(page)
    page.wait_for_selector("html[data-keeps=yes]")
    before = press_done(page)
    eventually(lambda: (before, "done") in ticks(own_server))
    eventually(lambda: page.inner_text("#unsent") == "")
    page.close()
    # What others do while it is closed is kept when it opens with a link, whatever follows.
    with opened_to_see(own_server.book) as book:
        plan = book.current_plan(3)
        assert plan is not None
        other = next(item.pipe for item in plan.plan.items if str(item.pipe) != before)
        book.set_tick(Tick("of-another", 3, other, "done", "", datetime.now(UTC), "Other"))
    page = opened(phone, own_server)
    page.wait_for_selector("#one[data-pipe]")
    page.close()
    own_server.stop()

    page = opened(phone, own_server)
    page.wait_for_selector("html[data-link=off]")
    assert "As it was at" in page.inner_text("#link-age")
    steps = json.loads(page.text_content("#work-steps") or "")["steps"]
    assert next(s["state"] for s in steps if s["pipe"] == str(other)) == "done"
    without = press_done(page)
    assert without not in {before, str(other)}  # what the desk has taken is not offered again
    assert page.inner_text("#unsent") == "1 not yet sent"
    page.close()

    page = opened(phone, own_server)  # closed and opened once more
    page.wait_for_selector("html[data-link=off]")
    assert page.inner_text("#unsent") == "1 not yet sent"
    assert page.get_attribute("#one", "data-pipe") not in {before, without, str(other)}
    own_server.start()
    wait_until_fresh(page, within_s=60.0)
    eventually(lambda: page.inner_text("#unsent") == "")
    assert ticks(own_server).count((without, "done")) == 1


def test_a_page_that_is_not_stored_says_which_are_and_returns_when_it_can(
    own_server: Server, phone: BrowserContext
) -> None:
    page = opened(phone, own_server)
    page.wait_for_selector("html[data-keeps=yes]")
    own_server.stop()
    page.goto(f"{own_server.address}/organ/1/calendar")
    page.wait_for_selector("#kept-pages a >> text=At the pipe")
    own_server.start()
    page.wait_for_selector("h1 >> text=Calendar", timeout=60_000)


def test_a_removed_device_keeps_nothing(own_server: Server, phone: BrowserContext) -> None:
    page = opened(phone, own_server)
    page.wait_for_selector("html[data-keeps=yes]")
    assert page.evaluate("caches.has('walkboard-pages')")
    # The link is cut, and the desk no longer knows the device that asks.
    page.route("**/outbox", lambda route: route.fulfill(status=401, body="{}"))
    own_server.stop()
    page.wait_for_selector("html[data-link=unpaired]")
    eventually(lambda: not page.evaluate("caches.has('walkboard-pages')"))
    own_server.start()


def test_what_was_pressed_for_another_book_is_refused(
    own_server: Server, phone: BrowserContext
) -> None:
    page = opened(phone, own_server)
    wait_until_fresh(page)
    pipe = press_done(page)
    eventually(lambda: page.inner_text("#unsent") == "")
    page.evaluate(_FOR_ANOTHER_BOOK, pipe)
    eventually(lambda: page.is_visible("#refused"))
    assert "another book" in page.inner_text("#refused")
    assert ticks(own_server)[-1] == (pipe, "done")
