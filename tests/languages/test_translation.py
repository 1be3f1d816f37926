"""English sentences in another language: by pattern, by part, with its own figures and days."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from builders import words

from walkboard.languages import spoken, translation
from walkboard.languages.translation import Own, translate


@pytest.fixture(autouse=True)
def turned(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    own = {
        "{a} of {b}": "von {b} {a}",
        "{a} cents {b} of {c}": "{a} Cent {b} gegen {c}",
        "{a}, for air of {b}": "{a}, in Luft von {b}",
        "{a} flat": "{a} zu tief",
        "sharp": "zu hoch",
        "in tune": "rein",
        "the flues": "den Labialen",
        "the organ's pitch": "den Stimmton",
        "loud": "laut",
        "Say {a} again.": "Noch einmal {a}.",
        "It failed.": "Es ging nicht.",
        "a tone sounds throughout": "ein Ton klingt durch",
        "Worklist, {a}": "Arbeitsliste, {a}",
        "March": "März",
        "every {a} key": "jede {a} Taste",
        "{a}{b} sounds": "{a}{b} klingt",
    }
    monkeypatch.setattr(translation, "sentences", lambda _: own)
    translation._known.cache_clear()
    translation._read.cache_clear()
    with spoken.speaking("de"):
        yield
    translation._known.cache_clear()
    translation._read.cache_clear()


@pytest.mark.parametrize(
    ("english", "german"),
    [
        ("7.0 flat of the flues, loud", "von den Labialen 7,0 zu tief, laut"),
        ("It failed. Say A4 again.", "Es ging nicht. Noch einmal A4."),
        ("Great in tune", "Great rein"),
        ("Swell 7.2 flat", "Swell 7,2 zu tief"),
        ("A tone sounds throughout.", "Ein Ton klingt durch."),
        ("Worklist, 14 March 2026", "Arbeitsliste, 14. März 2026"),
        ("Oboe sounds", "Oboe klingt"),  # a gap may be empty
        (
            "1.8 cents sharp of the organ's pitch, for air of 16.5\u00a0°C",
            "1,8 Cent zu hoch gegen den Stimmton, in Luft von 16,5\u00a0°C",
        ),
        ("every 2nd key", "jede 2. Taste"),
        ("29 CFR 1910.1025", "29 CFR 1910.1025"),
        ("walk1.2.flac", "walk1.2.flac"),
        ("Rohrflöte", "Rohrflöte"),
    ],
)
def test_phrases_of_phrases_are_turned_round(english: str, german: str) -> None:
    assert translate(english) == german


def test_the_words_of_a_user_are_not_translated() -> None:
    assert translate(Own("loud, 7.2 flat")) == "loud, 7.2 flat"
    assert translate("loud, 7.2 flat") == "laut, 7,2 zu tief"


def test_english_is_not_changed() -> None:
    with spoken.speaking("en"):
        assert translate("7.0 flat of the flues") == "7.0 flat of the flues"


def test_french_days_and_signs() -> None:
    with spoken.speaking("fr"):
        assert translate("1 March 2026") == "1er März 2026"
        assert translate("loud; in tune") == "laut\u00a0; rein"


def test_a_language_ends_where_it_began() -> None:
    with spoken.speaking("fr"):
        assert spoken.language() == "fr"
        with spoken.speaking("tlh"):
            assert spoken.language() == "fr"
    assert spoken.language() == "de"


def test_a_renewed_file_keeps_what_is_translated() -> None:
    text = words.sentences()[0]
    rows = words.written({text: "…"}).splitlines()
    assert rows[1].endswith('= "…"')
    assert len(rows) == 1 + len(words.sentences())
