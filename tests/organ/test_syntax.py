"""Texts that are no TOML: the line, and a fix that a tuner can follow."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from walkboard.errors import DescriptionError, Problem
from walkboard.organ import examples
from walkboard.organ.reading import read_organ

GOOD = examples.village()
LINES = GOOD.split("\n")


def problem_of(text: str) -> Problem:
    with pytest.raises(DescriptionError) as caught:
        read_organ(text, where="brask.toml")
    assert caught.value.where == "brask.toml"
    (problem,) = caught.value.problems
    return problem


@pytest.mark.parametrize(
    ("old", "new", "field", "what", "fix"),
    [
        ('name = "Great"', "name = Great", "name", "has no quotation marks", 'name = "Great"'),
        ('name = "Great"', "name = “Great”", "name", "not plain ones", "plain mark"),
        ('name = "Great"', 'name = "Great', "name", "not closed", "both ends"),
        ('name = "Great"', "name = ", "name", "no value", "delete the line"),
        ('name = "Great"', 'name "Great"', "file", "neither a field nor a comment", "#"),
        ('name = "Great"', "the great organ", "file", "neither a field nor a comment", "#"),
        ("minutes = 1.5", "minutes = 1,5", "minutes", "1,5 is not a number", "1.5"),
        ("keys = 30", "keys = 030", "keys", "begins with 0", "30"),
        ("keys = 30", "keys = 30 notes", "keys", "not TOML", "one on a line"),
        ("enclosed = true", "enclosed = yes", "enclosed", "not a value", "true or false"),
        ("enclosed = true", "enclosed = True", "enclosed", "not a value", "true or false"),
        ("enclosed = true", "keys = 54", "keys", "twice in the same table", "Remove one"),
        ("[pitch]", "[pitch", "file", "header", "[pitch]"),
        ('id = "pedal"\n', 'id = "pedal"\n[pitch]\n', "pitch", "given twice", "[[pitch]]"),
    ],
)
def test_slip_is_reported_with_its_line_and_fix(
    old: str, new: str, field: str, what: str, fix: str
) -> None:
    before, found, after = GOOD.partition(old)
    assert found
    problem = problem_of(before + new + after)
    assert problem.line == before.count("\n") + (2 if new.endswith("[pitch]\n") else 1)
    assert problem.field == field
    assert what in problem.what
    assert fix in problem.fix


def test_bracket_left_open_is_reported_where_it_opens() -> None:
    text = GOOD.replace(
        'plays = [{rank = "pedal.bourdon16"}]', 'plays = [{rank = "pedal.bourdon16"}'
    )
    problem = problem_of(text)
    assert problem.line == 1 + LINES.index('plays = [{rank = "pedal.bourdon16"}]')
    assert problem.field == "plays"
    assert "bracket" in problem.what


def test_text_over_several_lines_left_open_is_reported_where_it_opens() -> None:
    problem = problem_of(GOOD.replace('name = "Great"', 'name = """Great"'))
    assert problem.line == 1 + LINES.index('name = "Great"')
    assert problem.field == "name"
    assert "three quotation marks" in problem.fix


@pytest.mark.parametrize("text", ["", "  \n\n\t", "\ufeff"])
def test_empty_text_is_reported(text: str) -> None:
    problem = problem_of(text)
    assert "empty" in problem.what
    assert "example" in problem.fix


@pytest.mark.parametrize(
    "encoded",
    [
        pytest.param(GOOD.encode("utf-16-le").decode("latin-1"), id="utf-16 read as bytes"),
        pytest.param(
            GOOD.replace("Great", "Größe").encode("latin-1").decode("utf-8", "replace"),
            id="latin-1 read as utf-8",
        ),
        pytest.param(
            GOOD.replace("Great", "Größe").encode("latin-1").decode("utf-8", "surrogateescape"),
            id="latin-1 with escapes",
        ),
    ],
)
def test_wrong_encoding_is_reported(encoded: str) -> None:
    problem = problem_of(encoded)
    assert "UTF-8" in problem.what
    assert problem.line is not None


def test_sound_file_given_as_description_is_reported() -> None:
    header = b"RIFF\x24\x08\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x02\x00"
    assert "UTF-8" in problem_of(header.decode("latin-1")).what


def test_endless_brackets_are_reported() -> None:
    assert "bracket" in problem_of("a = " + "[" * 20_000).what


def test_number_without_end_is_reported() -> None:
    assert problem_of("a = " + "9" * 20_000).what


def test_mark_at_the_beginning_and_windows_line_ends_are_no_errors() -> None:
    assert read_organ("\ufeff" + GOOD.replace("\n", "\r\n")) == read_organ(GOOD)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, len(GOOD)),
    st.integers(0, 4),
    st.text(st.sampled_from("\"'[]{}=,.# \t\n\r\\0aé\x01"), max_size=3),
)
def test_whatever_is_mistyped_is_reported_on_a_line_of_the_file(
    at: int, cut: int, typed: str
) -> None:
    text = GOOD[:at] + typed + GOOD[at + cut :]
    try:
        read_organ(text)
    except DescriptionError as error:
        lines = [problem.line for problem in error.problems]
    else:
        return  # it fell into a remark, or changed a name
    assert lines
    for line in lines:
        assert line is not None
        assert 1 <= line <= text.count("\n") + 1
