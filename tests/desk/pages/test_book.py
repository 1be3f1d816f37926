"""The book: visits with their readings and works, search, sheets, exports."""

from __future__ import annotations

import csv
import io
import json

import openpyxl
import pytest
from pypdf import PdfReader
from starlette.testclient import TestClient

from tests.desk.asking import client_of
from tests.desk.conftest import Open, Server
from tests.desk.looking import PHONE, look_at
from walkboard.desk.server.application import make_application
from walkboard.desk.text.catalogue import say
from walkboard.listening.readings import Measured
from walkboard.work.export import TABLES
from walkboard.work.snapshot import opened_to_see

NASTY = "<img src=x onerror=alert(1)> Rohrflöte"


@pytest.fixture(scope="module")
def at_home(own_server: Server):
    made = make_application(own_server.book)
    yield client_of(made)
    made.state.desk.book.close()


def test_the_book_lists_its_visits_newest_first(server: Server, open_page: Open) -> None:
    page = open_page(f"{server.address}/organ/1/book")
    days = [cell.inner_text() for cell in page.query_selector_all(".visits .when")]
    with opened_to_see(server.book) as book:
        visits = book.visits(1)
        counts = [
            sum(isinstance(one.reading, Measured) for one in book.best_readings(visit.id).values())
            for visit in visits
        ]
    assert days[0].endswith(f"{visits[-1].opened_at.year}")
    assert len(days) == len(visits) == 3
    shown = [cell.inner_text() for cell in page.query_selector_all(".visits td.number")]
    assert [int(number) for number in shown[::2]] == counts[::-1]
    look_at(page, "book")


def test_a_visit_shows_what_was_done_and_what_was_read(server: Server, open_page: Open) -> None:
    page = open_page(f"{server.address}/organ/1/book")
    page.click(".visits tr:last-child a >> nth=0")
    page.wait_for_url("**/book/visit/1**")
    with opened_to_see(server.book) as book:
        plan = book.current_plan(1)
        assert plan is not None
        organ_rank = "swell.oboe8"
        read = [p for p in book.best_readings(1) if p.rank == organ_rank]
    assert len(page.query_selector_all(".works tbody tr")) == len(plan.plan.items)
    page.select_option("select[name=rank]", organ_rank)
    page.click(f"button:has-text('{say('book.show')}')")
    page.wait_for_url(f"**rank={organ_rank}**")
    assert len(page.query_selector_all(".readings tbody tr")) == len(read)
    silent = [r for r in page.query_selector_all(".readings tr") if "silent" in r.inner_text()]
    assert silent
    assert all("–" in row.inner_text() for row in silent)  # no value, and no zero
    look_at(page, "book-visit")


def test_a_note_comes_to_a_closed_visit_and_is_found(own_server: Server, open_page: Open) -> None:
    page = open_page(f"{own_server.address}/organ/1/book/visit/1", size=PHONE)
    page.focus("textarea[name=words]")
    page.keyboard.type(NASTY)
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_selector(".said-whole:has-text('Rohrflöte')")
    assert page.query_selector("main img") is None
    page.goto(f"{own_server.address}/organ/1/book")
    page.fill("input[name=words]", "ROHRFLOTE onerror")
    page.press("input[name=words]", "Enter")
    page.wait_for_selector("#found")
    assert "1 place has these words" in page.inner_text("#found")
    assert NASTY in page.inner_text("#found li")
    page.click("#found li a")
    page.wait_for_url("**/book/visit/1")


def test_a_search_leads_to_faults_and_says_when_there_is_nothing(
    own_server: Server, open_page: Open
) -> None:
    page = open_page(f"{own_server.address}/organ/1/book?words=wet+weather")
    page.click("#found li a")
    page.wait_for_url("**/faults/1")
    page.goto(f"{own_server.address}/organ/1/book?words=no+such+words")
    assert say("book.found_none_title") in page.inner_text("#found")


def test_every_table_can_be_taken_along(at_home: TestClient) -> None:
    for name in TABLES:
        answer = at_home.get(f"/organ/1/book/export/{name}.csv")
        assert answer.headers["content-type"] == "text/csv; charset=utf-8"
        assert f'filename="{name}.csv"' in answer.headers["content-disposition"]
        rows = list(csv.reader(io.StringIO(answer.text, newline="")))
        assert tuple(rows[0]) == TABLES[name][0]
        assert len(rows) > 1


def test_the_whole_book_is_made_elsewhere_and_handed_over(server: Server, open_page: Open) -> None:
    page = open_page(f"{server.address}/organ/1/book")
    with page.expect_download() as handed_over:
        page.click(f"#export-xlsx button:has-text('{say('book.make')}')")
    made = openpyxl.load_workbook(io.BytesIO(handed_over.value.path().read_bytes()))
    assert made.sheetnames == list(TABLES)
    with opened_to_see(server.book) as book:
        readings = sum(len(book.readings(visit.id)) for visit in book.visits(1))
        name = book.organ(1).name
    assert made["readings"].max_row == 1 + readings
    page.wait_for_selector(f"#export-xlsx :text('{say('book.xlsx')}')")
    with page.expect_download() as handed_over:
        page.click(f"#export-json button:has-text('{say('book.make')}')")
    assert json.loads(handed_over.value.path().read_bytes())["format"] == "walkboard book"
    page.wait_for_selector(f"#export-json :text('{say('book.json')}')")
    with page.expect_download() as handed_over:
        page.click(f"#export-pdf button:has-text('{say('book.make')}')")
    outlook = PdfReader(handed_over.value.path()).pages[0].extract_text()
    assert name in outlook


def test_what_was_not_made_cannot_be_had(at_home: TestClient) -> None:
    assert at_home.get("/organ/1/book/export/book.xlsx").status_code == 404
    assert at_home.post("/organ/1/book/make/exe").status_code == 404
    assert at_home.post("/organ/9/book/make/xlsx").status_code == 404


@pytest.mark.parametrize(
    "file", ["book.csv", "reading.csv", "book.exe", "..%2f..%2fbook.sqlite", "paired-devices.json"]
)
def test_nothing_else_is_given_out(at_home: TestClient, file: str) -> None:
    assert at_home.get(f"/organ/1/book/export/{file}").status_code == 404


def test_notes_are_words_within_reason(at_home: TestClient) -> None:
    path = "/organ/1/book/visit/1/note"
    assert at_home.post(path, data={"words": " "}).status_code == 400
    assert at_home.post(path, data={"words": "x" * 4001}).status_code == 400
    assert at_home.post("/organ/1/book/visit/99/note", data={"words": "x"}).status_code == 404
    foreign = {"Origin": "http://evil.example"}
    assert at_home.post(path, data={"words": "x"}, headers=foreign).status_code == 403
    assert at_home.get("/organ/1/book/visit/1?rank=no.rank").status_code == 404


def test_a_book_without_visits_says_how_they_come(empty_server: Server, open_page: Open) -> None:
    page = open_page(f"{empty_server.address}/organ/1/book")
    assert say("book.empty_title") in page.inner_text("main")
    look_at(page, "book-empty")
