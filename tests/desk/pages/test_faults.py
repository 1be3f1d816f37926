"""Faults: reported by players at the console, located, merged, fixed and reopened."""

from __future__ import annotations

import re
from io import BytesIO

import pypdf
import pytest
from starlette.testclient import TestClient

from tests.browser import close
from tests.desk.asking import client_of
from tests.desk.conftest import Open, Server
from tests.desk.looking import PHONE, look_at
from walkboard.book.records import FaultKind
from walkboard.desk.frame import console_cards
from walkboard.desk.frame.allowance import Allowance
from walkboard.desk.pages.fault_forms import GROUPS, word_of
from walkboard.desk.pages.report import EACH
from walkboard.desk.server.application import make_application
from walkboard.desk.text.catalogue import say
from walkboard.work.snapshot import opened_to_see

SHARED = "192.168.7.5"
NASTY = "<script>alert(1)</script> \"' {{ 7*7 }} <img src=x onerror=alert(1)>"


@pytest.fixture(scope="module")
def application(own_server: Server):
    made = make_application(own_server.book, shared_address=SHARED)
    yield made
    made.state.desk.book.close()


@pytest.fixture
def player(application) -> TestClient:
    """A stranger's phone on the network."""
    if hasattr(application.state, "reports"):
        del application.state.reports
    return client_of(application, SHARED, "192.168.7.20")


@pytest.fixture
def at_home(application) -> TestClient:
    return client_of(application)


def token(server: Server) -> str:
    return console_cards.token_of(server.book, 1)


def words_of(server: Server) -> list[str]:
    with opened_to_see(server.book) as book:
        return [fault.words for fault in book.faults(1)]


def test_every_fault_word_is_offered_once_and_explained() -> None:
    offered = [kind for _, kinds in GROUPS for kind in kinds]
    assert sorted(offered) == sorted(FaultKind)
    for kind in FaultKind:
        assert say(f"faults.name_{word_of(kind)}") == kind.value
        assert say(f"faults.plain_{word_of(kind)}").endswith(".")


def test_a_player_reports_a_cipher_without_scripts_and_without_pairing(
    own_server: Server, browser, open_page: Open
) -> None:
    look_at(open_page(f"{own_server.address}/report/{token(own_server)}"), "report")
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{own_server.address}/report/{token(own_server)}")
    page.keyboard.press("Tab")  # all by keyboard: the skip link first
    page.select_option("select[name=kind]", "cipher")
    page.select_option("select[name=stop]", index=1)
    page.select_option("select[name=key]", "F#3")
    page.fill("textarea[name=words]", "howls since the rehearsal")
    page.fill("input[name=name]", "A player")
    page.press("input[name=name]", "Enter")
    page.wait_for_url("**/thanks")
    close(context)
    with opened_to_see(own_server.book) as book:
        reported = book.faults(1)[-1]
    assert (reported.kind, reported.key, reported.words, reported.reporter) == (
        "cipher", "F#3", "howls since the rehearsal", "A player",
    )  # fmt: skip
    assert reported.pipe is not None  # the stop sounds one pipe at that key
    look_at(open_page(f"{own_server.address}/report/{token(own_server)}/thanks"), "report-thanks")


def test_a_stranger_sees_the_form_and_nothing_of_the_book(
    own_server: Server, player: TestClient
) -> None:
    answer = player.get(f"/report/{token(own_server)}")
    assert answer.status_code == 200
    assert "Sounds by itself in wet weather" not in answer.text  # a fault that stands
    assert "/organ/" not in answer.text
    assert "frame.js" not in answer.text
    assert player.get("/report/nothing").status_code == 404
    assert player.get("/organ/1/faults").status_code == 401
    assert player.post("/organ/1/faults/1/mend", data={"note": "x"}).status_code == 401
    assert player.get("/organ/1/card.pdf").status_code == 401


def test_scripts_in_every_field_are_only_words(
    own_server: Server, player: TestClient, open_page: Open
) -> None:
    answer = player.post(
        f"/report/{token(own_server)}", data={"kind": "rattle", "words": NASTY, "name": NASTY[:60]}
    )
    assert answer.status_code == 303
    with opened_to_see(own_server.book) as book:
        reported = book.faults(1)[-1]
    assert reported.words == NASTY
    page = open_page(f"{own_server.address}/organ/1/faults/{reported.id}")
    assert page.inner_text(".said-whole") == NASTY
    assert page.query_selector("main img, main script") is None
    again = player.post(f"/report/{token(own_server)}", data={"kind": "no kind", "words": NASTY})
    assert again.status_code == 400
    assert "<script>alert" not in again.text
    assert "&lt;script&gt;" in again.text  # what was typed is still there


@pytest.mark.parametrize(
    "data",
    [
        {"kind": "cipher", "words": "x" * 1001},
        {"kind": "cipher", "stop": "no.stop"},
        {"kind": "cipher", "key": "H9"},
        {"kind": "other"},
        {},
    ],
)
def test_what_is_no_report_is_not_kept(
    own_server: Server, player: TestClient, data: dict[str, str]
) -> None:
    before = words_of(own_server)
    assert player.post(f"/report/{token(own_server)}", data=data).status_code == 400
    assert words_of(own_server) == before


def test_too_large_cross_site_and_automatic_reports_are_refused(
    own_server: Server, player: TestClient
) -> None:
    path = f"/report/{token(own_server)}"
    before = words_of(own_server)
    assert player.post(path, data={"words": "x" * 20_000}).status_code == 413
    foreign = {"Origin": "http://evil.example"}
    assert player.post(path, data={"kind": "chiff"}, headers=foreign).status_code == 403
    files = {"words": ("walk.wav", b"RIFF", "audio/wav")}
    assert player.post(path, data={"kind": "chiff"}, files=files).status_code == 400
    trapped = player.post(path, data={"kind": "chiff", "words": "buy", "website": "http://x"})
    assert trapped.status_code == 303  # it learns nothing
    assert words_of(own_server) == before


def test_many_reports_from_one_address_must_wait(own_server: Server, player: TestClient) -> None:
    path = f"/report/{token(own_server)}"
    for number in range(EACH):
        data = {"kind": "wolf", "words": f"report {number}"}
        assert player.post(path, data=data).status_code == 303
    late = player.post(path, data={"kind": "wolf", "words": "one too many"})
    assert late.status_code == 429
    assert "one too many" in late.text  # nothing that was typed is lost
    assert "one too many" not in words_of(own_server)


def test_an_allowance_is_for_each_and_for_all_and_comes_back() -> None:
    now_s = 0.0
    allowance = Allowance(each=2, all_=3, window_s=10.0, clock_s=lambda: now_s)
    assert [allowance.take("a") for _ in range(3)] == [True, True, False]
    assert allowance.take("b")
    assert not allowance.take("c")
    now_s = 10.0
    assert allowance.take("a")


def test_a_report_sent_twice_is_kept_once_and_a_changed_one_beside_it(
    own_server: Server, player: TestClient
) -> None:
    path = f"/report/{token(own_server)}"
    uid = re.search(r'name="uid" value="(card-[0-9a-f]{24})"', player.get(path).text)
    assert uid is not None
    data = {"kind": "flutter", "words": "trembles", "uid": uid.group(1)}
    for words in ("trembles", "trembles", "trembles at the top"):
        assert player.post(path, data={**data, "words": words}).status_code == 303
    assert [w for w in words_of(own_server) if w.startswith("trembles")] == [
        "trembles",
        "trembles at the top",
    ]


def test_a_new_address_makes_the_old_card_void(
    own_server: Server, player: TestClient, at_home: TestClient
) -> None:
    old = token(own_server)
    assert player.post("/organ/1/card/renew").status_code == 401
    assert at_home.post("/organ/1/card/renew").status_code == 303
    assert player.get(f"/report/{old}").status_code == 404
    assert player.get(f"/report/{token(own_server)}").status_code == 200
    assert (own_server.book / console_cards.FILE).stat().st_mode & 0o077 == 0


def test_the_card_prints_and_its_square_holds_the_address(at_home: TestClient, own_server) -> None:
    page = at_home.get("/organ/1/card")
    address = f"http://{SHARED}:8740/report/{token(own_server)}"
    assert address in page.text
    made = at_home.get("/organ/1/card.pdf")
    assert made.headers["content-type"] == "application/pdf"
    (sheet,) = pypdf.PdfReader(BytesIO(made.content)).pages
    assert [round(float(side) / 72 * 25.4) for side in sheet.mediabox[2:]] == [105, 148]  # A6
    text = sheet.extract_text().replace("\n", "")
    assert address in text
    assert "Something sounds wrong?" in text


def test_the_card_waits_until_the_desk_is_shared(empty_server: Server, open_page: Open) -> None:
    page = open_page(f"{empty_server.address}/organ/1/card")
    assert say("card.closed_title") in page.inner_text("main")
    look_at(page, "card-not-shared")


def test_faults_are_located_merged_fixed_and_reopened(own_server: Server, open_page: Open) -> None:
    page = open_page(f"{own_server.address}/organ/1/faults")
    assert page.query_selector("header nav a[aria-current=page]") is not None
    page.click("text=Write in a fault")
    page.select_option("select[name=kind]", "dead note")
    page.fill("textarea[name=words]", "top of the tenor silent")
    page.click("main button.main")
    page.wait_for_url(re.compile(r"/faults/\d+$"))
    own = page.url
    page.select_option("select[name=stop]", index=1)
    page.select_option("select[name=key]", "B3")
    page.click("text=Save the place")
    page.wait_for_selector("h1:has-text('B3')")
    look_at(page, "fault-one")

    page.select_option("select[name=into]", index=1)
    page.click("button:has-text('Merge them')")
    page.wait_for_url(lambda url: url != own)
    assert "top of the tenor silent" in page.inner_text("#fault-facts")

    page.fill("textarea[name=note]", "pallet spring")
    page.click("button:has-text('Fixed')")
    page.wait_for_selector('text="Reopen"')
    assert "pallet spring" in page.inner_text("#fault-facts")
    page.fill("textarea[name=words]", "howls again")
    page.click('text="Reopen"')
    page.wait_for_selector("text=It came back")
    assert page.inner_text(".said-whole") == "howls again"


def test_the_list_follows_what_others_report(own_server: Server, open_page: Open) -> None:
    page = open_page(f"{own_server.address}/organ/1/faults")
    with opened_to_see(own_server.book) as book:
        reported = book.report_fault(1, FaultKind.RATTLE, "the grille of the swell box")
    page.wait_for_selector(f"#fault-{reported.id}", timeout=5000)
    with opened_to_see(own_server.book) as book:
        standing = len(book.open_faults(1))
    page.wait_for_selector(f"#places .count:text-is('{standing}')")
    look_at(page, "faults")


def test_a_fault_fixed_while_offline_is_kept_and_sent_later(
    own_server: Server, open_page: Open
) -> None:
    with opened_to_see(own_server.book) as book:
        reported = book.report_fault(1, FaultKind.RUNNING, "murmurs")
    page = open_page(f"{own_server.address}/organ/1/faults/{reported.id}", size=PHONE)
    own_server.stop()
    page.wait_for_selector("html[data-link=off]")
    page.fill("textarea[name=note]", "new seal")
    page.press("textarea[name=note]", "Tab")
    page.keyboard.press("Enter")
    page.wait_for_selector("#kept-here:not([hidden])")
    own_server.start()
    page.wait_for_selector('text="Reopen"')
    with opened_to_see(own_server.book) as book:
        assert book.fault(reported.id).mended_note == "new seal"


@pytest.mark.parametrize("name", ["faults/new", "faults/words"])
def test_the_other_pages_of_faults(server: Server, open_page: Open, name: str) -> None:
    look_at(open_page(f"{server.address}/organ/1/{name}"), name.replace("/", "-"))


def test_a_book_without_faults_says_how_they_come(empty_server: Server, open_page: Open) -> None:
    page = open_page(f"{empty_server.address}/organ/1/faults")
    assert say("faults.empty_title") in page.inner_text("main")
    look_at(page, "faults-empty")
