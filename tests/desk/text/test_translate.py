"""Every text of every page comes from the catalogue: seen in a language that looks like no other.

The test's language writes each letter in its wide form, so that whatever stands on a page in plain
letters has come past the catalogue, unless it is the users' own: names, notes, descriptions.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest
from builders import words
from starlette.testclient import TestClient

from walkboard.desk.server.application import make_application
from walkboard.desk.text import catalogue as catalogue_module
from walkboard.desk.text import translate
from walkboard.work.overview import overview

LETTERS = [chr(code) for start in "Aa" for code in range(ord(start), ord(start) + 26)]
WIDE = str.maketrans({letter: chr(ord(letter) + 0xFEE0) for letter in LETTERS})
PAGES = [
    "/organs", "/organs/new", "/organ/1", "/organ/1/rank/great.open8?pipe=9",
    "/organ/1/rank/swell.oboe8?pipe=11", "/organ/1/description", "/organ/1/visit",
    "/organ/1/visit/listen", "/organ/1/visit/plan", "/organ/1/visit/work",
    "/organ/1/visit/close", "/organ/1/pipe", "/organ/1/holding", "/organ/1/holding/worklist",
    "/organ/1/live", "/organ/1/bearings", "/organ/1/faults", "/organ/1/faults/1",
    "/organ/1/faults/new", "/organ/1/faults/words", "/organ/1/calendar",
    "/organ/1/calendar/event", "/organ/1/book", "/organ/1/book/visit/1", "/organ/1/card",
    "/sharing", "/pair", "/practice", "/nowhere", "/organ/1/rank/none",
]  # fmt: skip
SILENT = {"meta", "link", "input", "img", "br", "hr", "wbr"}
HEARD = {"aria-label", "title", "placeholder", "alt"}
# Units, kinds of file and what is typed are the same in all languages.
COMMON = {"Hz", "PDF", "CSV", "XLSX", "JSON", "ICS", "min", "dB", "MB", "QR", "SHA", "https"}


def wide(text: str) -> str:
    parts = re.split(r"(\{[^}]*\})", text)
    return "".join(part if part.startswith("{") else part.translate(WIDE) for part in parts)


class Seen(HTMLParser):
    """What of a page is seen or heard."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in SILENT:
            self._open.append(tag)
        self.texts += [value for name, value in attrs if name in HEARD and value]

    def handle_startendtag(self, _: str, attrs: list[tuple[str, str | None]]) -> None:
        self.texts += [value for name, value in attrs if name in HEARD and value]

    def handle_endtag(self, tag: str) -> None:
        while self._open and self._open.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if data.strip() and not {"script", "style", "textarea"} & set(self._open):
            self.texts.append(" ".join(data.split()))


@pytest.fixture(scope="module")
def at_home(village_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    folder = shutil.copytree(village_book, tmp_path_factory.mktemp("wide") / "book")
    english = catalogue_module.catalogue("en")
    own: dict[str, str | dict[str, str]] = {
        key: wide(text) if isinstance(text, str) else {n: wide(t) for n, t in text.items()}
        for key, text in english.items()
    }
    own |= {f"sentences.{text}": wide(text) for text in words.sentences()}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(catalogue_module, "language", lambda: "wide")
        patch.setattr(catalogue_module, "catalogue", lambda _: own)
        made = make_application(folder)
        for kept in made.state.desk.book.organs():
            overview(made.state.desk.book, kept)
        made.state.desk.is_warm.set()
        yield TestClient(made, base_url="http://127.0.0.1:8740", client=("127.0.0.1", 5))
        made.state.desk.book.close()


def names_of_users(at_home: TestClient) -> str:
    """All that users wrote in the village's book."""
    book = at_home.app.state.desk.book  # type: ignore[attr-defined]
    visits = book.visits(1)
    return " ".join(
        [
            book.organ(1).description,
            *(f"{visit.purpose} {visit.closing_note}" for visit in visits),
            *(fault.words for fault in book.faults(1)),
            *(event.title for event in book.events(1)),
            *(one.file_name for visit in visits for one in book.recordings(visit.id)),
            "stands away from its chorus",  # as the test's book has it of every pipe
            str(book.path),
        ]
    )


@pytest.mark.parametrize("path", PAGES)
def test_no_page_has_words_of_its_own(at_home: TestClient, path: str) -> None:
    answer = at_home.get(path, headers={"Accept": "text/html"})
    known = set(re.findall(r"[^\W\d_]+", names_of_users(at_home))) | COMMON
    assert len(Seen(answer.text).texts) > 10
    bare = [
        text
        for text in Seen(answer.text).texts
        if set(re.findall(r"[A-Za-z]{3,}", re.sub(r"[\w.]+\.flac|/\S+|--\w+|'\w+'", "", text)))
        - known
    ]
    assert bare == []


def test_phrases_of_phrases_are_turned_round(monkeypatch: pytest.MonkeyPatch) -> None:
    own = {
        "sentences.{a} of {b}": "von {b} {a}",
        "sentences.{a} flat": "{a} zu tief",
        "sentences.the flues": "den Labialen",
        "sentences.loud": "laut",
        "sentences.Say {a} again.": "Noch einmal {a}.",
        "sentences.It failed.": "Es ging nicht.",
        "frame.script.decimal": ",",
    }
    monkeypatch.setattr(catalogue_module, "language", lambda: "turned")
    monkeypatch.setattr(catalogue_module, "catalogue", lambda _: own)
    assert (
        translate.translate("7.0 flat of the flues, loud") == "von den Labialen 7,0 zu tief, laut"
    )
    assert translate.translate("It failed. Say A4 again.") == "Es ging nicht. Noch einmal A4."
    assert translate.translate("Rohrflöte") == "Rohrflöte"


def test_a_translation_keeps_what_is_translated() -> None:
    text = words.sentences()[0]
    rows = words.written({text: "…"}).splitlines()
    assert rows[1].endswith('= "…"')
    assert len(rows) == 1 + len(words.sentences())


def test_an_english_desk_shows_sentences_as_they_are(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(catalogue_module, "language", lambda: "en")
    assert translate.translate("7.0 flat of the flues") == "7.0 flat of the flues"
