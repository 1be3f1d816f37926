"""Signing in by the firm's identity provider: invited once, and known from then on."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import urlencode

import httpx2
from cryptography.hazmat.primitives.asymmetric import rsa

from tests.desk.firm import OURS, firm_book, running
from tests.identity_provider import CLIENT, SECRET, answering
from walkboard.book.people.records import PersonRole
from walkboard.work.people.openid import Provider


def test_invited_once_and_known_from_then_on(village_book: Path, tmp_path: Path) -> None:
    book = firm_book(village_book, tmp_path / "book")
    key = rsa.generate_private_key(65537, 2048)
    with answering(key, "") as provider:
        known = Provider("Firm", provider.issuer, CLIENT, SECRET)
        with running(book, provider=known) as (firm, _):
            provider.back = f"{firm.origin}/sign-in/openid/back"
            token = firm.invite("Ada Marsh", PersonRole.VENUE, OURS).partition("#")[2]

            def come_back(browser: httpx2.Client, address: str) -> int:
                back = urlencode(provider.let_in(address))
                return browser.get(f"/sign-in/openid/back?{back}").status_code

            with httpx2.Client(base_url=firm.origin) as browser:
                there = browser.get("/sign-in/openid").headers["location"]
                assert come_back(browser, there) == 400  # nobody's account
                assert browser.get("/organs").status_code == 401
                there = browser.post("/welcome/openid", json={"token": token}).json()["to"]
                assert come_back(browser, there) == 303
                assert browser.get("/").headers["location"] == f"/organ/{OURS}/report"
                used = browser.post("/welcome/openid", json={"token": token})
                assert used.status_code == 400
            with httpx2.Client(base_url=firm.origin) as browser:
                there = browser.get("/sign-in/openid").headers["location"]
                assert come_back(browser, there) == 303
                assert browser.get(f"/organ/{OURS}/calendar").status_code == 200
