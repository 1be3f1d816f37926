"""A newcomer, counted press by press: from an empty book to a printed worklist."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page

from tests.desk.conftest import Open, Server
from tests.desk.walking import make_walk
from walkboard.work.snapshot import opened_to_see

MOST_PRESSES = 25
# What a newcomer types is names: of the venue, of the stops, of the visit.
STOPS = "Invented chapel\nGreat 54 notes\nPrincipal 8\nOctave 4\nTwelfth 2 2/3\n"
WALKED = ("principal8", "octave4", "twelfth")


class Hand:
    """A hand at a laptop that counts what it presses; typing a name counts as one press."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.presses = 0

    def press(self, what: str) -> None:
        self.presses += 1
        self.page.click(what)

    def type(self, where: str, name: str) -> None:
        self.presses += 1
        self.page.fill(where, name)

    def choose(self, where: str, file: Path) -> None:
        """The button, the file, and the dialog's own button."""
        with self.page.expect_file_chooser() as asked:
            self.press(where)
        asked.value.set_files(file)
        self.presses += 2


def test_from_an_empty_book_to_a_printed_worklist_with_three_recordings(
    nothing_yet: Server, open_page: Open, tmp_path: Path
) -> None:
    page = open_page(f"{nothing_yet.address}/")
    hand = Hand(page)
    hand.press("a.button.main")
    page.wait_for_url("**/organs/new")
    hand.type("#stops", STOPS)
    page.wait_for_selector("#add:enabled")
    hand.press("#add")
    page.wait_for_url("**/organ/1")
    hand.press("#now .button.main")
    hand.type("[name=purpose]", "First visit")
    hand.press("button.main")
    page.wait_for_url("**/visit/listen")
    page.wait_for_selector("#walk")
    hand.press("#stops summary")
    for number, rank in enumerate(WALKED, 1):
        walk = tmp_path / f"{rank}.wav"
        make_walk(walk, f"great.{rank}", keys=6, dead=None)
        boxes = page.locator("#stops [name=stop]:checked")
        for box in boxes.all():  # of the walk before
            hand.presses += 1
            box.uncheck()
        hand.press(f"#stops [value^='great.{rank}']")
        hand.choose("#files", walk)
        page.wait_for_function(
            "n => document.querySelectorAll('#heard article').length === n",
            arg=number,
            timeout=120_000,
        )
    assert "6 keys named" in page.inner_text("#heard article")
    hand.press(".steps a >> text=Plan")
    page.wait_for_selector("#tried .curve", timeout=60_000)
    hand.press("text=Adopt as the worklist")
    page.wait_for_url("**/visit/work")
    assert page.locator(".pipe").count() > 0
    sheet = page.get_attribute("a >> text=Worklist as PDF", "href")
    hand.presses += 1
    printed = page.request.get(f"{nothing_yet.address}{sheet}")
    assert printed.body().startswith(b"%PDF-")
    assert hand.presses <= MOST_PRESSES, hand.presses
    with opened_to_see(nothing_yet.book) as book:
        assert [len(r.walk.holds) for r in book.recordings(1)] == [6, 6, 6]
        assert book.current_plan(1) is not None
