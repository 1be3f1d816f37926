"""The document of the format: its examples are right, and every field is in it."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.strategies import toml
from walkboard.errors import DescriptionError
from walkboard.organ.reading import read_organ
from walkboard.organ.stoplist.describing import describe
from walkboard.organ.stoplist.entries import State
from walkboard.organ.stoplist.reading import read_stop_list
from walkboard.scales.temperament import known

DOCUMENT = Path(__file__).parents[2] / "docs" / "organ-description.md"
TEXT = DOCUMENT.read_text(encoding="utf-8")
EXAMPLES = DOCUMENT.with_name("organ-examples.md").read_text(encoding="utf-8")
BLOCK = re.compile(r"^```toml\n(.*?)^```", re.DOTALL | re.MULTILINE)
(WHOLE,) = BLOCK.findall(TEXT)
FRAGMENTS = BLOCK.findall(EXAMPLES)


def completed(fragment: str) -> str:
    """The whole example with a fragment put in: tables of an id that is there take its place."""
    merged: dict[str, Any] = tomllib.loads(WHOLE)
    for name, value in tomllib.loads(fragment).items():
        if not isinstance(value, list):
            merged[name] = value
            continue
        ids = {row.get("id") for row in value} - {None}
        merged[name] = [r for r in merged.get(name, []) if r["id"] not in ids] + value
    return "\n".join(f"{key} = {toml(value)}" for key, value in merged.items())


def test_whole_example_is_right() -> None:
    assert len(read_organ(WHOLE).ranks) == 3


def test_there_are_fragments() -> None:
    assert len(FRAGMENTS) == 15


@pytest.mark.parametrize("fragment", FRAGMENTS, ids=range(len(FRAGMENTS)))
def test_fragment_is_right_within_the_whole(fragment: str) -> None:
    organ = read_organ(completed(fragment))
    for table in tomllib.loads(fragment).get("stop", []):
        assert organ.keys_of([table["id"]])


def test_a_wrong_fragment_would_be_seen() -> None:
    with pytest.raises(DescriptionError):
        read_organ(completed(FRAGMENTS[0].replace("interval = 15", "interval = 18")))


def test_the_list_in_it_is_understood_to_the_last_line() -> None:
    (listed,) = re.findall(r"are\s+read\s+too\)?:\n\n```text\n(.*?)```", TEXT, re.DOTALL)
    made = describe(read_stop_list(listed))
    assert len(made.rows) == 12
    asked = [row.line.text for row in made.rows if row.state is State.ASKED]
    assert asked == ["Total pipes: 420"]  # its mixture and celeste make another number
    assert len(read_organ(made.toml).stops) == 5


def test_temperaments_that_are_named_are_known() -> None:
    line = TEXT.partition("**Temperament** is a name (")[2].partition(";")[0]
    named = re.findall(r"`([^`]+)`", line)
    assert len(named) == 5
    for name in named:
        assert known(" ".join(name.split())).cents_above_c[0] == 0.0


def test_printed_errors_are_the_program_s_own() -> None:
    shown = re.findall(r"^  line \d+: (.*)$", TEXT, re.MULTILINE)
    assert len(shown) == 3
    text = WHOLE.replace("keys = 56", 'keys = "56"')
    trumpet = 'name = "Trumpet"\nfamily = "reed"\nfeet = '
    text = text.replace(f'{trumpet}"8"', f'{trumpet}"4 1/7"')
    text += '[[stop]]\nid = "pedal.flute8"\nname = "Flute 8"\ndivision = "pedal"\n'
    text += 'plays = [{rank = "pedal.bourdon16", first_pipe = 43}]\n'
    with pytest.raises(DescriptionError) as caught:
        read_organ(text)
    assert [str(p).partition(": ")[2] for p in caught.value.problems] == shown
