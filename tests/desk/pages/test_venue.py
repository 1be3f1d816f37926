"""The venue's page: open to anyone with the card's code, in three languages, and kept as a file."""

from __future__ import annotations

from tests.desk.conftest import Open, Server
from tests.desk.looking import look_at
from walkboard.desk.frame import console_cards


def test_the_venue_reads_and_keeps_page_1_without_an_account(
    own_server: Server, open_page: Open
) -> None:
    token = console_cards.token_of(own_server.book, 1)
    page = open_page(f"{own_server.address}/report/{token}")
    page.click("text=The last report on this organ")
    page.wait_for_url("**/venue/**")
    assert "Is it ready?" in page.inner_text("main")
    look_at(page, "venue")
    page.context.add_cookies([{"name": "language", "value": "fr", "url": own_server.address}])
    page.goto(f"{own_server.address}/venue/{token}")
    page.wait_for_selector("h2 >> text=Est-il prêt ?")
    page.goto(f"{own_server.address}/venue/{token}?language=en")
    page.context.clear_cookies(name="language")
    page.reload()
    page.click("text=Deutsch")
    page.wait_for_selector("h2 >> text=Ist sie bereit?")
    with page.expect_download() as started:
        page.click("text=Keep this page")
    kept = started.value.path().read_text(encoding="utf-8")
    assert '<html lang="de">' in kept
    assert "Ist sie bereit?" in kept
    for odd in ("/venue/nothing", f"/venue/{token}?language=xx"):
        answer = page.request.get(f"{own_server.address}{odd}")
        assert answer.status == 404
