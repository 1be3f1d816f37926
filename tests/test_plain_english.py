"""Archaic words stay out of the program, its tests and its documents."""

import pytest
from builders.plain_english import APART, files, look_through

PLANTED = [
    "to" + "ld",
    "men" + "ded",
    "n" + "ought",
    "a" + "new",
    "bears " + "out",
    "ERR_TO" + "LD",
]


def test_no_file_has_an_archaic_word() -> None:
    found = [one for path in files() for one in look_through(path.name, path.read_text("utf-8"))]
    assert found == []


@pytest.mark.parametrize("word", PLANTED)
def test_a_planted_word_is_found(word: str) -> None:
    (found,) = look_through("x.py", f"first line\n# {word} is what nobody says today\n")
    assert found.line == 2
    assert found.word in word


@pytest.mark.parametrize(
    "line",
    ["fault.mended_at", 'problem.mend + "mend"', "walkboard fault mend BOOK 3", "recommend it"],
)
def test_names_that_must_stay_are_no_finding(line: str) -> None:
    assert list(look_through("x.py", line)) == []


def test_other_languages_are_left_out() -> None:
    assert APART.fullmatch("src/walkboard/desk/words/de/book.toml")
    assert not APART.fullmatch("src/walkboard/desk/words/en/book.toml")
