"""Every page from a small phone to a wide screen: nothing sticks out, every button is large."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Browser, Page

from tests.browser import close
from tests.desk.conftest import Server
from tests.desk.looking import assert_accessible
from walkboard.desk.text.catalogue import catalogue
from walkboard.languages.spoken import LANGUAGES
from walkboard.languages.translation import sentences

WIDTHS = (320, 360, 390, 660, 768, 880, 1280, 2560)
PATHS = (
    "/organs", "/organs/new", "/organ/1", "/organ/1/description",
    "/organ/1/rank/great.open8?pipe=9", "/organ/1/visit/arrival", "/organ/1/visit/listen",
    "/organ/1/visit/plan?worked=1", "/organ/1/visit/work", "/organ/1/visit/close", "/organ/1/pipe",
    "/organ/1/holding", "/organ/1/holding/worklist", "/organ/1/live", "/organ/1/faults",
    "/organ/1/faults/1", "/organ/1/calendar", "/organ/1/book", "/organ/1/book/visit/3", "/sharing",
    "/pair", "/practice", "/kept", "/organ/1/bearings", "/organ/1/air",
)  # fmt: skip
# Controls of a phone must be 44 px high (WCAG 2.2, 2.5.5); a checkbox counts with its label.
_CONTROLS = "button, input, select, textarea, .button, summary"
_SMALL = """(controls) => [...document.querySelectorAll(controls)]
  .filter((e) => {
    const box = e.getBoundingClientRect();
    if (!box.width || e.type === 'hidden') return false;
    const label = e.closest('label')?.getBoundingClientRect() ?? box;
    return Math.max(box.height, label.height) < 43.5;
  }).map((e) => `${e.tagName} ${e.id} ${e.className}`)"""


USERS = {"Sounds by itself"}  # a fault of the village's book begins so
# What a page shows and what a screen reader says.
_SEEN = """() => [document.body.innerText, ...[...document.querySelectorAll(
  '[aria-label], [title], [placeholder], svg title')].map((e) => e.getAttribute('aria-label') ||
    e.getAttribute('title') || e.getAttribute('placeholder') || e.textContent)].join('\\n')"""


def left_in_english(seen: str, language: str) -> list[str]:
    """Texts of the English catalogue and sentences of three words and more on a page."""
    theirs = catalogue(language)
    english = [
        text
        for key, text in catalogue("en").items()
        if isinstance(text, str) and theirs[key] != text
    ]
    english += [text for text, turned in sentences(language).items() if turned != text]
    plain = [re.split(r"\{\w+\}", text) for text in english]
    pieces = {part.strip() for parts in plain for part in parts if len(part.split()) > 2}
    return sorted(piece for piece in pieces - USERS if piece in seen)


def too_wide(page: Page) -> int:
    return int(page.evaluate("document.documentElement.scrollWidth - innerWidth"))


@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_is_wider_than_the_window(server: Server, browser: Browser, language: str) -> None:
    context = browser.new_context(viewport={"width": 1280, "height": 700})
    context.add_cookies([{"name": "language", "value": language, "url": server.address}])
    page = context.new_page()
    paths = PATHS if language == "en" else PATHS[2:]
    found = []
    for path in paths:
        page.goto(server.address + path)
        for width in WIDTHS if language == "en" else WIDTHS[:2]:
            page.set_viewport_size({"width": width, "height": 700})
            if too_wide(page) > 0:
                found.append(f"{path} at {width} px")
        if language != "en":
            left = left_in_english(page.evaluate(_SEEN), language)
            found += [f"{path} in {language}: {words}" for words in left]
        page.set_viewport_size({"width": 390, "height": 844})
        found += [f"{path}: {small}" for small in page.evaluate(_SMALL, _CONTROLS)]
    close(context)
    assert found == []


def test_axe_finds_nothing_on_the_page_of_what_is_kept(server: Server, browser: Browser) -> None:
    for look in ("light", "dark"):
        context = browser.new_context(viewport={"width": 390, "height": 844}, color_scheme=look)
        page = context.new_page()
        page.goto(f"{server.address}/kept")
        assert_accessible(page)
        context.close()


def test_the_key_is_in_view_and_under_no_button(server: Server, browser: Browser) -> None:
    # A phone, a small one, one on its side, a laptop at 200 and at 400 per cent (WCAG 1.4.10).
    sizes = ((390, 844), (360, 640), (844, 390), (640, 360), (640, 400), (320, 256), (820, 1180))
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"{server.address}/organ/1/pipe")
    page.wait_for_selector("#one[data-pipe]")
    for width, height in sizes:
        page.set_viewport_size({"width": width, "height": height})
        page.evaluate("scrollTo(0, 0)")
        for wanted in ("#key", "#stop", "#done"):
            page.locator(wanted).scroll_into_view_if_needed()
            covered = page.evaluate(
                """(wanted) => {
                  const box = document.querySelector(wanted).getBoundingClientRect();
                  const at = document.elementFromPoint(box.x + 8, box.y + box.height / 2);
                  return !at || !document.querySelector(wanted).contains(at);
                }""",
                wanted,
            )
            assert not covered, f"{wanted} at {width} × {height}"
        if height >= 360:
            page.evaluate("scrollTo(0, 0)")
            key = page.locator("#key").bounding_box()
            done = page.locator("#done").bounding_box()
            assert key is not None
            assert done is not None
            assert key["y"] + key["height"] <= height
            assert done["y"] + done["height"] <= height
    close(context)


@pytest.mark.long
@pytest.mark.parametrize("look", ["light", "dark"])
def test_every_page_is_accessible_at_four_sizes(
    server: Server, browser: Browser, look: str
) -> None:
    for forced in ("none", "active"):
        context = browser.new_context(color_scheme=look, forced_colors=forced)  # type: ignore[arg-type]
        page = context.new_page()
        for path in PATHS:
            page.goto(server.address + path)
            for width, height in ((360, 640), (390, 844), (820, 1180), (1280, 800)):
                page.set_viewport_size({"width": width, "height": height})
                assert_accessible(page)
        close(context)


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_button_at_the_pipe_breaks_a_word(
    server: Server, browser: Browser, language: str
) -> None:
    context = browser.new_context(viewport={"width": 360, "height": 740})
    context.add_cookies([{"name": "language", "value": language, "url": server.address}])
    page = context.new_page()
    page.goto(f"{server.address}/organ/1/pipe")
    page.wait_for_selector("#one[data-pipe]")
    broken = page.locator("#thumb button").evaluate_all(
        """(buttons) => buttons.filter((button) => {
          const range = document.createRange();
          range.selectNodeContents(button);
          const lines = new Set([...range.getClientRects()].map((box) => Math.round(box.top)));
          return lines.size > button.textContent.trim().split(/\\s+/).length;
        }).map((button) => button.textContent)"""
    )
    close(context)
    assert broken == []
