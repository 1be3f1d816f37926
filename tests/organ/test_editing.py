"""A value is changed in someone's file, and nothing else in it."""

from __future__ import annotations

import difflib

import pytest

from walkboard.errors import InputError, UnknownNameError
from walkboard.organ import examples
from walkboard.organ.editing import CellChange, edited, rank_cells
from walkboard.organ.reading import read_organ

TEXT = "# by Ada, from the console\n" + examples.village().replace(
    'name = "Oboe"', 'name = "Oboe"   # revoiced in 1998'
)


def changed_lines(before: str, after: str) -> list[str]:
    return [
        line
        for line in difflib.unified_diff(before.split("\n"), after.split("\n"), lineterm="", n=0)
        if line[:1] in "+-" and line[:3] not in {"+++", "---"}
    ]


def test_one_value_changes_and_comments_and_order_stay() -> None:
    after = edited(TEXT, [CellChange("rank", "swell.oboe8", "pipes", "40")])
    assert changed_lines(TEXT, after) == ["-pipes = 42", "+pipes = 40"]
    assert read_organ(after).rank("swell.oboe8").pipes == 40


def test_a_comment_on_the_same_line_stays() -> None:
    after = edited(TEXT, [CellChange("rank", "swell.oboe8", "name", "Hautboy")])
    assert 'name = "Hautboy"   # revoiced in 1998' in after


def test_an_emptied_value_is_removed_and_a_new_one_added() -> None:
    after = edited(
        TEXT,
        [
            CellChange("rank", "swell.oboe8", "from", ""),
            CellChange("rank", "swell.oboe8", "wind_mm", "82,5"),
        ],
    )
    rank = read_organ(after).rank("swell.oboe8")
    assert (rank.from_key.name, rank.wind_mm) == ("C2", 82.5)


def test_the_cells_are_those_of_the_file() -> None:
    cells = {row["id"]: row for row in rank_cells(TEXT)}
    assert cells["swell.oboe8"]["family"] == "reed"
    assert len(cells) == len(read_organ(TEXT).ranks)


def test_a_missing_row_or_broken_toml_is_reported() -> None:
    with pytest.raises(UnknownNameError, match="no rank swell") as caught:
        edited(TEXT, [CellChange("rank", "swell.obo8", "pipes", "1")])
    assert caught.value.fix == "Did you mean swell.oboe8?"
    with pytest.raises(InputError, match="not TOML"):
        rank_cells("rank = [")


def test_a_word_where_a_number_belongs_is_left_to_the_checker() -> None:
    after = edited(TEXT, [CellChange("rank", "swell.oboe8", "pipes", "many")])
    assert 'pipes = "many"' in after
