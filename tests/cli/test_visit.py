"""A whole visit by commands, from an empty book to the printed report."""

from pathlib import Path

from pypdf import PdfReader

from tests.commands import Must, Run


def test_a_visit_from_arrival_to_report(
    run: Run, must: Must, organ_file: Path, walk_file: Path, tmp_path: Path
) -> None:
    book = tmp_path / "book"

    must("book", "new", book)
    must("book", "add", book, organ_file)
    must(
        "visit", "open", book, "--purpose", "before the harvest service", "--minutes", 20,
        "--air", "great=18", "--humidity", 55, "--wind", "80",
    )  # fmt: skip
    taken = must("visit", "take", book, walk_file, "--drawn", "great.principal8")
    assert "9 holds, 9 readings" in taken
    assert "E3: dead note?" in taken
    must(
        "fault", "report", book, "no sound at all", "--kind", "dead note",
        "--stop", "great.principal8", "--key", "E3",
    )  # fmt: skip
    assert "great.principal8:17" in must("fault", "list", book)
    readings = run("visit", "readings", book, "--json").json["readings"]
    assert len(readings) == 9
    assert {r["recording"] for r in readings} == {"principal.flac"}
    state = run("visit", "state", book, "--json").json
    assert [d["division"] for d in state["divisions"]] == ["great"]
    plan = run("visit", "plan", book, "--event-air", 20, "--json").json
    assert plan["items"]
    first = plan["items"][0]["pipe"]
    must("visit", "tick", book, first, "--note", "slide was loose")
    must("sheet", "worklist", book, "--to", tmp_path / "worklist.pdf")
    must("fault", "mend", book, 1, "--note", "pallet freed")
    must("visit", "close", book, "--note", "All is well.")
    must("sheet", "report", book, "--to", tmp_path / "report.pdf")
    worklist = "".join(p.extract_text() for p in PdfReader(tmp_path / "worklist.pdf").pages)
    assert "Invented chapel" in worklist
    report = "".join(p.extract_text() for p in PdfReader(tmp_path / "report.pdf").pages)
    assert "All is well." in report
    assert "dead note" in report.lower()
    assert "no errors" in must("book", "check", book)


def test_a_closed_visit_takes_nothing_more(
    run: Run, organ_file: Path, walk_file: Path, tmp_path: Path
) -> None:
    book = tmp_path / "book"
    assert run("book", "new", book).code == 0
    assert run("book", "add", book, organ_file).code == 0
    assert run("visit", "open", book).code == 0
    assert run("visit", "close", book).code == 0
    ran = run("visit", "take", book, walk_file, "--drawn", "great.principal8")
    assert ran.code == 2
    assert "No visit to Invented chapel is open" in ran.err


def test_a_folder_that_is_not_a_book_is_refused(run: Run, tmp_path: Path) -> None:
    ran = run("book", "show", tmp_path)
    assert ran.code == 2
    assert str(tmp_path) in ran.err


def test_conditions_that_cannot_be_are_refused(run: Run, organ_file: Path, tmp_path: Path) -> None:
    book = tmp_path / "book"
    for words in (["book", "new", book], ["book", "add", book, organ_file]):
        assert run(*words).code == 0
    assert "is out of range" in run("visit", "open", book, "--humidity", 550).err
    assert "no division 'grate'" in run("visit", "open", book, "--air", "grate=18").err
    assert "not understood" in run("visit", "open", book, "--air", "warm").err
