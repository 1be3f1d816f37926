"""The guide made on the desk: who may have the sounds, stops left out, and the tuning files."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.desk.conftest import Open, Server
from tests.desk.looking import look_at
from tests.scales.test_tuning_files import dumped_hz
from tests.work.guide.recorded import KEYS, recorded_book, sounding_hz
from walkboard.desk.text.catalogue import say
from walkboard.organ.reading import read_organ
from walkboard.work import open_book


@pytest.fixture(scope="module")
def chapel(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = tmp_path_factory.mktemp("guide") / "book"
    recorded_book(folder)
    running = Server(folder)
    running.start()
    yield running
    running.stop()


def unpacked(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(path.read_bytes())) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def test_the_guide_is_made_in_a_language_with_rights_and_without_a_stop(
    chapel: Server, open_page: Open
) -> None:
    page = open_page(f"{chapel.address}/organ/1/guide")
    look_at(page, "guide-make")
    page.fill("textarea[name=rights]", "The parish of <b>Tarnhaven</b>; for lessons only.")
    page.select_option("#make select[name=language]", "de")
    page.uncheck("input[name=stops] >> nth=2")
    page.click("#make button")
    page.wait_for_selector("a[href$='guide.zip']", timeout=120_000)
    look_at(page, "guide-made")
    with page.expect_download() as waiting:
        page.click("a[href$='guide.zip']")
    files = unpacked(waiting.value.path())
    assert {"index.html", "lessons.html", "flues.syx", "reeds.scl"} <= files.keys()
    text = files["index.html"].decode()
    assert '<html lang="de">' in text
    assert "So klingen ihre Register" in text
    assert "The parish of &lt;b&gt;Tarnhaven&lt;/b&gt;; for lessons only." in text
    assert text.count('type="checkbox" value=') == 2  # three were recorded, one is left out
    assert "kein Klang" in text


def test_the_tuning_files_are_those_of_the_visit(chapel: Server, open_page: Open) -> None:
    page = open_page(f"{chapel.address}/organ/1/guide")
    with page.expect_download() as waiting:
        page.click("#tuning button")
    files = unpacked(waiting.value.path())
    assert sorted(files) == sorted(
        f"{family}.{kind}" for family in ("flues", "reeds") for kind in ("syx", "scl", "kbm")
    )
    with open_book.opened(chapel.book) as book:
        organ = read_organ(book.organ(1).description)
    found = dumped_hz(files["reeds.syx"])
    for number in KEYS:
        key = organ.rank("great.trumpet8").key_of(number).semitone
        assert abs(found[key] / sounding_hz(organ, "great.trumpet8", number) - 1.0) < 1e-5


def test_a_book_without_a_stop_recorded_alone_says_what_to_do(
    empty_server: Server, open_page: Open
) -> None:
    page = open_page(f"{empty_server.address}/organ/1/guide")
    assert say("guide.empty_title") in page.inner_text("main")
    answer = page.goto(f"{empty_server.address}/organ/1/guide/tuning.zip?visit=1")
    assert answer is not None
    assert answer.status == 404
