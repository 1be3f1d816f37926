"""What is pressed at the pipe, by one thumb or two: nothing is recorded that nobody meant."""

from __future__ import annotations

from playwright.sync_api import Page

from tests.desk.conftest import Open, Server, eventually
from tests.desk.looking import PHONE
from walkboard.work.snapshot import opened_to_see


def at_the_pipe(server: Server, open_page: Open, name: str) -> Page:
    cookie = server.pair(name)
    return open_page(f"{server.for_phones}/organ/1/pipe", size=PHONE, cookie=cookie)


def press(page: Page, button: str) -> None:
    """Press where presses count again: the page rests for half a second after each change."""
    page.click(f"#thumb:not([data-rest]) {button}")


def pipe_of(page: Page) -> str:
    return str(page.get_attribute("#one", "data-pipe"))


def go_to(page: Page, pipe: str) -> None:
    while pipe_of(page) != pipe:
        page.click("#next")


def sent(page: Page) -> None:
    eventually(lambda: page.inner_text("#unsent") == "")


def history(server: Server, pipe: str) -> list[tuple[str, str]]:
    """Who set what at a pipe since it was open last, in order."""
    with opened_to_see(server.book) as book:
        found = [(t.device, t.state) for t in book.ticks(3) if str(t.pipe) == pipe]
    opened = [n for n, (_, state) in enumerate(found) if state == "open"]
    return found[opened[-1] + 1 :] if opened else found


def state(server: Server, pipe: str) -> str:
    with opened_to_see(server.book) as book:
        found = {str(p): t.state for p, t in book.pipe_states(3).items()}
        return found.get(pipe, "open")


def faults_at(server: Server, pipe: str) -> list[str]:
    with opened_to_see(server.book) as book:
        return [f.kind for f in book.open_faults(1) if str(f.pipe) == pipe]


def test_a_double_tap_ticks_one_pipe(own_server: Server, open_page: Open) -> None:
    page = at_the_pipe(own_server, open_page, "Double")
    page.wait_for_selector("#thumb:not([data-rest])")
    first = pipe_of(page)
    page.dblclick("#done")
    second = pipe_of(page)
    sent(page)
    with opened_to_see(own_server.book) as book:
        ticked = [str(t.pipe) for t in book.ticks(3) if t.device == "Double"]
    assert ticked == [first]
    assert second != first
    press(page, "#done")  # half a second later it counts
    assert pipe_of(page) != second


def test_undo_takes_back_the_last_press_whatever_it_was(
    own_server: Server, open_page: Open
) -> None:
    page = at_the_pipe(own_server, open_page, "Undo")
    done = pipe_of(page)
    press(page, "#done")
    faulty = pipe_of(page)
    press(page, "#fault")
    page.click("[data-kind='rattle']")
    assert page.inner_text("#noted") == "Noted: Rattle"
    sent(page)
    assert faults_at(own_server, faulty) == ["rattle"]
    page.reload()
    press(page, "#undo")
    sent(page)
    assert faults_at(own_server, faulty) == []
    assert state(own_server, done) == "done"
    press(page, "#undo")
    sent(page)
    assert (pipe_of(page), state(own_server, done)) == (done, "open")
    assert page.get_attribute("#undo", "aria-disabled") == "true"
    page.focus("#undo")
    assert page.evaluate("document.activeElement.id") == "undo"  # not the body


def test_the_same_fault_is_noted_once(own_server: Server, open_page: Open) -> None:
    one = at_the_pipe(own_server, open_page, "Fault one")
    two = at_the_pipe(own_server, open_page, "Fault two")
    pipe = pipe_of(one)
    go_to(two, pipe)
    for page in (one, two):
        press(page, "#fault")
    for page in (one, two):
        page.click("[data-kind='dirty tongue']")
        sent(page)
    press(one, "#fault")
    button = one.locator("[data-kind='dirty tongue']")
    assert button.get_attribute("aria-disabled") == "true"
    button.click(force=True)
    assert faults_at(own_server, pipe) == ["dirty tongue"]
    # The list names it by its key, as the tuner does, and not by its number in the rank.
    rank, key = one.inner_text("#rank"), one.inner_text("#key")
    listed = open_page(f"{own_server.address}/organ/1/faults").inner_text("#standing, main")
    assert f"Dirty tongue · {rank} {key}" in listed


def test_done_stays_done_under_a_second_thumb(own_server: Server, open_page: Open) -> None:
    one = at_the_pipe(own_server, open_page, "Left")
    two = at_the_pipe(own_server, open_page, "Right")
    pipe = pipe_of(one)
    go_to(two, pipe)
    press(one, "#done")
    eventually(lambda: two.is_visible("#state"))
    assert two.inner_text("#done") == "Done"
    assert two.inner_text("#state-words").startswith("Done by Left, ")
    two.wait_for_selector("#thumb:not([data-rest])")
    two.click("#done", force=True)  # the thumb that was on its way
    sent(two)
    assert state(own_server, pipe) == "done"
    assert history(own_server, pipe) == [("Left", "done")]
    two.click("#reopen")
    sent(two)
    assert state(own_server, pipe) == "open"


def test_done_against_skip_is_shown_and_both_stay(own_server: Server, open_page: Open) -> None:
    one = at_the_pipe(own_server, open_page, "Tuner")
    two = at_the_pipe(own_server, open_page, "Helper")
    pipe = pipe_of(one)
    go_to(two, pipe)
    two.wait_for_selector("#thumb:not([data-rest])")
    two.context.set_offline(True)  # it does not learn that the pipe is done
    press(one, "#done")
    sent(one)
    two.click("#skip")
    two.context.set_offline(False)
    sent(two)
    assert state(own_server, pipe) == "done"
    assert history(own_server, pipe) == [("Tuner", "done"), ("Helper", "skipped")]
    for page in (one, two):
        page.wait_for_selector("html[data-link=fresh]")
        go_to(page, pipe)
        page.wait_for_function(
            "document.getElementById('differ').textContent.includes('skipped by Helper')"
        )
        assert page.inner_text("#differ").startswith("Done by Tuner at ")
    desk = open_page(f"{own_server.address}/organ/1/visit/work")
    assert "skipped by Helper" in desk.inner_text(f"[data-pipe='{pipe}'] .pipe-differ")


def test_undo_does_not_take_back_what_another_device_did(
    own_server: Server, open_page: Open
) -> None:
    one = at_the_pipe(own_server, open_page, "First")
    two = at_the_pipe(own_server, open_page, "Second")
    pipe = pipe_of(one)
    go_to(two, pipe)
    two.wait_for_selector("#thumb:not([data-rest])")
    two.context.set_offline(True)
    press(one, "#done")
    sent(one)
    two.click("#done")
    two.context.set_offline(False)
    sent(two)
    press(two, "#undo")
    eventually(lambda: two.is_visible("#refused"))
    assert "First has done" in two.inner_text("#refused")
    assert state(own_server, pipe) == "done"
    two.click("#refused button")
    assert two.evaluate("document.activeElement.id") == "content"


def test_a_revoked_phone_says_so_and_piles_up_nothing(own_server: Server, open_page: Open) -> None:
    page = at_the_pipe(own_server, open_page, "Lost")
    pipe = pipe_of(page)
    desk = open_page(f"{own_server.address}/sharing")
    desk.locator("li, tr, .device", has_text="Lost").last.get_by_role(
        "button", name="Remove Lost"
    ).click()
    page.wait_for_selector("html[data-link=unpaired]")
    assert "no longer paired" in page.inner_text("#link-words")
    assert page.is_visible("#pair-again")
    page.wait_for_selector("#done[aria-disabled=true]")
    page.click("#done", force=True)
    assert (pipe_of(page), page.inner_text("#unsent")) == (pipe, "")
