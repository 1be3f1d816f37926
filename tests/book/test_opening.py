"""Opening and making books, and every way in which that is refused."""

import os
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from tests.book.making import DESCRIPTION, Clock
from walkboard.book import create_book, open_book
from walkboard.book.files.folder import DATABASE, building
from walkboard.errors import BookError


@pytest.mark.sqlite
def test_a_new_book_is_a_folder_of_its_own(tmp_path: Path, clock: Clock) -> None:
    with create_book(tmp_path / "books" / "hall", clock=clock) as book:
        assert book.organs() == ()
        book.add_organ("Harbour Hall", DESCRIPTION)
    assert [p.name for p in (tmp_path / "books").iterdir()] == ["hall"]
    names = sorted(p.name for p in (tmp_path / "books" / "hall").iterdir())
    assert names == [DATABASE, "recordings"]
    with open_book(tmp_path / "books" / "hall", clock=clock) as book:
        assert [organ.name for organ in book.organs()] == ["Harbour Hall"]


def test_a_relative_path_and_odd_names_will_do(
    tmp_path: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "ö % ?#&=").mkdir()
    with create_book(Path("ö % ?#&="), clock=clock) as book:
        book.add_organ("Harbour Hall", DESCRIPTION)
        monkeypatch.chdir("/")
        assert len(book.organs()) == 1
        assert book.check() == ()


@pytest.mark.sqlite
def test_an_empty_folder_stays_itself(
    tmp_path: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Somebody may stand in it; it may be a disk of its own.
    (tmp_path / "hall").mkdir()
    before = (tmp_path / "hall").stat().st_ino
    monkeypatch.chdir(tmp_path / "hall")
    with create_book(Path(), clock=clock) as book:
        book.add_organ("Harbour Hall", DESCRIPTION)
    assert sorted(p.name for p in Path().iterdir()) == [DATABASE, "recordings"]
    assert Path().stat().st_ino == before
    assert [p.name for p in tmp_path.iterdir()] == ["hall"]


@pytest.mark.parametrize("there", [True, False])
def test_of_two_that_build_at_one_place_one_at_most_succeeds(tmp_path: Path, there: bool) -> None:
    path = tmp_path / "hall"
    if there:
        path.mkdir()
    other = building(path)
    with building(path) as mine:
        (mine / DATABASE).write_text("mine")
        if there:
            with pytest.raises(BookError, match="There is already something else here"):
                other.__enter__()
        else:
            (other.__enter__() / DATABASE).write_text("other's")
    if not there:
        with pytest.raises(BookError, match="There is already a book here"):
            other.__exit__(None, None, None)
    assert [p.name for p in tmp_path.iterdir()] == ["hall"]
    assert [p.name for p in path.iterdir()] == [DATABASE]
    assert (path / DATABASE).read_text() == "mine"


def test_what_is_there_is_never_built_over(folder: Path, tmp_path: Path, clock: Clock) -> None:
    with pytest.raises(BookError, match=r"There is already a book here\. Open it instead"):
        create_book(folder, clock=clock)
    other = tmp_path / "letters"
    other.mkdir()
    (other / "letter.txt").write_text("dear organ")
    with pytest.raises(BookError, match="There is already something else here"):
        create_book(other, clock=clock)
    with pytest.raises(BookError, match="There is already something else here"):
        create_book(other / "letter.txt", clock=clock)
    assert [p.name for p in other.iterdir()] == ["letter.txt"]


@pytest.mark.sqlite
def test_a_book_that_breaks_off_in_the_making_leaves_nothing(
    tmp_path: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_room(path: Path) -> None:
        raise OSError(28, "No space left on device", str(path))

    monkeypatch.setattr("walkboard.book.database.sqlite.sync_file", no_room)
    with pytest.raises(BookError, match="The disk is full"):
        create_book(tmp_path / "hall", clock=clock)
    assert list(tmp_path.iterdir()) == []


def make_no_folder(path: Path) -> None:
    path.rmdir()


def make_file(path: Path) -> None:
    path.rmdir()
    path.write_text("a file")


def make_empty_folder(path: Path) -> None:
    assert path.is_dir()


def make_text(path: Path) -> None:
    (path / DATABASE).write_text("This is my tuning book, typed by hand." * 40)


def make_empty_file(path: Path) -> None:
    (path / DATABASE).touch()


def make_other_database(path: Path) -> None:
    with closing(sqlite3.connect(path / DATABASE)) as connection, connection:
        connection.execute("CREATE TABLE recipe (id INTEGER)")


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (make_no_folder, r"There is no book here\. Check the path"),
        (make_file, "This is a file; a book is a folder"),
        (make_empty_folder, "This folder is not a book: it has no book.sqlite"),
        (make_text, "damaged, or is not a database"),
        (make_empty_file, "damaged, or is not a database"),
        (make_other_database, "belongs to another program"),
    ],
)
def test_what_is_no_book(tmp_path: Path, clock: Clock, make, said: str) -> None:
    path = tmp_path / "hall"
    path.mkdir()
    make(path)
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(BookError, match=said):
        open_book(path, clock=clock)
    assert sorted(tmp_path.rglob("*")) == before


@pytest.fixture
def full_folder(folder: Path, clock: Clock) -> Path:
    with open_book(folder, clock=clock) as book:
        for number in range(20):
            book.add_organ(f"organ {number}", DESCRIPTION + "# a line of the stop list\n" * 600)
    return folder


def overwrite(path: Path, start: int, junk: bytes) -> None:
    with path.open("rb+") as handle:
        handle.seek(start)
        handle.write(junk)


@pytest.mark.sqlite
def test_a_damaged_database_is_refused_and_left_unchanged(full_folder: Path, clock: Clock) -> None:
    database = full_folder / DATABASE
    size = database.stat().st_size
    assert size > 200_000
    overwrite(database, size // 2 // 4096 * 4096, b"\xa5" * 16_384)
    before = database.read_bytes()
    with pytest.raises(BookError, match=r"database is damaged\. Put back the newest copy"):
        open_book(full_folder, clock=clock)
    assert database.read_bytes() == before


@pytest.mark.parametrize("share", [0.0, 0.02, 0.4, 0.97])
@pytest.mark.sqlite
def test_a_database_cut_short_is_refused(full_folder: Path, clock: Clock, share: float) -> None:
    database = full_folder / DATABASE
    os.truncate(database, int(share * database.stat().st_size))
    with pytest.raises(BookError, match=r"database is damaged|could not be read"):
        open_book(full_folder, clock=clock)


@contextmanager
def without_write_permission(paths: Iterable[Path]) -> Iterator[None]:
    """Root may write anywhere, so it becomes nobody for a while."""
    modes = {path: path.stat().st_mode for path in paths}
    root = os.geteuid() == 0
    try:
        for path in modes:
            path.chmod(0o555 if path.is_dir() else 0o444)
        if root:
            os.seteuid(65534)
        yield
    finally:
        if root:
            os.seteuid(0)
        for path, mode in modes.items():
            path.chmod(mode)


@pytest.fixture
def open_to_all(empty_folder: Path, clock: Clock) -> Iterator[Path]:
    """A book that any user may write to; pytest's own folders are closed to others."""
    with tempfile.TemporaryDirectory() as temporary:
        Path(temporary).chmod(0o755)
        folder = Path(temporary) / "hall"
        with open_book(empty_folder, clock=clock) as book:
            assert book.copy_to(folder) == ()
        for path in (folder, *folder.rglob("*")):
            path.chmod(0o777)
        yield folder


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps no such permissions")
@pytest.mark.parametrize("what", [".", DATABASE])
@pytest.mark.sqlite
def test_a_book_without_write_permission(open_to_all: Path, clock: Clock, what: str) -> None:
    with (
        without_write_permission([open_to_all / what]),
        pytest.raises(BookError, match=r"cannot be written to\. Give write permission"),
    ):
        open_book(open_to_all, clock=clock)
    assert sorted(p.name for p in open_to_all.iterdir()) == [DATABASE, "recordings"]


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps no such permissions")
@pytest.mark.sqlite
def test_a_new_book_where_nothing_may_be_written(open_to_all: Path, clock: Clock) -> None:
    with (
        without_write_permission([open_to_all]),
        pytest.raises(BookError, match="cannot be written to"),
    ):
        create_book(open_to_all / "inner", clock=clock)
    assert sorted(p.name for p in open_to_all.iterdir()) == [DATABASE, "recordings"]


def test_an_open_book_whose_folder_goes_away_says_so(folder: Path, clock: Clock) -> None:
    with open_book(folder, clock=clock) as book:
        book.close()  # no connection is left over from opening
        folder.rename(folder.with_name("elsewhere"))
        with pytest.raises(BookError, match="was moved, renamed or removed while it was open"):
            book.organs()
    assert not folder.exists()


def test_importing_is_light_and_opening_needs_no_alembic(folder: Path) -> None:
    program = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from walkboard.book import open_book
from walkboard.book import records
heavy = {"sqlalchemy", "alembic", "pydantic"}
assert not heavy & set(sys.modules), heavy & set(sys.modules)
with open_book(Path(sys.argv[1]), clock=lambda: datetime.now(UTC)) as book:
    assert book.organs() == ()
assert "sqlalchemy" in sys.modules
assert "alembic" not in sys.modules
print("light")
"""
    done = subprocess.run(
        [sys.executable, "-c", program, str(folder)], capture_output=True, text=True, check=False
    )
    assert (done.stdout, done.stderr) == ("light\n", "")


@pytest.mark.sqlite
def test_damage_is_found_at_opening_however_large_the_book(
    folder: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_book(folder, clock=clock) as book:
        for number in range(40):
            book.add_organ(f"Hall {number}", DESCRIPTION + "# " + "x" * 2000)
    database = folder / DATABASE
    with closing(sqlite3.connect(database)) as connection:
        asked = "SELECT rootpage FROM sqlite_schema WHERE name = 'description'"
        (page,) = connection.execute(asked).fetchone()
        (size,) = connection.execute("PRAGMA page_size").fetchone()
    data = bytearray(database.read_bytes())
    data[(page - 1) * size : page * size] = b"\xff" * size
    database.write_bytes(data)
    monkeypatch.setattr("walkboard.book.database.sqlite._LARGE_BYTES", 0)
    with pytest.raises(BookError, match="damaged"):
        open_book(folder, clock=clock)
