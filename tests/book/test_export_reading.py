"""An export read a row at a time is the same as Python's own json reads whole."""

from __future__ import annotations

import json
import tracemalloc
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from walkboard.book import export_reading
from walkboard.book.export_reading import read_head, read_rows

NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
VALUES = st.one_of(st.none(), st.booleans(), st.integers(), NUMBERS, st.text(max_size=20))
ROWS = st.lists(st.dictionaries(st.text(max_size=5), VALUES, max_size=3), max_size=4)
DOCUMENTS = st.fixed_dictionaries(
    {"tables": st.dictionaries(st.text(max_size=8), ROWS, max_size=4)},
    optional={"format": VALUES, "form": VALUES},
)


def whole(path: Path) -> dict[str, Any]:
    read = read_head(path)
    if export_reading.TABLES in read:
        read[export_reading.TABLES] = {table: list(rows) for table, rows in read_rows(path)}
    return read


@settings(max_examples=60, deadline=None)
@given(document=DOCUMENTS, indent=st.sampled_from([None, 1]), piece=st.integers(1, 40))
def test_it_reads_what_json_reads_however_the_text_is_cut(
    document: dict[str, Any], indent: int | None, piece: int, tmp_path_factory: Any
) -> None:
    path = tmp_path_factory.getbasetemp() / "document.json"
    text = json.dumps(document, indent=indent)
    path.write_text(text, encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(export_reading, "_PIECE", piece)
        assert whole(path) == json.loads(text)


@settings(max_examples=60, deadline=None)
@given(document=DOCUMENTS, at=st.integers(0, 10**6), how=st.sampled_from(["cut", "put", "drop"]))
def test_what_json_refuses_is_refused(
    document: dict[str, Any], at: int, how: str, tmp_path_factory: Any
) -> None:
    path = tmp_path_factory.getbasetemp() / "broken.json"
    text = json.dumps(document)
    place = at % len(text)
    broken = {
        "cut": text[:place],
        "put": text[:place] + "]" + text[place:],
        "drop": text[:place] + text[place + 1 :],
    }[how]
    path.write_text(broken, encoding="utf-8")
    try:
        expected = json.loads(broken)
    except ValueError:
        with pytest.raises(ValueError, match=r"."):
            whole(path)
        return
    try:
        found = whole(path)
    except ValueError:  # of another form than tables of rows, or a name stands in it twice
        return
    assert found == expected


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('{"tables": {}, "tables": {}}', "stands in it twice"),
        ('{"tables": {"a": [], "a": []}}', "stands in it twice"),
        ('{"tables": {"a": [NaN]}}', "NaN is no number"),
        ('{"tables": {}} {}', "something follows its end"),
        ('{"tables": []}', "'{' is missing before '\\['"),
        ('{"tables": {"a": [1 2]}}', "'\\]' is missing before '2'"),
        ("", "'{' is missing"),
    ],
)
def test_what_is_wrong_is_named(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "odd.json").write_text(text, encoding="utf-8")
    with pytest.raises(ValueError, match=said):
        read_head(tmp_path / "odd.json")


def test_a_value_without_end_is_not_read_for_ever(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(export_reading, "_LONGEST_VALUE", 10_000)
    monkeypatch.setattr(export_reading, "_PIECE", 1_000)
    (tmp_path / "long.json").write_text('{"tables": {"a": ["' + "x" * 10**6, encoding="utf-8")
    with pytest.raises(ValueError, match="has no end"):
        read_head(tmp_path / "long.json")


def test_a_large_export_is_never_held_whole(tmp_path: Path) -> None:
    path = tmp_path / "large.json"
    row = json.dumps({"words": "x" * 400})
    with path.open("w", encoding="utf-8") as stream:
        stream.write('{"tables": {"note": [' + ",\n".join([row] * 20_000) + "]}}")
    tracemalloc.start()
    count = sum(1 for _, rows in read_rows(path) for _ in rows)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert count == 20_000
    assert path.stat().st_size > 8_000_000
    assert peak < 2_000_000
