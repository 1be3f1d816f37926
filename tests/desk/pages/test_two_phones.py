"""Two phones at one worklist, pressed at random over a link that breaks."""

from __future__ import annotations

import random
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.desk.conftest import Open, Server, eventually, wait_until_fresh
from tests.desk.looking import PHONE
from walkboard.work.snapshot import opened_to_see

BUTTONS = ("done", "done", "skip", "undo", "next", "back", "reopen", "fault", "next")
SETS = {"done": "done", "skip": "skipped", "reopen": "open"}
# Presses a button, and gives what the page showed in the same step and what it set by it.
_PRESS = """(id) => {
  const button = document.getElementById(id);
  const one = document.getElementById("one");
  const set = () => Object.keys(localStorage).filter((key) => key.startsWith("walkboard.set."));
  const before = new Set(set());
  const was = { pipe: one.dataset.pipe, state: one.dataset.state,
    rests: "rest" in document.getElementById("thumb").dataset,
    may: button.getAttribute("aria-disabled") !== "true" && Boolean(button.offsetParent) };
  button.click();
  if (id === "fault" && document.getElementById("faults").open)
    document.querySelector("#faults [data-kind]:not([aria-disabled=true])")?.click();
  document.getElementById("faults").close();
  was.made = set().filter((key) => !before.has(key)).map((key) => JSON.parse(localStorage.getItem(key)));
  return was;
}"""  # noqa: E501
# The state that the page shows of each pipe, from one to the next.
_SHOWN = """() => {
  const shown = {};
  const one = document.getElementById("one");
  for (;;) {
    document.getElementById("next").click();
    if (one.dataset.pipe in shown) return shown;
    shown[one.dataset.pipe] = one.dataset.state;
  }
}"""


@pytest.mark.parametrize("presses", [80, pytest.param(2000, marks=pytest.mark.long)])
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
    made: dict[str, tuple[str, dict[str, Any]]] = {}  # by its id: who set what
    offline: set[str] = set()
    for _ in range(presses):
        name = chance.choice(list(pages))
        page = pages[name]
        if chance.random() < 0.06:
            (offline.discard if name in offline else offline.add)(name)
            page.context.set_offline(name in offline)
        button = chance.choice(BUTTONS)
        was = page.evaluate(_PRESS, button)
        _is_what_was_pressed(button, was)
        made |= {one["uid"]: (name, one) for one in was["made"]}
        page.wait_for_timeout(chance.choice((0.0, 30.0, 550.0) if presses < 500 else (0.0, 520.0)))
    for page in pages.values():
        page.context.set_offline(False)
    refused = 0
    for page in pages.values():
        wait_until_fresh(page, within_s=60.0)
        eventually(lambda page=page: page.inner_text("#unsent") == "", within_s=60.0)  # type: ignore[misc]
        refused += _put_refusals_aside(page)

    # The history holds each press that was not refused, once, by who made it; and nothing else.
    with opened_to_see(own_server.book) as book:
        ticks = [t for t in book.ticks(3) if t.device in pages]
        states = {str(pipe): tick.state for pipe, tick in book.pipe_states(3).items()}
        faults = {f.uid for f in book.faults(1)}
    kept = {t.uid: (t.device, str(t.pipe), t.state) for t in ticks if t.uid in made}
    assert len(kept) == sum(t.uid in made for t in ticks)
    for uid, seen in kept.items():
        device, one = made[uid]
        assert seen == (device, one["body"]["pipe"], one["body"]["state"])
    # Taking back Done by Skip opens the pipe first: the same press, and named after it.
    assert {t.uid.removesuffix("-open") for t in ticks} == set(kept)
    pressed = {uid for uid, (_, one) in made.items() if one["kind"] == "tick"}
    assert len(pressed - set(kept)) <= refused
    assert sum(state == "done" for _, _, state in kept.values()) > presses // 40
    assert faults <= {*made, *_others(own_server)}
    # Both phones show what the book holds, before they are loaded again and after.
    for again in (False, True):
        for page in pages.values():
            if again:
                page.reload()
                wait_until_fresh(page)
            eventually(lambda page=page: _shown(page) == _of_book(page, states))  # type: ignore[misc]


def _is_what_was_pressed(button: str, was: dict[str, Any]) -> None:
    """A press that the page may take makes one setting of the pipe that is shown, or none."""
    made, is_taken = was["made"], was["may"] and not was["rests"]
    if not is_taken:
        assert made == [], f"{button} was taken where it may not be"
    elif button in SETS:
        (one,) = made
        assert (one["body"]["pipe"], one["body"]["state"]) == (was["pipe"], SETS[button])
    elif button == "fault":
        assert [one["body"]["pipe"] for one in made] in ([], [was["pipe"]])
    else:
        assert len(made) == (button == "undo")


def _others(server: Server) -> set[str | None]:
    """Faults that no phone of this test has noted."""
    with opened_to_see(server.book) as book:
        return {
            f.uid for f in book.faults(1) if not (f.reporter or "").startswith(("Left", "Right"))
        }


def _shown(page: Page) -> dict[str, str]:
    return dict(page.evaluate(_SHOWN))


def _of_book(page: Page, states: dict[str, str]) -> dict[str, str]:
    return {pipe: states.get(pipe, "open") for pipe in _shown(page)}


def _put_refusals_aside(page: Page) -> int:
    """How many there were."""
    found = 0
    while page.locator("#refused button").count():
        page.locator("#refused button").first.click()
        found += 1
    return found
