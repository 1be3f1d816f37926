"""``walkboard organ from``: a stop list in, a description out, guesses and questions aside."""

from __future__ import annotations

import json
from pathlib import Path

import openpyxl

from tests.commands import Run
from walkboard.organ.reading import read_organ

STOPS = """Great
Open Diapason 8
Zorblax 8
Mixture
Pedal
Bourdon 16
"""


def test_a_list_becomes_a_description_with_its_guesses_aside(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "stops.txt"
    file.write_text(STOPS, encoding="utf-8")
    done = run("organ", "from", file)
    assert done.code == 1  # one line is left to answer
    organ = read_organ(done.out)
    assert [stop.name for stop in organ.stops] == ["Mixture 3", "Open Diapason", "Bourdon"]
    assert "line 3: Zorblax 8: What kind of stop is Zorblax?" in done.err
    assert "line 4: Mixture: guessed. The list does not say how many ranks." in done.err
    assert "1 to answer" in done.err


def test_a_list_that_is_understood_ends_well(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "stops.txt"
    file.write_text("Great 56 notes\nOpen Diapason 8\n", encoding="utf-8")
    assert run("organ", "from", file).code == 0


def test_json_says_of_each_line_what_it_was_taken_for_and_why(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "stops.txt"
    file.write_text(STOPS, encoding="utf-8")
    reported = json.loads(run("organ", "from", file, "--json").out)
    assert [line["state"] for line in reported["lines"]] == [
        "guessed", "understood", "asked", "guessed", "guessed", "understood",
    ]  # fmt: skip
    diapason = reported["lines"][1]
    assert diapason["id"] == "great.open-diapason8"
    assert {guess["field"] for guess in diapason["guesses"]} == {"family", "tuned_by"}
    assert all("no source" in guess["why"] for guess in diapason["guesses"])
    assert reported["problems"] == []
    read_organ(reported["toml"])


def test_a_workbook_is_read_by_its_columns(run: Run, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (["Division", "Stop", "Pitch"], ["Great", "Trumpet", 8], ["Pedal", "Bourdon", 16]):
        sheet.append(row)
    file = tmp_path / "stops.xlsx"
    book.save(file)
    organ = read_organ(run("organ", "from", file).out)
    assert [(s.division, s.name) for s in organ.stops] == [
        ("great", "Trumpet"),
        ("pedal", "Bourdon"),
    ]


def test_a_file_that_is_not_a_list_is_refused(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "stops.xlsx"
    file.write_bytes(b"PK\x03\x04 and nothing more")
    done = run("organ", "from", file)
    assert done.code == 2
    assert "cannot be read" in done.err
    (tmp_path / "binary").write_bytes(bytes(range(256)))
    assert "neither text nor a spreadsheet" in run("organ", "from", tmp_path / "binary").err


def test_a_list_without_stops_says_what_is_missing(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "stops.txt"
    file.write_text("Great 56 notes\n", encoding="utf-8")
    done = run("organ", "from", file)
    assert done.code == 1
    assert "[[rank]]" in done.err
