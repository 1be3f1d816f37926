"""German and French: every text, with its gaps and its signs, and no longer than fits."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from walkboard.desk.server.application import make_application
from walkboard.desk.text import catalogue as catalogue_module
from walkboard.desk.text.catalogue import catalogue
from walkboard.desk.text.preferences import Preferences
from walkboard.languages.spoken import ENGLISH, LANGUAGES
from walkboard.scales.key_names import Names
from walkboard.scales.keys import Key
from walkboard.work.book_choice import FILE

OTHERS = [language for language in LANGUAGES if language != ENGLISH]
WORDS = Path(catalogue_module.__file__).parents[1] / "words"
GAPS = re.compile(r"\{\w+\}")
SIGNS = re.compile(r"[●◇◆×○▲▼▮↑→←]|°C|\bHz\b|%")
# On a phone a button has room for so many letters: twice the English, but never under twelve.
SHORT = {"place", "done", "skip", "back", "next", "undo", "fault", "step_", "kind_"}


def forms(text: str | Mapping[str, str]) -> dict[str, str]:
    return {"": text} if isinstance(text, str) else dict(text)


@pytest.mark.parametrize("language", OTHERS)
def test_every_text_is_there(language: str) -> None:
    for path in sorted((WORDS / ENGLISH).glob("*.toml")):
        assert (WORDS / language / path.name).exists(), path.name
    own = {
        key
        for path in sorted((WORDS / language).glob("*.toml"))
        if path.stem != "sentences"
        for key in catalogue_module._flat(path.stem, _read(path))
    }
    assert own == set(catalogue(ENGLISH))


def _read(path: Path) -> dict[str, object]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("language", OTHERS)
def test_gaps_and_signs_are_those_of_the_english(language: str) -> None:
    theirs = catalogue(language)
    for key, text in catalogue(ENGLISH).items():
        if key.startswith("frame.names_"):
            continue
        for form, english in forms(text).items():
            turned = forms(theirs[key])[form]
            assert sorted(GAPS.findall(turned)) == sorted(GAPS.findall(english)), key
            assert sorted(SIGNS.findall(turned)) == sorted(SIGNS.findall(english)), key


@pytest.mark.parametrize("language", OTHERS)
def test_no_text_is_so_long_that_it_breaks_its_place(language: str) -> None:
    theirs = catalogue(language)
    for key, text in catalogue(ENGLISH).items():
        last = key.rpartition(".")[2]
        is_short = any(last == s or (s.endswith("_") and last.startswith(s)) for s in SHORT)
        for form, english in forms(text).items():
            most = max(12, 2 * len(english)) if is_short else 25 + 2 * len(english)
            assert len(forms(theirs[key])[form]) <= most, key


@pytest.mark.parametrize("language", OTHERS)
def test_no_sentence_is_left_in_english(language: str) -> None:
    theirs = catalogue(language)
    left = [
        key
        for key, text in catalogue(ENGLISH).items()
        if forms(text) == forms(theirs[key])
        and any(len(re.findall(r"[A-Za-z]{3,}", GAPS.sub("", w))) > 2 for w in forms(text).values())
    ]
    assert left == []


@pytest.fixture(scope="module")
def desk(village_book: Path) -> TestClient:
    application = make_application(village_book)
    application.state.desk.is_warm.set()
    return TestClient(application, base_url="http://127.0.0.1:8740", client=("127.0.0.1", 5))


def test_a_browser_is_answered_in_its_language(desk: TestClient) -> None:
    german = desk.get("/organ/1", headers={"Accept-Language": "de-CH,de;q=0.9,en;q=0.5"}).text
    assert '<html lang="de"' in german
    assert "Jede Reihe, Taste für Taste" in german
    french = desk.get("/organ/1", headers={"Accept-Language": "nl,fr;q=0.4"}).text
    assert '<html lang="fr"' in french
    assert '<html lang="en"' in desk.get("/organ/1").text
    chosen = desk.get("/organ/1", headers={"Cookie": "language=fr", "Accept-Language": "de"}).text
    assert '<html lang="fr"' in chosen
    assert "Chaque rang, touche par touche" in chosen


def test_a_language_may_be_chosen_for_every_browser_of_the_book(desk: TestClient) -> None:
    given = {"language": "de", "names": "german", "look": "auto", "back": "/organ/1"}
    desk.post("/preferences", data={**given, "for_all": "yes"})
    desk.cookies.clear()
    page = desk.get("/organ/1/rank/great.open8").text
    assert '<html lang="de"' in page
    assert (desk.app.state.desk.book.path / FILE).exists()  # type: ignore[attr-defined]
    desk.post("/preferences", data={**given, "language": "en", "names": "", "for_all": "yes"})
    desk.cookies.clear()
    assert '<html lang="en"' in desk.get("/organ/1").text


def test_keys_are_named_as_each_language_does() -> None:
    # Common practice, no source: German H is the English B; French organs begin at do1.
    keys = [Key.parse(name) for name in ("C2", "B3", "A#3", "C4")]
    german = Preferences(names=Names.GERMAN)
    french = Preferences(names=Names.FRENCH)
    assert [german.key(key) for key in keys][:2] == ["C", "h"]
    assert [french.key(key) for key in keys] == ["do1", "si2", "si♭2", "do3"]


def test_a_german_noun_keeps_its_capital_within_a_fault(desk: TestClient) -> None:
    page = desk.get("/organ/1", headers={"Cookie": "language=de"}).text
    assert "Träge Ansprache: " in page
