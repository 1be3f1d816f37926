"""At the pipe: with one thumb, without a link, in the dark."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import Page, Route

from tests.desk.conftest import Open, Server, eventually, wait_until_fresh
from tests.desk.looking import PHONE, look_at
from walkboard.work.snapshot import opened_to_see

_GROUND = "getComputedStyle(document.documentElement).backgroundColor"
DARK = "rgb(22, 21, 26)"


def at_the_pipe(server: Server, open_page: Open) -> Page:
    return open_page(f"{server.address}/organ/1/pipe", size=PHONE)


def states(server: Server) -> dict[str, str]:
    with opened_to_see(server.book) as book:
        return {str(pipe): tick.state for pipe, tick in book.pipe_states(3).items()}


def press(page: Page, button: str) -> None:
    """Press where presses count again: the page rests for half a second after each change."""
    page.click(f"#thumb:not([data-rest]) {button}")


def pipe_of(page: Page) -> str:
    return str(page.get_attribute("#one", "data-pipe"))


def test_it_is_dark_until_a_browser_chooses(server: Server, open_page: Open) -> None:
    page = at_the_pipe(server, open_page)
    assert page.evaluate(_GROUND) == DARK
    look_at(page, "pipe")
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    press(page, "#fault")
    look_at(page, "pipe-fault")
    page.click("#no-fault")
    page.click("details.choices summary")
    page.select_option("select[name=look]", "light")
    page.click("details.choices button")
    page.wait_for_selector("html[data-look=light]")
    assert page.evaluate(_GROUND) != DARK
    look_at(page, "pipe-chosen-light")


def test_all_that_is_pressed_is_large_and_within_the_reach_of_a_thumb(
    server: Server, open_page: Open
) -> None:
    page = at_the_pipe(server, open_page)
    for button in page.locator("#thumb button").all():
        box = button.bounding_box()
        assert box is not None
        assert box["height"] >= 44.0
        assert box["y"] > 0.75 * PHONE["height"]
        assert box["y"] + box["height"] <= PHONE["height"]
    key = page.locator("#key").evaluate("e => parseFloat(getComputedStyle(e).fontSize)")
    assert key >= 64.0


def test_done_skip_back_undo_and_a_fault(own_server: Server, open_page: Open) -> None:
    page = at_the_pipe(own_server, open_page)
    first = pipe_of(page)
    press(page, "#done")
    second = pipe_of(page)
    press(page, "#skip")
    third = pipe_of(page)
    assert len({first, second, third}) == 3
    press(page, "#undo")
    assert pipe_of(page) == second
    page.click("#back")
    assert (pipe_of(page), page.inner_text("#state-words")) == (first, "Done")
    assert page.inner_text("#done") == "Done"
    page.click("#next")
    press(page, "#fault")
    page.click("[data-kind='slow speech']")
    eventually(lambda: page.inner_text("#unsent") == "")
    assert {k: v for k, v in states(own_server).items() if k in {first, second}} == {
        first: "done",
        second: "open",
    }
    with opened_to_see(own_server.book) as book:
        newest = book.faults(1)[-1]
    assert (str(newest.pipe), newest.kind) == (second, "slow speech")


def test_it_says_which_way_and_how_far(server: Server, open_page: Open) -> None:
    page = at_the_pipe(server, open_page)
    with opened_to_see(server.book) as book:
        plan = book.current_plan(3)
        assert plan is not None
        item = next(i for i in plan.plan.items if str(i.pipe) == pipe_of(page))
    word, sign = ("sharp", "▲") if item.cents > 0 else ("flat", "▼")
    assert page.inner_text("#off") == f"{abs(item.cents):.1f} cents {word}"
    assert page.inner_text("#sign") == sign
    assert page.inner_text("#hz").startswith(f"{item.target_hz:.2f}"[:5])


def test_work_goes_on_without_a_link_and_nothing_is_lost(
    own_server: Server, open_page: Open
) -> None:
    page = at_the_pipe(own_server, open_page)
    own_server.stop()
    page.wait_for_selector("html[data-link=off]")
    ticked = []
    for _ in range(4):
        ticked.append(pipe_of(page))
        press(page, "#done")
    assert page.inner_text("#unsent") == "4 not yet sent"
    own_server.start()
    eventually(lambda: page.inner_text("#unsent") == "")
    wait_until_fresh(page, within_s=60.0)
    kept = states(own_server)
    assert [kept[pipe] for pipe in ticked] == ["done"] * 4


def test_what_another_device_ticks_is_left_out(own_server: Server, open_page: Open) -> None:
    desk = open_page(f"{own_server.address}/organ/1/visit/work")
    page = at_the_pipe(own_server, open_page)
    here = pipe_of(page)
    after = desk.evaluate(
        "(here) => [...document.querySelectorAll('.pipe')].map((row) => row.dataset)"
        ".filter((row) => row.state === 'open' && row.pipe !== here)[0].pipe",
        here,
    )
    words = page.inner_text("#progress-words")
    desk.click(f"[id='done-{after}']")
    eventually(lambda: states(own_server).get(after) == "done")
    eventually(lambda: page.inner_text("#progress-words") != words)
    press(page, "#done")
    assert pipe_of(page) != after


def test_a_stranger_place_is_refused(own_server: Server, open_page: Open) -> None:
    page = at_the_pipe(own_server, open_page)
    address = f"{own_server.address}/organ/1/pipe/at"
    answer = page.request.post(address, data={"pipe": "great.nothing8:1"})
    assert answer.status == 404
    answer = page.request.post(address, data={"where": "there"})
    assert answer.status == 400


def test_the_holder_follows_the_tuner(own_server: Server, open_page: Open) -> None:
    tuner = open_page(f"{own_server.address}/organ/1/pipe", size=PHONE)
    holder = open_page(f"{own_server.address}/organ/1/holding/worklist")
    eventually(lambda: holder.inner_text("#now") == tuner.inner_text("#key"))
    for button in ("#done", "#next", "#back", "#back"):
        tuner.click(f"#thumb:not([data-rest]) {button}")
        eventually(lambda: holder.inner_text("#now") == tuner.inner_text("#key"))
        eventually(lambda: holder.inner_text("#draw") == tuner.inner_text("#draw"))
    holder.keyboard.press("PageDown")  # looks ahead, and so follows no more
    assert not holder.is_checked("#follow")
    ahead = holder.inner_text("#place")
    tuner.click("#next")
    tuner.click("#next")
    tuner.click("#next")
    assert holder.inner_text("#place") == ahead
    holder.check("#follow")
    eventually(lambda: holder.inner_text("#now") == tuner.inner_text("#key"))


def test_the_newest_place_wins_over_a_slow_older_one(own_server: Server, open_page: Open) -> None:
    tuner = open_page(f"{own_server.address}/organ/1/pipe", size=PHONE)
    holder = open_page(f"{own_server.address}/organ/1/holding/worklist")
    eventually(lambda: holder.inner_text("#now") == tuner.inner_text("#key"))
    slow: list[Route] = []
    tuner.route("**/pipe/at", lambda route: route.continue_() if slow else slow.append(route))
    tuner.click("#next")
    _let_it_run(tuner, lambda: bool(slow))
    tuner.click("#next")
    tuner.wait_for_timeout(500.0)  # the second would be there by now, if it did not wait
    slow[0].continue_()
    _let_it_run(tuner, lambda: holder.inner_text("#now") == tuner.inner_text("#key"))
    tuner.wait_for_timeout(500.0)
    assert holder.inner_text("#now") == tuner.inner_text("#key")


def _let_it_run(page: Page, what: Callable[[], bool]) -> None:
    """Wait as `eventually` does, and let what was routed be answered meanwhile."""

    def looked() -> bool:
        page.wait_for_timeout(20.0)
        return what()

    eventually(looked)
