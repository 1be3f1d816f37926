"""Lines of tables, keys and values in a TOML text."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import given, settings

from tests.strategies import Raw, texts
from walkboard.organ.positions import Path, Positions, opened

TEXT = '''\
# [[not]] = "a table"
name = "has a # and a ] in it"
long = """
[[rank]] within a text
three \\""" quotes
"""
"a.b" . c = 'literal \\'

[pitch]   # remark
a4_hz = 440.0
  [ pitch . "deep er" ]
  x = 1

[[rank]]
id = "one"
breaks = [
  {from = "C2", interval = 15},  # ] }
  {from = "C4", interval = 12, more = [1,
   2]},
]
[[rank]]
id = "two"
diameter_mm = {1 = 100.0, 13 = 60.0}
[[rank.part]]
k = 1
[[rank.part]]
k = 2
dotted.inner.leaf = [1, [2, 3],
  [4]]
when = 1979-05-27T07:32:00Z
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("name",), 2),
        (("long",), 3),
        (("a.b", "c"), 7),
        (("pitch",), 9),
        (("pitch", "a4_hz"), 10),
        (("pitch", "deep er"), 11),
        (("pitch", "deep er", "x"), 12),
        (("rank", 0), 14),
        (("rank", 0, "id"), 15),
        (("rank", 0, "breaks"), 16),
        (("rank", 0, "breaks", 0, "interval"), 17),
        (("rank", 0, "breaks", 1), 18),
        (("rank", 0, "breaks", 1, "more", 1), 19),
        (("rank", 1), 21),
        (("rank", 1, "diameter_mm", "13"), 23),
        (("rank", 1, "part", 0, "k"), 25),
        (("rank", 1, "part", 1), 26),
        (("rank", 1, "part", 1, "dotted", "inner"), 28),
        (("rank", 1, "part", 1, "dotted", "inner", "leaf", 2, 0), 29),
        (("rank", 1, "part", 1, "when"), 30),
        # what is not there stands where the nearest thing around it does
        (("rank", 1, "pipes"), 21),
        (("rank", 0, "breaks", 1, "feet"), 18),
        (("stop",), None),
    ],
)
def test_each_thing_is_found_on_its_line(path: Path, line: int | None) -> None:
    tomllib.loads(TEXT)  # the text is TOML
    assert Positions(TEXT).line(path) == line


def test_windows_line_ends_count_once() -> None:
    assert Positions(TEXT.replace("\n", "\r\n")).line(("rank", 1, "part", 1, "when")) == 30


def walk(value: Any, path: Path = ()) -> list[Path]:
    items = value.items() if isinstance(value, dict) else enumerate(value)
    found = []
    for step, inner in items:
        found.append((*path, step))
        if isinstance(inner, dict | list):
            found += walk(inner, (*path, step))
    return found


@settings(max_examples=30, deadline=None)
@given(texts())
def test_every_key_of_any_description_is_on_the_line_that_is_named(drawn: tuple[Raw, str]) -> None:
    _, text = drawn
    lines = text.split("\n")
    places = Positions(text)
    found = walk(tomllib.loads(text))
    assert found
    for path in found:
        line = places.line(path)
        assert line is not None
        if isinstance(path[-1], str):
            assert path[-1] in lines[line - 1]
        else:  # an element of an array: a header, or a value after its bracket
            assert "[" in lines[line - 1] or "{" in lines[line - 1]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ('a = 1\nb = [\n  "x",\n  "y"\nc = 2\n', (2, "bracket")),
        ("a = 1\nb = [{x = 1, y = 2]\n", (2, "bracket")),
        ('a = 1\nb = """x\nc = 2\n', (2, "text")),
        ("a = [1,\n '''x\n]\n", (2, "text")),
        ("a = 1\n", None),
    ],
)
def test_what_is_left_open_is_named_where_it_opens(
    text: str, expected: tuple[int, str] | None
) -> None:
    assert opened(text) == expected
