"""Two phones at one worklist, pressed at random over a link that breaks."""

from __future__ import annotations

import json
import random

import pytest
from playwright.sync_api import Page

from tests.desk.conftest import Open, Server, eventually
from tests.desk.looking import PHONE
from walkboard.work.snapshot import opened_to_see

BUTTONS = ("done", "done", "skip", "undo", "next", "back", "reopen", "fault", "next")
# Whether the page takes the press, and on which pipe: asked in the same step as the press itself.
_PRESS = """(id) => {
  const button = document.getElementById(id);
  const one = document.getElementById("one");
  const was = { pipe: one.dataset.pipe, state: one.dataset.state,
    rests: "rest" in document.getElementById("thumb").dataset,
    may: button.getAttribute("aria-disabled") !== "true" && Boolean(button.offsetParent) };
  button.click();
  if (id === "fault" && document.getElementById("faults").open)
    document.querySelector("#faults [data-kind]:not([aria-disabled=true])")?.click();
  document.getElementById("faults").close();
  return was;
}"""


@pytest.mark.parametrize("presses", [160, pytest.param(2000, marks=pytest.mark.long)])
def test_what_is_seen_what_is_kept_and_what_was_pressed_agree(
    own_server: Server, open_page: Open, presses: int
) -> None:
    chance = random.Random(7)
    pages = {
        name: open_page(
            f"{own_server.for_phones}/organ/1/pipe", size=PHONE, cookie=own_server.pair(name)
        )
        for name in (f"Left {presses}", f"Right {presses}")
    }
    pressed_done: set[tuple[str, str]] = set()
    offline: set[str] = set()
    for _ in range(presses):
        name = chance.choice(list(pages))
        page = pages[name]
        if chance.random() < 0.06:
            (offline.discard if name in offline else offline.add)(name)
            page.context.set_offline(name in offline)
        button = chance.choice(BUTTONS)
        was = page.evaluate(_PRESS, button)
        if button == "done" and was["may"] and not was["rests"]:
            pressed_done.add((name, was["pipe"]))
        page.wait_for_timeout(chance.choice((0.0, 30.0, 550.0) if presses < 500 else (0.0, 520.0)))
    for page in pages.values():
        page.context.set_offline(False)
    for page in pages.values():
        eventually(lambda page=page: page.inner_text("#unsent") == "", within_s=60.0)  # type: ignore[misc]
        _put_refusals_aside(page)
    with opened_to_see(own_server.book) as book:
        ticks = [t for t in book.ticks(3) if t.device in pages]
        states = {str(pipe): tick for pipe, tick in book.pipe_states(3).items()}
    # Nothing is recorded as tuned that nobody pressed, nor twice.
    assert {(t.device, str(t.pipe)) for t in ticks if t.state == "done"} <= pressed_done
    assert len({t.uid for t in ticks}) == len(ticks)
    assert any(t.state == "done" for t in ticks)
    # Both phones show what the book holds.
    for page in pages.values():
        page.reload()
        page.wait_for_selector("html[data-link=fresh]")
        shown = json.loads(page.text_content("#work-steps") or "")["steps"]
        for step in shown:
            kept = states.get(step["pipe"])
            assert step["state"] == ("open" if kept is None else kept.state), step["pipe"]


def _put_refusals_aside(page: Page) -> None:
    while page.locator("#refused button").count():
        page.locator("#refused button").first.click()
