"""Copies: the whole folder, and record → book → JSON → book → record."""

import json
import sqlite3
import subprocess
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.book.making import (
    DESCRIPTION,
    MORNING,
    PRINCIPAL,
    VERSION,
    Clock,
    a_hold,
    a_plan,
    a_sound,
    a_walk,
    old_tables,
)
from tests.book.strategies import conditions, pipes, plans, walks, words
from tests.postgresql import Server
from walkboard.book import open_book
from walkboard.book.database.address import write_address
from walkboard.book.files.folder import DATABASE
from walkboard.book.importing import import_book
from walkboard.book.keeping import Book
from walkboard.book.models import Base, fact_tables
from walkboard.book.models import venue as venue_tables
from walkboard.book.records import Conditions, KeptSettling, Tick
from walkboard.errors import BookError, InputError
from walkboard.organ.model import PipeRef


def everything(book: Book) -> list[object]:
    """All that a book gives out."""
    found: list[object] = [book.organs()]
    for organ in book.organs():
        found += [book.organ_versions(organ.id), book.faults(organ.id), book.events(organ.id)]
        found += [book.settlings(organ.id)]
        found += [book.event_versions(organ.id, e.uid) for e in book.events(organ.id)]
        for visit in book.visits(organ.id):
            recordings = book.recordings(visit.id)
            found += [visit, book.plans(visit.id), book.ticks(visit.id), recordings]
            found += [book.hearings(recording.id) for recording in recordings]
            found += [book.every_reading(visit.id), book.best_readings(visit.id)]
    return found


VENUE_TABLES = [
    row.__tablename__
    for row in vars(venue_tables).values()
    if isinstance(row, type) and issubclass(row, Base) and row.__module__ == venue_tables.__name__
]


def rows_of(book: Book) -> dict[str, Any]:
    return dict(json.loads("".join(book._export({"format": ""})))["tables"])


def fill(book: Book, folder: Path) -> None:
    """Something of every kind."""
    organ = book.add_organ("Harbour Hall", DESCRIPTION)
    organ = book.add_organ("Harbour Hall", DESCRIPTION + "# more\n")
    visit = book.open_visit(
        organ.id, "spring", minutes=120.0, conditions=Conditions({"great": 17.5}, 0.55)
    )
    book.correct_visit(visit.id, minutes=90.0, words="a funeral at noon")
    kept = book.keep_recording(visit.id, a_sound(folder), a_walk(), program_version="0.1.0")
    book.take_in_again(kept.id, a_walk(a_hold(1), a_hold(2)), program_version="0.2.0")
    book.keep_plan(visit.id, a_plan(1, 2))
    book.keep_plan(visit.id, a_plan(2), event_air_celsius=21.0)
    book.set_tick(Tick("t", visit.id, PipeRef(PRINCIPAL, 2), "done", "tight", MORNING, "phone"))
    fault = book.report_fault(organ.id, "dead note", "F sharp", key="F#3", uid="r")
    book.link_fault(fault.id, stop=PRINCIPAL, pipe=PipeRef(PRINCIPAL, 19))
    book.mark_fixed(fault.id, visit_id=visit.id, note="dust")
    book.reopen_fault(fault.id, "again")
    book.keep_event(organ.id, "e", MORNING, "Recital", stops=(PRINCIPAL,), air_celsius=19.5)
    book.cancel_event(organ.id, "e")
    book.keep_weight(organ.id, PRINCIPAL, 1.5, "the choir's")
    book.keep_settlings(
        [KeptSettling(visit.id, PipeRef(PRINCIPAL, 2), "stopper", 3.9, 0.2, 6.5, 0.3, MORNING)]
    )
    book.add_note(visit.id, "cold")
    book.close_visit(visit.id, "done")


@pytest.mark.sqlite
def test_a_copy_is_the_whole_book(book: Book, clock: Clock, tmp_path: Path) -> None:
    fill(book, tmp_path)
    assert book.copy_to(tmp_path / "copies" / "monday") == ()
    names = sorted(p.name for p in (tmp_path / "copies" / "monday").iterdir())
    assert names == [DATABASE, "recordings"]
    with open_book(tmp_path / "copies" / "monday", clock=clock) as copy:
        assert everything(copy) == everything(book)
        assert copy.check() == ()
    assert [p.name for p in (tmp_path / "copies").iterdir()] == ["monday"]


def restored(copy: Path, server: Server) -> Path:
    """The book of a copy made from a server, as PostgreSQL's own pg_restore brings it back."""
    address = server.new_database()
    done = subprocess.run(
        ["pg_restore", "--exit-on-error", f"--dbname={address}", copy / "book.pgdump"], check=False
    )
    assert done.returncode == 0
    write_address(copy, address)
    return copy


def test_a_copy_from_a_server_is_restored_by_its_own_program(
    book: Book, clock: Clock, tmp_path: Path, server: Server | None
) -> None:
    if server is None:
        pytest.skip("the copy of a file is tested above")
    fill(book, tmp_path)
    assert book.copy_to(tmp_path / "copy") == ()
    names = sorted(p.name for p in (tmp_path / "copy").iterdir())
    assert names == ["book.pgdump", "recordings"]
    before = everything(book)
    book.add_note(1, "after the copy")
    with open_book(restored(tmp_path / "copy", server), clock=clock) as copy:
        assert everything(copy) == before
        assert copy.check() == ()
        assert copy.add_organ("Mill chapel", DESCRIPTION).id == 2  # numbers go on


def test_a_copy_leaves_out_what_is_damaged_and_says_so(
    book: Book, clock: Clock, tmp_path: Path, server: Server | None
) -> None:
    fill(book, tmp_path)
    book.sound_path(1).write_bytes(b"rotten")
    (problem,) = book.copy_to(tmp_path / "copy")
    assert problem.what == "The file of a recording has changed."
    if server is not None:
        restored(tmp_path / "copy", server)
    with open_book(tmp_path / "copy", clock=clock) as copy:
        assert everything(copy) == everything(book)
        assert [p.what for p in copy.check()] == ["The file of a recording is missing."]
        copy.restore_sound(a_sound(tmp_path))
        assert copy.check() == ()


def test_a_copy_replaces_nothing(book: Book, tmp_path: Path) -> None:
    with pytest.raises(BookError, match="There is already a book here"):
        book.copy_to(book.path)
    a_sound(tmp_path / "hall" / "..", "busy")
    with pytest.raises(BookError, match="There is already something else here"):
        book.copy_to(tmp_path)


def test_an_export_makes_the_same_book_again(book: Book, clock: Clock, tmp_path: Path) -> None:
    fill(book, tmp_path)
    book.export_json(tmp_path / "book.json")
    tables = json.loads((tmp_path / "book.json").read_text(encoding="utf-8"))["tables"]
    elsewhere = {*VENUE_TABLES, "person", "membership"}  # test_venue.py, test_people.py
    assert {name for name, rows in tables.items() if not rows} == elsewhere
    with import_book(
        tmp_path / "book.json", tmp_path / "again", clock=clock, recordings=book.sounds.path
    ) as again:
        assert everything(again) == everything(book)
        assert again.check() == ()
        again.export_json(tmp_path / "again.json")
    first, second = (
        json.loads((tmp_path / name).read_text("utf-8")) for name in ("book.json", "again.json")
    )
    assert first["tables"] == second["tables"]


def test_an_export_without_the_sound_says_what_is_missing(
    book: Book, clock: Clock, tmp_path: Path
) -> None:
    fill(book, tmp_path)
    book.export_json(tmp_path / "book.json")
    with import_book(tmp_path / "book.json", tmp_path / "again", clock=clock) as again:
        assert everything(again) == everything(book)
        assert [p.what for p in again.check()] == ["The file of a recording is missing."]


@settings(max_examples=5, deadline=None)
@given(
    heard=st.lists(st.lists(walks, min_size=1, max_size=2), max_size=2),
    planned=st.lists(plans, max_size=2),
    ticked=st.lists(pipes, max_size=2),
    noted=st.lists(conditions, max_size=2),
    reported=st.lists(words.filter(str.strip), max_size=2, unique=True),
)
def test_any_book_comes_back_from_its_export(
    new_folder: Callable[[], Path], *, heard, planned, ticked, noted, reported
) -> None:
    folder = new_folder()
    clock = Clock()
    with open_book(folder, clock=clock) as book:
        organ = book.add_organ("Harbour Hall", DESCRIPTION)
        visit = book.open_visit(organ.id, "any")
        for number, (first, *again) in enumerate(heard):
            source = a_sound(folder.parent, "walk.wav", bytes([number]))
            kept = book.keep_recording(visit.id, source, first, program_version=VERSION)
            for walk in again:
                book.take_in_again(kept.id, walk, program_version="0.2.0")
        for plan in planned:
            book.keep_plan(visit.id, plan)
        for number, pipe in enumerate(ticked):
            book.set_tick(Tick(str(number), visit.id, pipe, "done", "", MORNING))
        for condition in noted:
            book.note_conditions(visit.id, condition)
        for text in reported:
            book.report_fault(organ.id, "other", text)
            book.add_note(visit.id, text)
        json_file = folder.parent / "book.json"
        book.export_json(json_file)
        again_folder = folder.parent / "again"
        with import_book(json_file, again_folder, clock=clock) as other:
            assert everything(other) == everything(book)
            assert rows_of(other) == rows_of(book)


def changed(document: dict[str, Any], how: str) -> dict[str, Any]:
    tables = document["tables"]
    match how:
        case "another format":
            document["format"] = "shopping list"
        case "a newer form":
            document["form"] = "0999"
        case "a table too many":
            tables["stranger"] = []
        case "a field missing":
            del tables["reading"][0]["hz"]
        case "words for a number":
            tables["reading"][0]["hz"] = "loud"
        case "a truth for a number":
            tables["reading"][0]["hz"] = True
        case "nothing where something must be":
            tables["visit"][0]["purpose"] = None
        case "a row that names no row":
            tables["recording"][0]["visit_id"] = 12
        case "two of one id":
            tables["organ"] *= 2
        case "a key that is none":
            tables["hearing"][0]["silent_keys"] = '["H9"]'
        case "a flag that is none":
            tables["hold"][0]["flags"] = '["funny"]'
        case "a circle of hearings":
            tables["hearing"][0]["supersedes_id"] = tables["hearing"][1]["id"]
    return document


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ("another format", "format: Input should be 'walkboard book'"),
        ("a newer form", r"newer version \(0999\)"),
        ("a table too many", "its tables do not match its version: stranger"),
        ("a field missing", r"tables\.reading\.0: fields missing or unknown: hz"),
        ("words for a number", r"tables\.reading\.0\.hz: 'loud' is not FLOAT"),
        ("a truth for a number", r"tables\.reading\.0\.hz"),
        ("nothing where something must be", "NOT NULL constraint failed: visit.purpose"),
        ("a row that names no row", "FOREIGN KEY constraint failed"),
        ("two of one id", "UNIQUE constraint failed: organ.id"),
        ("a key that is none", "'H9' is not the name of a key"),
        ("a flag that is none", "'funny' is not a valid HoldFlag"),
        ("a circle of hearings", "Every hearing of it is superseded"),
    ],
)
@pytest.mark.sqlite
def test_a_damaged_export_is_reported_and_leaves_nothing(
    book: Book, clock: Clock, tmp_path: Path, how: str, said: str
) -> None:
    fill(book, tmp_path)
    export = tmp_path / "book.json"
    book.export_json(export)
    document = changed(json.loads(export.read_text("utf-8")), how)
    export.write_text(json.dumps(document), "utf-8")
    before = sorted(tmp_path.iterdir())
    with pytest.raises(InputError, match=said):
        import_book(export, tmp_path / "again", clock=clock)
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b"\xff\xfe", b'{"format": NaN}'])
def test_what_is_no_export_is_reported(tmp_path: Path, clock: Clock, content: bytes) -> None:
    (tmp_path / "book.json").write_bytes(content)
    with pytest.raises(InputError, match="not an export of a book, or it is damaged"):
        import_book(tmp_path / "book.json", tmp_path / "again", clock=clock)
    with pytest.raises(InputError, match="The export cannot be read"):
        import_book(tmp_path / "none.json", tmp_path / "again", clock=clock)
    assert [p.name for p in tmp_path.iterdir()] == ["book.json"]


@pytest.mark.sqlite
def test_an_export_of_an_older_form_is_brought_up(clock: Clock, tmp_path: Path) -> None:
    (tmp_path / "old").mkdir()
    old_tables(tmp_path / "old", "0001")
    with closing(sqlite3.connect(tmp_path / "old" / DATABASE)) as connection:
        names = [
            name
            for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type='table'")
            if name != "alembic_version"
        ]
    tables: dict[str, list[dict[str, Any]]] = {name: [] for name in names}
    at = "2031-03-01T09:00:00.000000+00:00"
    tables["organ"] = [{"id": 5, "added_at": at}]
    tables["description"] = [
        {
            "id": 1,
            "organ_id": 5,
            "version": 1,
            "name": "Harbour Hall",
            "toml": DESCRIPTION,
            "added_at": at,
        }
    ]
    document = {
        "format": "walkboard book",
        "form": "0001",
        "program_version": VERSION,
        "exported_at": at,
        "tables": tables,
    }
    (tmp_path / "old.json").write_text(json.dumps(document))
    with import_book(tmp_path / "old.json", tmp_path / "new", clock=clock) as book:
        assert [organ.id for organ in book.organs()] == [5]
        assert book.organ(5).added_at == MORNING
        assert book.events(5) == ()
    assert sorted(p.name for p in (tmp_path / "new").iterdir()) == [DATABASE, "recordings"]


@pytest.mark.sqlite
def test_other_programs_read_the_book(book: Book, tmp_path: Path) -> None:
    # Outside the project: the hash as coreutils' sha256sum says it, the count as SQL says it.
    fill(book, tmp_path)
    path = book.sound_path(1)
    said = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True).stdout
    assert said.split()[0] == path.stem == book.recording(1).sha256
    with closing(sqlite3.connect(book.path / DATABASE)) as connection:
        (count,) = connection.execute("SELECT count(*) FROM reading").fetchone()
    assert count == len(book.every_reading(1)) == 5
    assert {table.name for table in fact_tables()} == set(rows_of(book))


@pytest.mark.parametrize(
    ("table", "column", "value", "said"),
    [
        ("note", "words", "\ud800", "surrogates not allowed"),
        ("note", "visit_id", 2**63, "too large"),
        ("event", "air_celsius", 300.0, "Air of 300 °C is out of range"),
        ("visit", "minutes", -20.0, "A visit of -20 minutes is out of range"),
        ("conditions", "humidity", 55.0, "Relative humidity of 55"),
        ("division_conditions", "air_celsius", -40.0, "Air of -40"),
        ("division_conditions", "wind_mm", 1.0, "Wind of 1 mm"),
        ("hearing", "air_celsius", 64.0, "Air of 64"),
    ],
)
@pytest.mark.sqlite
def test_an_import_with_a_figure_that_cannot_be_is_refused(
    book: Book, clock: Clock, tmp_path: Path, *, table: str, column: str, value: object, said: str
) -> None:
    fill(book, tmp_path)
    book.export_json(tmp_path / "book.json")
    document = json.loads((tmp_path / "book.json").read_text(encoding="utf-8"))
    document["tables"]["visit_correction"].clear()
    document["tables"][table][-1][column] = value
    (tmp_path / "book.json").write_text(json.dumps(document), encoding="utf-8")
    with pytest.raises(InputError, match=said):
        import_book(tmp_path / "book.json", tmp_path / "new", clock=clock)
    assert not (tmp_path / "new").exists()


def test_an_import_nested_without_end_is_refused(clock: Clock, tmp_path: Path) -> None:
    (tmp_path / "book.json").write_text("[" * 100_000)
    with pytest.raises(InputError, match="not an export"):
        import_book(tmp_path / "book.json", tmp_path / "new", clock=clock)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["book.json"]


def test_an_export_is_never_held_whole(book: Book, tmp_path: Path) -> None:
    fill(book, tmp_path)
    pieces = list(book._export({"format": "walkboard book"}))
    rows = sum(len(rows) for rows in rows_of(book).values())
    assert len(pieces) > rows  # a row at a time
    assert max(len(piece) for piece in pieces) < 2000
