"""German and French are complete: every sentence of every package, with the same gaps and signs."""

from __future__ import annotations

import re

import pytest
from builders import words

from walkboard.languages.spoken import ENGLISH, LANGUAGES
from walkboard.languages.translation import sentences

OTHERS = [language for language in LANGUAGES if language != ENGLISH]
GAPS = re.compile(r"\{\w\}")
SIGNS = re.compile(r"[●◇○▲▼×→]|°C|\bHz\b|%|\[\[?|--\w+|walkboard [a-z]+")
# Names of laws and guides, and figures with a unit, are the same in every language.
SAME = re.compile(r"[A-Z]{3,}[/ ]|Regulations|Rules 2015")


@pytest.mark.parametrize("language", OTHERS)
def test_every_sentence_has_a_translation_and_none_is_left_over(language: str) -> None:
    # `python builders/words.py LANGUAGE --missing` lists what is missing.
    assert sorted(set(words.sentences()) - set(sentences(language))) == []
    assert sorted(set(sentences(language)) - set(words.sentences())) == []


@pytest.mark.parametrize("language", OTHERS)
def test_gaps_and_signs_are_those_of_the_english(language: str) -> None:
    for english, turned in sentences(language).items():
        assert sorted(GAPS.findall(turned)) == sorted(GAPS.findall(english)), english
        assert sorted(SIGNS.findall(turned)) == sorted(SIGNS.findall(english)), english


@pytest.mark.parametrize("language", OTHERS)
def test_no_sentence_is_left_in_english(language: str) -> None:
    left = [
        english
        for english, turned in sentences(language).items()
        if english == turned
        and len(re.findall(r"[A-Za-z]{3,}", GAPS.sub("", english))) > 2
        and not SAME.search(english)
    ]
    assert left == []


@pytest.mark.parametrize("language", OTHERS)
def test_no_sentence_is_so_long_that_it_breaks_its_place(language: str) -> None:
    # Columns of the sheets and lines of a phone are laid out for twice the English and a bit.
    long = [
        english
        for english, turned in sentences(language).items()
        if len(turned) > 22 + 1.6 * len(english)
    ]
    assert long == []
