"""What is asked of every page: that it is accessible, and a picture of it to look at."""

from __future__ import annotations

from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

LAPTOP, PHONE = {"width": 1280, "height": 800}, {"width": 390, "height": 844}
SCREENS = Path(__file__).resolve().parents[2] / "build" / "screens"
# WCAG 2.2 A and AA, and what axe-core calls best practice.
_VIEWS = (("light", "laptop", LAPTOP), ("dark", "phone", PHONE))
_RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


# Violations with all their places; of what is in order one place is enough: to tell every place of
# every rule took more than half of the time. Sounds that play by themselves are looked for below.
AXE_OPTIONS = {
    "runOnly": {"type": "tag", "values": _RULES},
    "resultTypes": ["violations"],
    "preload": False,
}


def assert_accessible(page: Page) -> None:
    """No violation found by axe-core, and nothing wider than the window."""
    # The text of a page that was just sent can be there before its style sheet is.
    page.wait_for_load_state("load")
    found = Axe().run(page, options=AXE_OPTIONS)
    assert page.query_selector("[autoplay]") is None
    assert found.response["passes"], "axe-core checked nothing"
    said = [
        f"{v['id']}: {v['help']} {[n['html'][:160] for n in v['nodes'][:4]]}"
        for v in found.response["violations"]
    ]
    assert not said, said
    wider = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert wider <= 0, f"the page is {wider} px wider than the window"


def look_at(page: Page, name: str) -> None:
    """Check a page in both looks and at both sizes, and keep pictures under build/screens."""
    SCREENS.mkdir(parents=True, exist_ok=True)
    for look, kind, size in _VIEWS:
        page.emulate_media(color_scheme=look)  # type: ignore[arg-type]
        page.set_viewport_size(size)  # type: ignore[arg-type]
        assert_accessible(page)
        page.screenshot(path=SCREENS / f"{name}-{kind}-{look}.png", full_page=True)
