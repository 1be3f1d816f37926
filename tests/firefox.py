"""Debian's Firefox, driven over WebDriver BiDi (W3C), which it speaks without any driver program.

Playwright drives only the Firefox that it ships itself, so this is a small client of our own: open
a page, evaluate in it, and note every request that it makes.
"""

from __future__ import annotations

import itertools
import json
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from websockets.sync.client import ClientConnection, connect

FIREFOX = shutil.which("firefox-esr")
_LONGEST_S = 60.0  # for one answer: a machine under load
# A first start without pages of its own, and sound without a press.
_SETTINGS = {
    "datareporting.policy.dataSubmissionEnabled": False,
    "browser.shell.checkDefaultBrowser": False,
    "media.autoplay.default": 0,
}


class Tab:
    """One page of the browser."""

    def __init__(self, socket: ClientConnection) -> None:
        self._socket = socket
        self._numbers = itertools.count(1)
        self.requests: list[str] = []
        self.version = self._call("session.new", capabilities={})["capabilities"]["browserVersion"]
        self._context = self._call("browsingContext.getTree")["contexts"][0]["context"]
        self._call("session.subscribe", events=["network.beforeRequestSent"])

    def open(self, address: str) -> None:
        """Go to an address and wait until all of the page has loaded."""
        self._call("browsingContext.navigate", context=self._context, url=address, wait="complete")

    def evaluate(self, expression: str) -> Any:
        """The value of an expression in the page, waited for, by way of JSON."""
        found = self._call(
            "script.evaluate",
            expression=f"Promise.resolve({expression}).then((v) => JSON.stringify(v ?? null))",
            target={"context": self._context},
            awaitPromise=True,
        )
        if found["type"] == "exception":
            raise AssertionError(found["exceptionDetails"]["text"])
        return json.loads(found["result"]["value"])

    def resize(self, width: int, height: int) -> None:
        """Give the page another size, in CSS pixels."""
        self._call(
            "browsingContext.setViewport",
            context=self._context,
            viewport={"width": width, "height": height},
        )

    def _call(self, method: str, **params: Any) -> dict[str, Any]:
        number = next(self._numbers)
        self._socket.send(json.dumps({"id": number, "method": method, "params": params}))
        while True:
            answer = json.loads(self._socket.recv(timeout=_LONGEST_S))
            if answer.get("method") == "network.beforeRequestSent":
                self.requests.append(answer["params"]["request"]["url"])
            if answer.get("id") != number:
                continue
            if answer["type"] == "error":
                raise AssertionError(f"{method}: {answer['message']}")
            result: dict[str, Any] = answer["result"]
            return result


@contextmanager
def firefox() -> Iterator[Tab]:
    """A browser of its own with an empty profile; it is ended afterwards."""
    assert FIREFOX is not None
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        lines = [f"user_pref({json.dumps(n)}, {json.dumps(v)});" for n, v in _SETTINGS.items()]
        Path(profile, "user.js").write_text("\n".join(lines), encoding="utf-8")
        asked = [FIREFOX, "--headless", "--no-remote", "--profile", profile]
        with subprocess.Popen(
            [*asked, "--remote-debugging-port", "0"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        ) as process:
            try:
                with connect(f"{_address(process)}/session", max_size=None) as socket:
                    yield Tab(socket)
            finally:
                process.terminate()


def _address(process: subprocess.Popen[str]) -> str:
    assert process.stderr is not None
    for line in process.stderr:
        found = re.search(r"WebDriver BiDi listening on (ws://\S+)", line)
        if found:
            return found[1]
    raise AssertionError("Firefox ended before it could be driven")
