"""Debian's Chromium, one for all tests of a run: Playwright drives no two in one process."""

from __future__ import annotations

import asyncio
import shutil
from collections.abc import Iterator
from contextlib import suppress

import pytest
from playwright.sync_api import Browser, BrowserContext, sync_playwright

CHROMIUM = shutil.which("chromium")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if CHROMIUM is None:
        pytest.skip("Debian's chromium is not installed: the pages are not tried in a browser")
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu"],
        )
        yield launched
        launched.close()


def close(context: BrowserContext, within_s: float = 20.0) -> None:
    """Close a window, or leave it to the end of the browser.

    About once in fifty runs of a test with three windows, on a loaded machine, the browser never
    answers the request to close one. `BrowserContext.close` has no limit of its own, hence the
    private parts. Nothing is tried in a window that is being closed.
    """
    closing = context._impl_obj.close(reason=None)
    with suppress(TimeoutError):
        context._sync(asyncio.wait_for(closing, within_s))
