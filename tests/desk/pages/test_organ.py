"""The organ, its description and its ranks: what a tuner sees and presses on each page."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import soundfile
from starlette.testclient import TestClient

from tests.desk.books import FLUES_CENTS, HOLD_S, RATE
from tests.desk.conftest import Open, Server, eventually
from tests.desk.looking import PHONE, look_at
from tests.readings import measured
from walkboard.book.records import Tick
from walkboard.desk.server.application import make_application
from walkboard.organ import examples
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.scales.keys import Key
from walkboard.work import open_book
from walkboard.work.overview import overview
from walkboard.work.pipe_history import companions, neighbours
from walkboard.work.snapshot import opened_to_see, pipe_cents
from walkboard.work.take_along import bring_back, take_along

RANK = "/organ/1/rank/great.open8"
HTML = {"Accept": "text/html"}


@pytest.fixture(scope="module")
def desk(village_book: Path) -> Iterator[TestClient]:
    application = make_application(village_book)
    application.state.desk.is_warm.set()  # no lifespan runs here, which would warm it
    yield TestClient(application, base_url="http://127.0.0.1:8740", client=("127.0.0.1", 5))
    application.state.desk.book.close()


def rows_of(page: str, table: str) -> list[list[str]]:
    """Texts of the cells of a table of a class."""
    body = re.search(rf'<table class="{table}">.*?<tbody>(.*?)</tbody>', page, re.DOTALL)
    assert body is not None
    return [
        [
            " ".join(re.sub(r"<[^>]*>", " ", cell).split())
            for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL)
        ]
        for row in re.findall(r"<tr[^>]*>(.*?)</tr>", body[1], re.DOTALL)
    ]


def test_every_rank_is_on_the_page_with_its_strays(desk: TestClient, village_book: Path) -> None:
    page = desk.get("/organ/1").text
    with opened_to_see(village_book) as book:
        kept = book.organs()[0]
        for division in overview(book, kept):
            for state in division.ranks:
                assert f"/organ/1/rank/{state.rank.id}" in page
                assert state.chart is not None
                line = state.chart.lines[0].cents
                found = pipe_cents(book, book.visits(1)[-1])
                read = [p for p in found.values() if p.pipe.rank == state.rank.id]
                plain = [p for p in read if p.pipe.number % 29 != 7]  # those carry a flag
                strays = [p for p in plain if abs(p.cents - line) > 3.0]
                assert state.strays == len(strays)
                assert state.careful == len(read) - len(plain)
                assert state.unread == sum(n % 23 == 11 for n in range(1, state.rank.pipes + 1))
    great = rows_of(page, "ranks")
    assert great[0][0].partition(",")[0].strip() == "Open Diapason 8′"


def test_just_after_the_start_the_ranks_are_on_their_way(village_book: Path) -> None:
    application = make_application(village_book)
    client = TestClient(application, base_url="http://127.0.0.1:8740", client=("127.0.0.1", 5))
    page = client.get("/organ/1").text
    assert 'class="loading"' in page
    assert 'data-change="on its way"' in page
    application.state.desk.is_warm.set()
    assert "Open Diapason" in client.get("/organ/1").text
    application.state.desk.book.close()


def test_the_shift_of_a_division_is_that_of_its_flues(village_book: Path) -> None:
    with opened_to_see(village_book) as book:
        for division in overview(book, book.organs()[0]):
            state = division.state
            assert state is not None
            assert state.shift_cents == pytest.approx(FLUES_CENTS, abs=0.6)


def test_the_table_of_a_rank_says_what_the_chart_shows(
    desk: TestClient, village_book: Path
) -> None:
    page = desk.get(RANK, headers=HTML).text
    rows = rows_of(page, "pipes")
    assert [row[0] for row in rows[:3]] == ["C2", "C♯2", "D2"]
    with opened_to_see(village_book) as book:
        found = {p.pipe.number: p for p in pipe_cents(book, book.visits(1)[-1]).values()
                 if p.pipe.rank == "great.open8"}  # fmt: skip
    for number, row in enumerate(rows, start=1):
        if number not in found:
            assert row[1] == "–"
            assert row[-1] == "no value: silent"
            continue
        shown = float(row[1].replace("−", "-"))
        assert shown == pytest.approx(found[number].cents - FLUES_CENTS, abs=0.051)
        assert row[-1] == "with care: unsteady" if number % 29 == 7 else row[-1] in {
            "in tune", "sharp", "flat"
        }  # fmt: skip


def test_the_sound_of_a_hold_is_the_pipe_s_own(desk: TestClient, village_book: Path) -> None:
    with opened_to_see(village_book) as book:
        recording = book.recordings(3)[0]
        hold = recording.walk.holds[8]
    answer = desk.get(f"/organ/1/sound/{recording.id}/{hold.n}.wav")
    assert answer.headers["content-type"] == "audio/wav"
    samples, rate = soundfile.read(io.BytesIO(answer.content))
    assert rate == RATE
    assert len(samples) / rate == pytest.approx(HOLD_S + 0.3, abs=0.01)
    assert np.max(np.abs(samples)) == pytest.approx(10.0 ** (-9.0 / 20.0), rel=0.01)
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    loudest_hz = float(np.argmax(spectrum)) * rate / len(samples)
    assert loudest_hz == pytest.approx(measured(hold.readings[0]).hz, abs=1.0)


def test_a_sound_that_cannot_be_had_says_why(desk: TestClient, village_book: Path) -> None:
    with opened_to_see(village_book) as book:
        recording = book.recordings(3)[1]  # no sound, only its name
    assert desk.get(f"/organ/1/sound/{recording.id}/1.wav", headers=HTML).status_code == 400
    page = desk.get(f"/organ/1/rank/{recording.walk.drawn[0]}?pipe=1", headers=HTML)
    assert page.status_code == 200
    assert "The sound of this hold is not available:" in page.text
    assert desk.get(f"/organ/1/sound/{recording.id}/999.wav").status_code == 400
    assert desk.get("/organ/1/sound/999/1.wav").status_code == 409


def test_beats_are_those_of_the_readings(village_book: Path) -> None:
    with opened_to_see(village_book) as book:
        kept, visit = book.organs()[0], book.visits(1)[-1]
        hz = {k.reading.pipe: k.reading.hz_or_none for k in book.best_readings(visit.id).values()}
        pipe = next(p for p in hz if str(p) == "great.open8:16")
        found = {n.semitones: n for n in neighbours(book, kept, visit, pipe)}
        octave, fifth = found[12], found[7]
        own = hz[pipe]
        assert own is not None
        # Octave: twice the lower against the upper; fifth: three times against twice.
        assert octave.heard_hz == pytest.approx((hz[octave.pipe] or 0.0) - 2.0 * own, abs=1e-6)
        assert fifth.heard_hz == pytest.approx(2.0 * (hz[fifth.pipe] or 0.0) - 3.0 * own, abs=1e-6)
        assert octave.wanted_hz == pytest.approx(0.0, abs=1e-9)
        principal = next(
            n for n in companions(book, visit, pipe) if n.pipe.rank == "great.principal4"
        )
        assert principal.key == Key.parse("D#3")
        assert principal.heard_hz == pytest.approx(
            (hz[principal.pipe] or 0.0) - 2.0 * own, abs=1e-6
        )


def test_a_tuned_pipe_is_shown_as_tuned_with_before_and_after(
    own_server: Server, open_page: Open
) -> None:
    page = open_page(own_server.address + RANK)
    before = {row[0]: row[1] for row in rows_of(page.content(), "pipes")}
    pipe = PipeRef("great.open8", 20)
    with opened_to_see(own_server.book) as book:
        after_all_walks = datetime(2033, 1, 1, tzinfo=UTC)
        book.set_tick(Tick("tuned-in-a-test", 3, pipe, "done", "", after_all_walks))
    eventually(lambda: "1 tuned" in page.inner_text("#chart"))
    row = next(row for row in rows_of(page.content(), "pipes") if row[0] == "G3")
    assert row[-1].startswith("tuned ")
    assert f"{before['G3']} before" in row[-1]
    assert len(rows_of(page.content(), "pipes")) == 54  # none is missing


ID = re.compile(r"\b(?:great|swell|pedal)\.[a-z]+\d*\b(?!\.flac)")  # files have names of their own


@pytest.mark.parametrize(
    "path",
    ["", "/visit/work", "/visit/close", "/visit/plan?worked=1", "/pipe", "/faults", "/book",
     "/book/visit/3", "/rank/great.open8?pipe=9", "/holding"],
)  # fmt: skip
def test_no_page_shows_or_reads_out_an_id(desk: TestClient, path: str) -> None:
    page = desk.get(f"/organ/1{path}", headers=HTML).text
    shown = re.sub(r"<script.*?</script>", "", page, flags=re.DOTALL)
    spoken = re.findall(r'(?:aria-label|title|alt|placeholder)="([^"]*)"', shown)
    words = re.sub(r"<[^>]*>", " ", shown)
    assert not ID.findall(" ".join([words, *spoken]))


@pytest.mark.parametrize("path", ["/organ/7", "/organ/1/rank/nothing", "/organ/x"])
def test_what_is_not_there_is_said(desk: TestClient, path: str) -> None:
    answer = desk.get(path, headers=HTML)
    assert answer.status_code == 404
    assert "This did not work" in answer.text


@pytest.mark.parametrize("pipe", ["0", "55", "-1", "x", "9999999999", "²"])
def test_a_pipe_that_is_not_there_is_not_shown(desk: TestClient, pipe: str) -> None:
    answer = desk.get(RANK, params={"pipe": pipe}, headers=HTML)
    assert answer.status_code == 200
    assert 'id="pipe"' not in answer.text


def test_keys_are_named_as_the_browser_chose(desk: TestClient) -> None:
    page = desk.get(RANK, headers={**HTML, "Cookie": "names=helmholtz"}).text
    assert [row[0] for row in rows_of(page, "pipes")[:14:12]] == ["C", "c"]


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("/organ/1", "organ"),
        (f"{RANK}?pipe=9", "rank"),
        ("/organs/new", "new"),
        ("/organs/new/text", "text"),
    ],
)
def test_pages_are_accessible(server: Server, open_page: Open, path: str, name: str) -> None:
    look_at(open_page(server.address + path), name)


def test_a_rank_by_keyboard_from_the_table(server: Server, open_page: Open) -> None:
    page = open_page(server.address + RANK, size=PHONE)
    page.focus("#key-9")
    page.keyboard.press("Enter")
    page.wait_for_selector("#pipe")
    assert page.inner_text("#pipe-title") == "G♯2, pipe 9"
    # The chart is there on a phone too, a letter as large as elsewhere and nothing to push aside.
    box = page.locator("svg.chart:visible").bounding_box()
    assert box is not None
    assert 340.0 < box["width"] <= 390.0
    letter = page.locator("svg.chart:visible text").first.bounding_box()
    assert letter is not None
    assert letter["height"] > 12.0
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0


@pytest.mark.parametrize(
    ("path", "typed", "title"),
    [
        (RANK, "g#2", "G♯2, pipe 9"),
        (RANK, "9", "G♯2, pipe 9"),
        (RANK, "oboe c4", "C4, pipe 13"),
        ("/organ/1", "Fif g♯2", "G♯2, pipe 9"),
        ("/organ/1", "c4 swell oboe", "C4, pipe 13"),
    ],
)
def test_any_pipe_is_found_by_typing(
    server: Server, open_page: Open, path: str, typed: str, title: str
) -> None:
    page = open_page(server.address + path)
    page.fill("#find", "zz")
    assert page.inner_text("#found") == "No such pipe."
    page.fill("#find", typed)
    assert page.is_hidden("#found")
    page.press("#find", "Enter")
    page.wait_for_selector("#pipe")
    assert page.inner_text("#pipe-title") == title


def test_a_rank_is_found_by_its_stop_alone(server: Server, open_page: Open) -> None:
    page = open_page(f"{server.address}/organ/1")
    page.fill("#find", "princ 4")
    names = page.locator("#found-pipes a").all_inner_texts()
    assert names == ["Great · Principal 4′", "Swell · Principal 4′"]


def test_every_pipe_over_the_visits_from_the_line_of_the_table(
    server: Server, open_page: Open
) -> None:
    page = open_page(server.address + RANK)
    pipes = page.locator(".drifts a")
    assert pipes.count() == page.locator("table.pipes tbody tr").count()
    shown = [line.split() for line in page.locator(".drifts a").all_inner_texts()]
    rows = page.locator("table.pipes tbody tr").all_inner_texts()
    table = [row.split("\t")[:2] for row in rows]
    assert [[key, cents] for key, cents in shown] == table
    # A point for each of the three visits that read it; a stroke where it was tuned.
    read = [pipes.nth(n).locator(".drift-dot").get_attribute("d") or "" for n in range(6)]
    assert [d.count("M") for d in read] == [3] * 6
    assert page.locator(".drift-tuned").count() > 3
    pipes.nth(8).click()
    page.wait_for_selector("#pipe")
    assert page.inner_text("#pipe-title") == "G♯2, pipe 9"
    # What the card says, the newest row of its history says too.
    stands = page.inner_text("#pipe dl .figure:first-child dd").split()[0]
    newest = page.locator("#pipe table").last.locator("tbody tr").first.locator("td").nth(1)
    assert newest.inner_text() == stands == table[8][1]


def test_a_press_in_the_chart_picks_the_key(server: Server, open_page: Open) -> None:
    page = open_page(server.address + RANK)
    box = page.locator("svg.chart:visible a").nth(8).bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + 40)
    page.wait_for_selector("#pipe")
    assert page.inner_text("#pipe-title") == "G♯2, pipe 9"


def test_the_checker_reports_beside_the_line(own_server: Server, open_page: Open) -> None:
    page = open_page(f"{own_server.address}/organ/1/description")
    eventually(lambda: "408 pipes" in page.inner_text("#verdict"))
    text = examples.village()
    wrong = text.replace('tuned_by = "slide"', 'tuned_by = "glue"', 1)
    line = wrong[: wrong.index('"glue"')].count("\n") + 1
    page.fill("#text", wrong)
    eventually(lambda: page.locator("#problems li").count() == 1)
    assert page.inner_text("#problems button") == f"Line {line}"
    assert "tuned_by" in page.inner_text("#problems li")
    # Pressed and read in one step: the message must have moved before the scroll event comes.
    chosen, text_px, item_px, scrolled_px, line_px = page.evaluate(
        """() => {
          const text = document.getElementById("text");
          const item = document.querySelector("#problems li");
          item.querySelector("button").click();
          return [text.value.slice(text.selectionStart, text.selectionEnd),
                  text.getBoundingClientRect().top, item.getBoundingClientRect().top,
                  text.scrollTop, parseFloat(getComputedStyle(text).lineHeight)];
        }"""
    )
    assert chosen == wrong.split("\n")[line - 1]
    assert scrolled_px > 0.0
    line_top_px = (line - 1.0) * line_px - scrolled_px
    assert item_px - text_px == pytest.approx(line_top_px, abs=1.5 * line_px)
    page.click("form button.main")  # refused, and nothing typed is lost
    page.wait_for_selector("#problems li")
    assert page.input_value("#text") == wrong
    page.fill("#text", text.replace("a4_hz = 441.5", "a4_hz = 442.5", 1))
    page.click("form button.main")
    page.wait_for_selector("#ranks")
    assert "442.5 Hz" in page.inner_text("main")
    with opened_to_see(own_server.book) as book:
        assert book.organ(1).version == 2
        assert read_organ(book.organ(1).description).pitch.a4_hz == 442.5


def test_script_in_a_description_is_shown_harmless(own_server: Server, open_page: Open) -> None:
    mean = "<script>document.title = 'caught'</script><img src=x onerror=alert(1)>"
    text = examples.village().replace("Nether Brask parish church", mean)
    text = text.replace('name = "Great"', f'name = "{mean}"', 1)
    page = open_page(f"{own_server.address}/organs/new/text")
    page.fill("#text", text)
    page.click("form button.main")
    page.wait_for_selector("#ranks")
    assert mean in page.inner_text("h1")
    assert page.title() != "caught"
    page.goto(f"{own_server.address}/organs")
    assert mean in page.inner_text("main")


def test_what_two_people_did_to_the_same_thing_is_shown_until_it_is_decided(
    tmp_path: Path,
) -> None:
    home, away = tmp_path / "home", tmp_path / "away"
    with open_book.new(home) as book:
        book.name_device("Office")
        organ = examples.village()
        book.add_organ(read_organ(organ).name, organ)
    take_along(home, away, name="Chapel laptop")
    for folder in (home, away):
        with open_book.opened(folder) as book:
            book.open_visit(1, f"in {folder.name}")
    application = make_application(home)
    application.state.desk.is_warm.set()
    desk = TestClient(application, base_url="http://127.0.0.1:8740", client=("127.0.0.1", 5))
    assert "Chapel laptop" not in desk.get("/organ/1").text
    bring_back(away, home)
    said = " ".join(re.sub(r"<[^>]*>", " ", desk.get("/organ/1").text).split())
    assert "2 visits are open" in said
    assert re.search(r"from “Office”, .*: in home", said)
    assert re.search(r"from “Chapel laptop”, .*: in away ?; received", said)
    with open_book.opened(home) as book:
        book.close_visit(book.visits(1)[0].id)
    assert "visits are open" not in desk.get("/organ/1").text
    application.state.desk.book.close()
