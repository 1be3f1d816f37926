"""The browser's own microphone as the live source, with the device that Chromium makes up."""

from __future__ import annotations

import pytest
import soundfile
from playwright.sync_api import Browser

from tests.browser import CHROMIUM
from tests.desk.conftest import Server, eventually, wait_until_fresh
from walkboard.work.live.values import FOLDER

pytestmark = pytest.mark.long


def test_what_the_browser_hears_comes_to_the_desk_whole(
    browser: Browser, own_server: Server
) -> None:
    with browser.browser_type.launch(
        executable_path=CHROMIUM,
        args=[
            "--no-sandbox",
            "--disable-dev-shm-usage",
            "--use-fake-device-for-media-stream",  # beeps once a second
            "--use-fake-ui-for-media-stream",
        ],
    ) as listening:
        page = listening.new_page()
        page.goto(f"{own_server.address}/organ/1/live")
        wait_until_fresh(page)
        page.click("#start-browser")
        page.wait_for_selector("#stop", timeout=10_000)
        # the beeps are heard, though they are no pipe of the worklist
        eventually(lambda: float(str(page.evaluate("document.getElementById('level').value"))) > 5)
        (recording,) = (own_server.book / FOLDER).glob("*.flac")
        page.wait_for_timeout(2500)
        assert "lost" not in page.inner_text("#m-level-words")
        # written as it comes: what lies on the disk is a recording already
        heard = soundfile.info(str(recording))
        assert (heard.format, heard.channels) == ("FLAC", 1)
        page.click("#stop")
        page.wait_for_selector("#start-browser", timeout=10_000)
