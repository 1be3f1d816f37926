"""A whole visit by keyboard alone: no mouse, and everything reached by the Tab key."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page

from tests.desk.conftest import Open, Server, eventually
from tests.desk.walking import make_empty_book, make_walk
from walkboard.work.snapshot import opened_to_see

_MOST_TABS = 150
# Where the focus is, and whether it can be seen there.
_FOCUS = """(wanted) => {
  const at = document.activeElement;
  const style = getComputedStyle(at);
  return { isIt: at.matches(wanted), isSeen: style.outlineStyle !== "none",
    isBody: at === document.body };
}"""


_MOVED_ON = """(pipe) => document.getElementById("one").dataset.pipe !== pipe
  || !document.getElementById("all-done").hidden"""


@pytest.fixture
def chapel(tmp_path: Path) -> Iterator[Server]:
    folder = tmp_path / "book"
    make_empty_book(folder)
    running = Server(folder)
    running.start()
    yield running
    running.stop()


def go_to(page: Page, wanted: str) -> None:
    """Press Tab until the focus is on it."""
    for _ in range(_MOST_TABS):
        page.keyboard.press("Tab")
        found = page.evaluate(_FOCUS, wanted)
        if found["isIt"]:
            assert found["isSeen"], f"the focus on {wanted} cannot be seen"
            return
    raise AssertionError(f"the Tab key does not reach {wanted}")


def press(page: Page, wanted: str, key: str = "Enter") -> None:
    go_to(page, wanted)
    page.keyboard.press(key)


def test_a_whole_visit_by_keyboard_alone(chapel: Server, open_page: Open, tmp_path: Path) -> None:
    page = open_page(f"{chapel.address}/organ/1")
    press(page, ".step-act a.main")
    page.wait_for_url("**/visit")
    go_to(page, "[name=purpose]")
    page.keyboard.type("By keyboard")
    go_to(page, "[name='air.great']")
    page.keyboard.type("18")
    press(page, "button.main")
    page.wait_for_url("**/visit/listen")

    page.wait_for_selector("#walk")
    press(page, "#stops summary")
    press(page, "[value='great.principal8']", "Space")
    walk = tmp_path / "principal.wav"
    make_walk(walk, keys=6, dead=None)
    with page.expect_file_chooser() as asked:
        press(page, "#files")
    asked.value.set_files(walk)
    page.wait_for_selector("#heard article", timeout=120_000)

    press(page, "a[href$='/visit/plan']")
    page.wait_for_selector("#tried .curve", timeout=60_000)
    before = page.inner_text("#minutes-words")
    press(page, "#minutes", "ArrowLeft")
    page.wait_for_selector("#tried[aria-busy=false] .curve")
    assert page.inner_text("#minutes-words") != before
    press(page, "form#wish button.main")
    page.wait_for_url("**/visit/work")

    pipes = page.locator(".pipe").count()
    assert pipes >= 3
    press(page, "[data-set=done]", "Space")
    eventually(lambda: page.inner_text("#unsent") == "")
    press(page, "a[href$='/organ/1/pipe']")
    page.wait_for_selector("#one[data-pipe]")
    page.wait_for_selector("#thumb:not([data-rest])")
    press(page, "#fault")
    page.wait_for_selector("#faults[open]")
    press(page, "[data-kind='rattle']")
    page.wait_for_selector("#faults:not([open])", state="attached")
    press(page, "#done")
    page.wait_for_selector("#thumb:not([data-rest])")
    press(page, "#undo")
    page.wait_for_selector("#thumb:not([data-rest])")
    for _ in range(pipes - 1):
        here = page.get_attribute("#one", "data-pipe")
        go_to(page, "#skip")
        page.wait_for_selector("#thumb:not([data-rest])")
        page.keyboard.press("Enter")
        page.wait_for_function(_MOVED_ON, arg=here)
    page.wait_for_selector("#all-done")
    eventually(lambda: page.inner_text("#unsent") == "")
    press(page, "#all-done a")
    page.wait_for_url("**/visit/close")
    go_to(page, "[name=note]")
    page.keyboard.type("Nothing but keys.")
    if page.locator("[name=sure]").count():
        press(page, "[name=sure]", "Space")
    press(page, "main button.main")
    page.wait_for_url("**/closed")
    with opened_to_see(chapel.book) as book:
        (visit,) = book.visits(1)
        assert not visit.is_open
        states = sorted(t.state for t in book.pipe_states(visit.id).values())
        assert states == ["done", *["skipped"] * (pipes - 1)]
        assert [f.kind for f in book.faults(1)] == ["rattle"]
