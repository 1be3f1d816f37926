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
from walkboard.languages import spoken, translation
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
    "/organ/1/air", "/organ/1/guide", "/organ/1/visit/arrival", "/organ/1/visit/plan?worked=1",
    "/organ/1/holding/walk/1", "/organs/new/text", "/round", "/kept",
    "/sharing", "/pair", "/practice", "/nowhere", "/organ/1/rank/none",
]  # fmt: skip
SILENT = {"meta", "link", "input", "img", "br", "hr", "wbr"}
HEARD = {"aria-label", "title", "placeholder", "alt"}
# Units, kinds of file and what is typed are the same in all languages.
COMMON = {
    "firm",
    "toml",
    "Hz",
    "PDF",
    "CSV",
    "XLSX",
    "JSON",
    "ICS",
    "min",
    "dB",
    "MB",
    "QR",
    "SHA",
    "https",
}


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
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(catalogue_module, "language", lambda: "wide")
        patch.setattr(spoken, "language", lambda: "wide")
        patch.setattr(translation, "sentences", lambda _: {t: wide(t) for t in words.sentences()})
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
