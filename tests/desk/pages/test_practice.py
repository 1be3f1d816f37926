"""Practice without an organ: what the page's buttons do is heard and shown."""

from __future__ import annotations

import pytest

from tests.desk.conftest import Open, Server, eventually
from tests.desk.live_playing import cents_on
from tests.desk.looking import PHONE, look_at

pytestmark = pytest.mark.long


def test_a_newcomer_holds_reads_and_moves(server: Server, open_page: Open) -> None:
    page = open_page(f"{server.address}/practice", size=PHONE)
    page.click("main button.main")
    page.wait_for_selector("#hold")
    page.wait_for_selector("#measured:not([hidden])")
    assert page.inner_text("#m-words").startswith("Hold ")
    page.click("#hold")
    eventually(lambda: abs(cents_on(page)) > 2.0)  # each stands 2.5 to 9 cents off
    page.wait_for_timeout(1500)
    before = cents_on(page)
    way = "flatter" if before > 0.0 else "sharper"
    page.click(f"[data-move='{way}/more']")
    # six cents that way, as well as a hand can; warmth adds at most some cents more
    eventually(lambda: abs(cents_on(page) - before) > 2.0)
    assert (cents_on(page) < before) == (way == "flatter")
    eventually(lambda: page.inner_text("#m-words") not in {"", "It moves"})
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    look_at(page, "practice")
    key = page.inner_text("#practice-rank") + page.inner_text("#practice-key")
    page.focus("#skip")
    page.keyboard.press("Enter")
    eventually(lambda: page.inner_text("#practice-rank") + page.inner_text("#practice-key") != key)
    # the key holder goes on by himself, so the next is heard
    eventually(lambda: abs(cents_on(page)) > 2.0)
    page.click("#undo")
    eventually(lambda: page.inner_text("#practice-rank") + page.inner_text("#practice-key") == key)
    page.click("text=End the practice")
    page.wait_for_selector("main button.main")
    assert page.url.endswith("/practice")
