"""A whole visit in Chromium: from recordings to the closed report, on a laptop and a phone."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page

from tests.desk.conftest import Open, Server, eventually, wait_until_fresh
from tests.desk.looking import LAPTOP, PHONE, look_at
from tests.desk.walking import KEYS, make_empty_book, make_walk
from walkboard.work.snapshot import opened_to_see


@pytest.fixture(scope="module")
def chapel(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = tmp_path_factory.mktemp("chapel") / "book"
    make_empty_book(folder)
    running = Server(folder)
    running.start()
    yield running
    running.stop()


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("walk") / "principal 8.wav"
    make_walk(path)
    return path


def on_arrival(page: Page, address: str) -> None:
    page.goto(f"{address}/organ/1/visit")
    page.fill("[name=purpose]", "Before the carol service")
    page.fill("[name=minutes]", "60")
    page.fill("[name='air.great']", "1O")  # a letter, as it happens
    page.click("button.main")
    assert "“1O” is not a valid number" in page.inner_text("[role=alert]:not([hidden])")
    assert page.input_value("[name=purpose]") == "Before the carol service"
    page.fill("[name='air.great']", "18,0")
    page.fill("[name='wind.great']", "75")
    page.fill("[name=humidity]", "55")
    page.click("button.main")
    page.wait_for_url("**/visit/listen")


def listen(page: Page, recording: Path) -> None:
    page.wait_for_selector("#walk")
    page.set_input_files("#files", recording)
    assert page.inner_text("#taking-trouble") == "Say which stops were drawn first."
    page.click("#stops summary")
    page.check("[value='great.principal8']")
    assert page.input_value("#air") == "18.0"
    page.set_input_files("#files", recording)
    page.wait_for_selector(".coming")
    page.wait_for_selector("#heard article", timeout=60_000)
    said = page.inner_text("#heard article")
    assert f"{KEYS - 1} keys named" in said
    assert f"{KEYS - 1} pipes read" in said
    assert "18.0\N{NO-BREAK SPACE}°C" in said
    page.click("text=Note as a fault")
    page.wait_for_selector("text=Noted as a fault")
    assert page.is_hidden("text=Note as a fault")
    assert page.inner_text("#heard .suspects span") == "F♯3 not heard: dead note?"


def plan(page: Page) -> int:
    page.click("text=Plan")
    page.wait_for_selector("#tried .drawing")
    page.focus("#minutes")
    for _ in range(4):
        page.keyboard.press("ArrowLeft")
    page.wait_for_selector("#tried[data-minutes='40'][aria-busy=false]")
    assert page.inner_text("#minutes-words") == "40"
    assert "with 40 minutes" in (page.get_attribute("#tried svg", "aria-label") or "")
    pipes = int(page.inner_text("#tried dl .figure:first-child dd"))
    page.click("text=Adopt as the worklist")
    page.wait_for_url("**/visit/work")
    return pipes


def test_from_recordings_to_the_closed_report(
    chapel: Server, recording: Path, open_page: Open
) -> None:
    laptop = open_page(f"{chapel.address}/organ/1/visit")
    look_at(laptop, "visit-none")
    laptop.set_viewport_size(LAPTOP)  # type: ignore[arg-type]
    on_arrival(laptop, chapel.address)
    listen(laptop, recording)
    pipes = plan(laptop)
    assert pipes >= 3
    assert laptop.locator(".pipe").count() == pipes

    phone = open_page(f"{chapel.address}/organ/1/pipe", size=PHONE)
    holder = open_page(f"{chapel.address}/organ/1/holding/worklist", size=PHONE)
    first = laptop.inner_text(".pipe:first-child .pipe-key")
    assert phone.inner_text("#key") == first == holder.inner_text("#now")

    laptop.click(".pipe:first-child [data-set=done]")
    eventually(lambda: phone.is_visible("#state"))
    phone.click("#next")
    phone.click("#thumb:not([data-rest]) #skip")
    eventually(lambda: laptop.locator("[data-state=skipped]").count() == 1)
    second = phone.inner_text("#key")
    eventually(lambda: holder.inner_text("#now") == second)

    chapel.stop()
    phone.wait_for_selector("html[data-link=off]")
    phone.click("#thumb:not([data-rest]) #done")
    assert phone.inner_text("#unsent") == "1 not yet sent"
    third = phone.inner_text("#key")
    chapel.start()
    for page in (phone, holder, laptop):
        wait_until_fresh(page, within_s=60.0)
    eventually(lambda: phone.inner_text("#unsent") == "")
    eventually(lambda: laptop.locator("[data-state=done]").count() == 2)
    eventually(lambda: holder.inner_text("#now") == third)

    laptop.click("text=Closing")
    for sheet in ("Report", "Worklist"):
        link = laptop.get_attribute(f"text={sheet} as PDF", "href")
        answer = laptop.request.get(f"{chapel.address}{link}")
        assert answer.ok
        assert answer.body().startswith(b"%PDF-")
        assert answer.headers["content-type"] == "application/pdf"
    laptop.fill("[name=note]", "<script>alert(1)</script> F♯3 wants a builder.")
    if laptop.locator("[name=sure]").count():
        laptop.check("[name=sure]")
    laptop.click("main button.main")
    laptop.wait_for_url("**/closed")
    assert "<script>alert(1)</script>" in laptop.inner_text(".said")
    look_at(laptop, "visit-closed")
    eventually(lambda: "No visit is open" in phone.inner_text("main"))

    with opened_to_see(chapel.book) as book:
        (visit,) = book.visits(1)
        assert not visit.is_open
        assert visit.conditions[0].air_celsius == {"great": 18.0}
        assert visit.conditions[0].wind_mm == {"great": 75.0}
        assert visit.conditions[0].humidity == pytest.approx(0.55)
        (kept,) = book.recordings(visit.id)
        assert kept.file_name == "principal 8.wav"
        assert sorted(t.state for t in book.pipe_states(visit.id).values()) == [
            "done",
            "done",
            "skipped",
        ]
        assert [f.key for f in book.faults(1)] == ["F#3"]
        assert not list((chapel.book / "not-yet-heard").iterdir())
