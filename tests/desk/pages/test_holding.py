"""Holding: the next key by hand, by foot, by an even pace, or following the tuner."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import cast
from urllib.request import Request, urlopen

from playwright.sync_api import Page

from tests.desk.conftest import Open, Server, eventually
from tests.desk.looking import look_at
from walkboard.desk.frame.desk import Desk
from walkboard.desk.pages.holding import _enough
from walkboard.organ.reading import read_organ
from walkboard.survey.plan.walk_plan import SurveyWalk
from walkboard.work.snapshot import opened_to_see


def walk(server: Server, open_page: Open, number: int) -> Page:
    page = open_page(f"{server.address}/organ/1/holding/walk/{number}")
    page.wait_for_selector(".hold")
    return page


def tell(server: Server, topic: str, value: object) -> None:
    body = json.dumps({"topic": topic, "value": value}).encode()
    with urlopen(Request(f"{server.address}/tell", body, method="POST"), timeout=20):
        return


def shown(page: Page) -> tuple[str, str, str]:
    return page.inner_text("#last"), page.inner_text("#now"), page.inner_text("#next")


def test_the_pages_are_accessible(server: Server, open_page: Open) -> None:
    page = open_page(f"{server.address}/organ/1/holding")
    page.wait_for_selector(".walks")
    look_at(page, "holding")
    look_at(walk(server, open_page, 2), "holding-walk")
    look_at(open_page(f"{server.address}/organ/1/holding/worklist"), "holding-worklist")


def test_keyboard_and_foot_switch_go_on(server: Server, open_page: Open) -> None:
    page = walk(server, open_page, 1)
    assert shown(page) == ("", "C2", "C♯2")
    for key in (" ", "ArrowRight", "PageDown"):
        page.keyboard.press(key)
    assert shown(page) == ("D2", "D♯2", "E2")
    assert page.get_attribute(".keyboard .held", "data-key") == "39"
    page.keyboard.press("PageUp")
    assert page.inner_text("#now") == "D2"
    page.focus("#pace")
    page.keyboard.press("ArrowLeft")  # it is typed in there, but a foot is a foot
    assert page.inner_text("#now") == "D2"
    page.keyboard.press("PageDown")
    assert page.inner_text("#now") == "D♯2"
    page.reload()  # as after a sleep
    page.wait_for_selector("html[data-link=fresh]")
    assert page.inner_text("#now") == "D♯2"


def test_an_even_pace_holds_each_key_as_long(server: Server, open_page: Open) -> None:
    page = walk(server, open_page, 1)
    page.clock.install()
    page.reload()
    page.wait_for_selector(".hold")
    page.evaluate("sessionStorage.clear()")
    page.fill("#pace", "2")
    page.fill("#gap", "1")
    before = page.inner_text("#place")
    page.click("#run")
    page.clock.run_for(1900)
    assert page.inner_text("#place") == before
    page.clock.run_for(500)
    assert "between" in str(page.get_attribute(".hold", "class"))
    page.clock.run_for(800)
    first = int(page.inner_text("#place").split()[0])
    assert first == int(before.split()[0]) + 1
    page.clock.run_for(3 * 3050)
    assert int(page.inner_text("#place").split()[0]) == first + 3
    page.click("#run")
    page.clock.run_for(9000)
    assert int(page.inner_text("#place").split()[0]) == first + 3


def test_a_key_says_how_it_was_heard(server: Server, open_page: Open) -> None:
    """The book's Oboe has no value at its pipes 11 and 34; its lowest key is C3."""
    page = open_page(f"{server.address}/organ/1/holding")
    # Which walk it stands in is the survey's to choose; here it stands alone.
    page.click("a[href*='/holding/walk/']:has-text('Swell Oboe 8′')")
    page.wait_for_selector("#only-missed:not([hidden])")
    assert page.inner_text("#heard") == "● Heard well"
    page.click("#only-missed")
    assert (page.inner_text("#now"), page.inner_text("#next")) == ("A♯3", "A5")
    assert page.inner_text("#heard") == "× Not heard: hold it again"
    assert page.inner_text("#place") == "1 of 2"
    page.click("#only-missed")
    assert page.inner_text("#place") == "1 of 42"


def test_who_listens_live_says_when_it_is_enough(server: Server, open_page: Open) -> None:
    page = walk(server, open_page, 1)
    drawn = ["great.open8", "great.stopped8", "great.principal4", "great.fifteenth2"]
    tell(server, "holds.3", {"key": 36, "state": "more", "drawn": drawn})
    eventually(lambda: page.inner_text("#heard") == "Keep holding")
    tell(server, "holds.3", {"key": 36, "state": "enough", "drawn": drawn})
    eventually(lambda: page.inner_text("#heard") == "● Heard well enough: go on")
    assert "fresh-only" in str(page.get_attribute("#heard", "class"))
    page.keyboard.press(" ")
    assert page.inner_text("#heard") == ""


def test_a_walk_counts_its_own_keys_and_no_others(village_book: Path) -> None:
    with opened_to_see(village_book) as book:
        (kept,) = book.organs()
        organ, visit = read_organ(kept.description), book.visits(kept.id)[-1]
        keys = organ.division("great").all_keys[:7]
        walked = cast(SurveyWalk, SimpleNamespace(drawn=("great.open8",), keys=keys))
        desk = cast(Desk, SimpleNamespace(book=book))
        # The visit heard this stop on every key; the walk asks for seven of them.
        heard = _enough(desk, organ, visit, walked)
    assert set(heard) == {key.semitone for key in keys}
