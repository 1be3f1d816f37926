"""People in a browser: invited, a passkey added, signed in, and what each then sees and may do."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.desk.conftest import Open, wait_until_fresh
from tests.desk.firm import OTHER, OURS, Firm, firm_book, running, with_finger
from tests.desk.looking import assert_accessible, look_at
from walkboard.book.people.records import PersonRole
from walkboard.work import open_book


@pytest.fixture(scope="module")
def firm(village_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Firm]:
    book = firm_book(village_book, tmp_path_factory.mktemp("firm") / "book")
    with running(book) as (found, _):
        yield found


def accept(page: Page, then: str) -> str:
    """Add a passkey by the invitation that the page shows; gives the recovery code."""
    page.get_by_role("button", name="Add a passkey").click()
    expect(page.locator("#done")).to_be_visible()
    code = page.locator("#code").inner_text()
    page.get_by_role("link", name="Go on").click()
    page.wait_for_url(then)
    return code


def test_a_venue_from_the_invitation_to_a_fault_and_back_in(firm: Firm, open_page: Open) -> None:
    invitation = firm.invite("Wardens of the Hall", PersonRole.VENUE, OURS)
    page = open_page(invitation, wait=False)
    with_finger(page)
    assert "#" not in page.url  # the token is out of the address, and of the history
    look_at(page, "welcome")
    code = accept(page, f"{firm.origin}/organ/{OURS}/report")

    # It sees its organ's report, calendar and faults, and no other page.
    wait_until_fresh(page)
    places = page.locator("#places a").all_inner_texts()
    assert [place.split()[0] for place in places] == ["Report", "Faults", "Calendar", "My"]
    assert_accessible(page)
    for path in (f"/organ/{OURS}", f"/organ/{OURS}/book", f"/organ/{OTHER}/report", "/people"):
        answer = page.request.get(firm.origin + path)
        assert answer.status == 403, path
        assert "Other Hall" not in answer.text()
    page.goto(f"{firm.origin}/organ/{OURS}/calendar")
    assert page.locator("main form").count() == 0
    assert_accessible(page)

    # It reports a fault, and the book knows who did.
    page.goto(f"{firm.origin}/organ/{OURS}/faults/new")
    page.get_by_label("What").first.select_option("cipher")
    page.locator("textarea").fill("It sings by itself when it rains.")
    page.locator("main form button").click()
    expect(page.locator("#fault-facts")).to_contain_text("Wardens of the Hall")
    expect(page.locator(".recorded")).to_contain_text("Wardens of the Hall reported it")
    assert page.locator("#fault-actions form").count() == 0
    with open_book.opened(firm.book) as book:
        fault = book.faults(OURS)[-1]
    assert (fault.words, fault.reporter) == (
        "It sings by itself when it rains.", "Wardens of the Hall",
    )  # fmt: skip

    # It signs out, and in again with the passkey, to where it was going.
    page.goto(f"{firm.origin}/account")
    look_at(page, "account")
    page.get_by_role("button", name="Sign out of this browser").click()
    page.wait_for_url(f"{firm.origin}/sign-in")
    page.goto(f"{firm.origin}/organ/{OURS}/faults")
    page.wait_for_url(re.compile("/sign-in.to="))
    look_at(page, "sign-in")
    page.get_by_role("button", name="Sign in with a passkey").click()
    page.wait_for_url(f"{firm.origin}/organ/{OURS}/faults")

    # An invitation works once.
    again = open_page(invitation, wait=False)
    with_finger(again)
    again.get_by_role("button", name="Add a passkey").click()
    expect(again.locator("#trouble")).to_contain_text("was used already")

    # The recovery code works once, on another device, where a new passkey is added.
    again.goto(f"{firm.origin}/sign-in")
    again.get_by_text("I have lost my passkey").click()
    again.get_by_label("Recovery code").fill(code.lower())
    again.get_by_role("button", name="Sign in with the code").click()
    again.wait_for_url(re.compile("/account.lost=yes"))
    expect(again.locator("main")).to_contain_text("You have no recovery code.")
    again.get_by_role("button", name="Add a passkey on this device").click()
    expect(again.get_by_text("Passkey 2")).to_be_visible()
    again.get_by_role("button", name="Remove passkey 1").click()
    expect(again.get_by_text("Passkey 1")).to_have_count(0)
    again.get_by_role("button", name="Make a new code").click()
    expect(again.locator("#code")).to_be_visible()
    again.goto(f"{firm.origin}/sign-in")  # signed in: it goes on
    again.wait_for_url(f"{firm.origin}/organ/{OURS}/report")

    # The lost device's passkey opens nothing any more.
    page.goto(f"{firm.origin}/account")
    page.get_by_role("button", name="Sign out of this browser").click()
    page.wait_for_url(f"{firm.origin}/sign-in")  # with its script: the button is only its
    page.get_by_role("button", name="Sign in with a passkey").click()
    expect(page.locator("#trouble")).to_contain_text("was not accepted")


def test_the_owner_invites_and_removes(firm: Firm, open_page: Open) -> None:
    page = open_page(firm.invite("Olive Owner", PersonRole.OWNER, None), wait=False)
    with_finger(page)
    accept(page, f"{firm.origin}/")
    page.goto(f"{firm.origin}/people")
    page.get_by_label("Name", exact=True).fill("Tom Tuner")
    page.locator("select[name=role]").select_option("tuner")
    page.locator("select[name=organ]").select_option(str(OURS))
    page.get_by_role("button", name="Add", exact=True).click()
    page.get_by_role("button", name="Invite Tom Tuner").click()
    link = page.locator("#invitation-link").inner_text()
    assert link.startswith(f"{firm.origin}/welcome#")
    look_at(page, "people")

    tuner = open_page(link, wait=False)
    with_finger(tuner)
    accept(tuner, f"{firm.origin}/organ/{OURS}")
    wait_until_fresh(tuner)
    assert tuner.request.get(f"{firm.origin}/organ/{OTHER}").status == 403
    assert tuner.request.get(f"{firm.origin}/organ/{OURS}/live").status == 403
    assert tuner.request.get(f"{firm.origin}/organ/{OURS}/book/export/book.json").status == 403

    page.get_by_role("button", name="Remove Tom Tuner").click()
    expect(page.get_by_role("rowheader", name="Tom Tuner")).to_have_count(0)
    # What he has open ends by itself, and nothing more is answered.
    tuner.wait_for_selector("html[data-link=off], #pair-again:not([hidden])")
    assert tuner.request.get(f"{firm.origin}/organ/{OURS}", max_redirects=0).status in {303, 401}
    own = page.get_by_role("button", name="Remove Olive Owner")
    own.click()
    expect(page.locator("main")).to_contain_text("These are your own rights.")
