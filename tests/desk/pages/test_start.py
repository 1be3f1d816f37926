"""A newcomer: from an empty book to a worklist, without help."""

from __future__ import annotations

from tests.desk.conftest import Open, Server
from tests.desk.looking import look_at
from walkboard.work.snapshot import opened_to_see


def test_an_empty_book_says_what_to_do_and_has_an_organ_to_try(
    nothing_yet: Server, open_page: Open
) -> None:
    page = open_page(f"{nothing_yet.address}/")
    assert page.locator(".begin > li").count() == 3
    assert page.locator(".begin svg").count() == 3
    look_at(page, "start-empty")
    presses = 0

    def press(what: str) -> None:
        nonlocal presses
        presses += 1
        page.click(what)

    press("text=Try it with an invented organ")
    page.wait_for_url("**/organ/1")
    page.wait_for_selector("table.ranks")
    assert "invented" in page.inner_text("#now")  # nobody takes it for a real one
    press("text=Plan the work")
    page.wait_for_selector("#tried .curve")
    press("text=Adopt as the worklist")
    page.wait_for_url("**/visit/work")
    assert page.locator(".pipe").count() > 5
    assert presses == 3
    with opened_to_see(nothing_yet.book) as book:
        assert book.current_plan(1) is not None
