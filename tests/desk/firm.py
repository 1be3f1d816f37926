"""A firm's desk for tests: behind an origin, with two organs and people."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import uvicorn
from playwright.sync_api import Page

from walkboard.book.people.records import Person, PersonRole
from walkboard.desk.frame.origin import Origin
from walkboard.desk.frame.signing_in import SigningIn
from walkboard.desk.server.application import make_application
from walkboard.desk.server.network import bound
from walkboard.desk.server.serving import behind_proxy
from walkboard.organ import examples
from walkboard.work import open_book
from walkboard.work.people import roster
from walkboard.work.people.openid import Provider

OURS, OTHER = 1, 2  # organs


def firm_book(village: Path, folder: Path) -> Path:
    """A copy of the village's book with a second organ."""
    shutil.copytree(village, folder)
    with open_book.opened(folder) as book:
        book.add_organ("Other Hall", examples.village().replace("Brask", "Other"))
    return folder


@dataclass
class Firm:
    """A desk behind an origin that runs in this process."""

    book: Path
    origin: str

    def invite(self, name: str, role: PersonRole, organ: int | None) -> str:
        """The address that an invitation leads to."""
        with open_book.opened(self.book) as book:
            person = roster.add(book, name, role, organ)
            return self.origin + roster.invite(book, person, datetime.now(UTC)).path

    def person(self, name: str) -> Person:
        with open_book.opened(self.book) as book:
            return roster.named(book, name)


@contextmanager
def running(
    book: Path, *, origin: str = "", provider: Provider | None = None
) -> Iterator[tuple[Firm, int]]:
    """Serve a book behind an origin, by default at localhost itself; gives its port too."""
    listening = bound("127.0.0.1", 0)
    port = listening.getsockname()[1]
    place = Origin.parse(origin.format(port=port) or f"http://localhost:{port}")
    made = make_application(book, signing_in=SigningIn.at(place, provider))
    server = uvicorn.Server(behind_proxy(made))
    thread = threading.Thread(target=server.run, args=([listening],))
    thread.start()
    try:
        yield Firm(book, str(place)), port
    finally:
        server.should_exit = True
        thread.join(timeout=30)
        listening.close()


def with_finger(page: Page) -> Any:
    """A phone's own authenticator, as Chromium simulates it (W3C Web Authentication, 11)."""
    chrome = page.context.new_cdp_session(page)
    chrome.send("WebAuthn.enable")
    options = {
        "protocol": "ctap2",
        "transport": "internal",
        "hasResidentKey": True,
        "hasUserVerification": True,
        "isUserVerified": True,
        "automaticPresenceSimulation": True,
    }
    chrome.send("WebAuthn.addVirtualAuthenticator", {"options": options})
    return chrome
