"""Migrations: older books are brought up, with a copy put aside; newer ones are left alone."""

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Column, Engine, Integer, MetaData, Table, create_engine, inspect

from tests.book.making import DESCRIPTION, MORNING, Clock, old_tables
from walkboard.book import migrating, open_book
from walkboard.book.files.folder import APPLICATION_ID, DATABASE, HEAD_REVISION
from walkboard.book.models import Base
from walkboard.errors import BookError

AT = "2031-03-01T09:00:00.000000+00:00"


@pytest.fixture
def old_book(tmp_path: Path) -> Path:
    """A book as the first form kept it: an organ, an open visit, a tick."""
    folder = tmp_path / "old"
    (folder / "recordings").mkdir(parents=True)
    old_tables(folder, "0001")
    with closing(sqlite3.connect(folder / DATABASE)) as connection, connection:
        connection.execute("INSERT INTO organ VALUES (1, ?)", (AT,))
        connection.execute(
            "INSERT INTO description VALUES (1, 1, 1, 'Harbour Hall', ?, ?)", (DESCRIPTION, AT)
        )
        connection.execute("INSERT INTO visit VALUES (1, 1, 1, 'spring', 90.0, ?, NULL, '')", (AT,))
        connection.execute(
            "INSERT INTO tick (uid, visit_id, rank, number, state, note, at, received_at)"
            " VALUES ('t', 1, 'great.principal4', 7, 'done', '', ?, ?)",
            (AT, AT),
        )
    return folder


def dump(database: Path) -> list[str]:
    with closing(sqlite3.connect(database)) as connection:
        return list(connection.iterdump())


def revision_of(database: Path) -> str:
    with closing(sqlite3.connect(database)) as connection:
        return str(connection.execute("SELECT version_num FROM alembic_version").fetchone()[0])


def test_an_older_book_is_brought_up_and_copied_aside(old_book: Path, clock: Clock) -> None:
    before = dump(old_book / DATABASE)
    with open_book(old_book, clock=clock) as book:
        assert book.organ(1).description == DESCRIPTION
        assert book.visit(1).opened_at == MORNING
        (tick,) = book.ticks(1)
        assert (tick.uid, tick.pipe.number, tick.device) == ("t", 7, "")
        book.keep_event(1, "e", MORNING, "what the first form could not keep")
        assert book.check() == ()
    aside = old_book / "book-of-form-0001.sqlite"
    assert revision_of(old_book / DATABASE) == HEAD_REVISION
    assert dump(aside) == before
    names = sorted(p.name for p in old_book.iterdir())
    assert names == ["book-of-form-0001.sqlite", DATABASE, "recordings"]
    with open_book(old_book, clock=clock) as book:
        assert len(book.events(1)) == 1


def test_a_migration_that_fails_changes_nothing(
    old_book: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = dump(old_book / DATABASE)
    script = migrating.scripts().get_revision(HEAD_REVISION)
    assert script is not None
    true_upgrade = script.module.upgrade

    class Scripts(type(migrating.scripts())):  # type: ignore[misc]
        def iterate_revisions(self, *args: object, **named: object) -> Iterator[object]:
            for found in super().iterate_revisions(*args, **named):
                if found.revision == HEAD_REVISION:
                    found.module.upgrade = upgrade_and_break
                yield found

    def upgrade_and_break() -> None:
        true_upgrade()
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(migrating, "ScriptDirectory", Scripts)
    with pytest.raises(BookError, match="The disk is full"):
        open_book(old_book, clock=clock)
    assert dump(old_book / DATABASE) == before
    monkeypatch.undo()
    with open_book(old_book, clock=clock) as book:
        assert book.visit(1).purpose == "spring"


def test_without_room_for_the_copy_nothing_is_migrated(
    old_book: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = dump(old_book / DATABASE)

    def no_room(path: Path) -> None:
        raise OSError(28, "No space left on device", str(path))

    monkeypatch.setattr("walkboard.book.database.sqlite.sync_file", no_room)
    with pytest.raises(BookError, match="The disk is full"):
        open_book(old_book, clock=clock)
    assert dump(old_book / DATABASE) == before
    assert sorted(p.name for p in old_book.iterdir()) == [DATABASE, "recordings"]


def test_rows_that_name_no_row_stop_a_migration(old_book: Path, clock: Clock) -> None:
    with closing(sqlite3.connect(old_book / DATABASE)) as connection, connection:
        connection.execute("UPDATE tick SET visit_id = 9")
    before = dump(old_book / DATABASE)
    with pytest.raises(BookError, match="1 of its rows would name rows that do not exist"):
        open_book(old_book, clock=clock)
    assert dump(old_book / DATABASE) == before


def test_two_programs_bring_it_up_at_once(old_book: Path, clock: Clock) -> None:
    errors: list[BaseException] = []

    def bring_up() -> None:
        try:
            migrating.bring_up(old_book, wait_s=20.0)
        except BaseException as error:
            errors.append(error)

    threads = [threading.Thread(target=bring_up) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    names = sorted(p.name for p in old_book.iterdir())
    assert names == ["book-of-form-0001.sqlite", DATABASE, "recordings"]
    with open_book(old_book, clock=clock) as book:
        assert len(book.ticks(1)) == 1


@pytest.mark.sqlite
def test_a_newer_book_is_refused_and_left_untouched(folder: Path, clock: Clock) -> None:
    with closing(sqlite3.connect(folder / DATABASE)) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '0999'")
    before = {p.name: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    with pytest.raises(BookError, match=r"newer version \(0999\) than this program knows"):
        open_book(folder, clock=clock)
    assert {p.name: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == before


@pytest.mark.sqlite
def test_a_newer_book_that_is_in_use_is_refused_too(folder: Path, clock: Clock) -> None:
    # Its newest page may lie in the -wal only.
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        with connection:
            connection.execute("UPDATE alembic_version SET version_num = '0999'")
        with pytest.raises(BookError, match=r"newer version \(0999\)"):
            open_book(folder, clock=clock)


@pytest.mark.sqlite
def test_an_open_book_migrated_by_another_program_is_not_written_to(
    folder: Path, clock: Clock
) -> None:
    with open_book(folder, clock=clock) as book:
        with closing(sqlite3.connect(folder / DATABASE)) as connection, connection:
            connection.execute("UPDATE alembic_version SET version_num = '0999'")
        with pytest.raises(BookError, match="newer version of the program has migrated"):
            book.add_organ("Harbour Hall", DESCRIPTION)
        assert book.organs() == ()


def test_the_head_is_the_newest_revision() -> None:
    assert migrating.scripts().get_heads() == [HEAD_REVISION]
    known = migrating.known_revisions()
    assert list(known) == sorted(known)
    assert (known[0], known[-1]) == ("0001", HEAD_REVISION)


@pytest.mark.sqlite
def test_migrations_and_models_make_the_same_tables(folder: Path) -> None:
    migrated = create_engine(f"sqlite:///{folder / DATABASE}")
    made = create_engine("sqlite://")
    Base.metadata.create_all(made)
    extra = MetaData()
    for table in Base.metadata.tables.values():
        table.to_metadata(extra)
    Table("stranger", extra, Column("id", Integer, primary_key=True))
    try:
        with migrated.connect() as connection:
            context = MigrationContext.configure(
                connection, opts={"compare_type": True, "compare_server_default": True}
            )
            assert compare_metadata(context, Base.metadata) == []
            assert [diff[0] for diff in compare_metadata(context, extra)] == ["add_table"]
        # What Alembic does not compare: of which rows an index speaks, and checks.
        assert indexes(migrated) == indexes(made)
        assert "closed_at IS NULL" in indexes(migrated)["uq_visit_open"]
        for name in Base.metadata.tables:
            checks = [inspect(engine).get_check_constraints(name) for engine in (migrated, made)]
            assert checks[0] == checks[1]
            assert bool(checks[0]) == (name in {"tick", "fault_tie"})
    finally:
        migrated.dispose()
        made.dispose()


def indexes(engine: Engine) -> dict[str, str]:
    with engine.connect() as connection:
        rows = connection.exec_driver_sql(
            "SELECT name, sql FROM sqlite_schema WHERE type = 'index' AND sql IS NOT NULL"
        )
        return {name: " ".join(sql.split()) for name, sql in rows}


@pytest.mark.sqlite
def test_the_file_says_whose_it_is(folder: Path) -> None:
    # sqlite.org/fileformat, table 1 "Database Header Format": application id at byte 68, four
    # bytes, the big end first; bytes 18 and 19 are 2 for a database in WAL mode.
    header = (folder / DATABASE).read_bytes()[:100]
    assert header[68:72] == APPLICATION_ID.to_bytes(4, "big") == b"WLKB"
    assert header[18:20] == b"\x02\x02"
