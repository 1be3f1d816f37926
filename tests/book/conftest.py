"""A book with an organ and an open visit, made once and copied for each test.

Every test that asks for a book runs on each kind of database; one marked `sqlite` looks into its
file, and runs on SQLite alone.
"""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.book.making import DESCRIPTION, Clock
from tests.conftest import IS_ON_SERVER
from tests.postgresql import Server, name_of
from walkboard.book import create_book, open_book
from walkboard.book.keeping import Book
from walkboard.book.records import KeptVisit

KINDS = ("sqlite", "postgresql")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "kind" in metafunc.fixturenames:
        is_sqlite = metafunc.definition.get_closest_marker("sqlite") is not None
        kinds = KINDS[:1] if is_sqlite else KINDS[1:] if IS_ON_SERVER else KINDS
        metafunc.parametrize("kind", kinds, scope="session")


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture(scope="session")
def empty_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("book") / "empty"
    create_book(folder, clock=Clock()).close()
    return folder


@pytest.fixture(scope="session")
def server(kind: str, request: pytest.FixtureRequest) -> Server | None:
    """The server of the books, if they are on one."""
    return request.getfixturevalue("postgresql") if kind == "postgresql" else None


@pytest.fixture(scope="session")
def new_folder(
    empty_folder: Path, server: Server | None, tmp_path_factory: pytest.TempPathFactory
) -> Callable[[], Path]:
    """Gives the folder of another new, empty book each time."""

    def make() -> Path:
        folder = tmp_path_factory.mktemp("book") / "hall"
        if server is None:
            return Path(shutil.copytree(empty_folder, folder))
        return server.empty_book(folder)

    return make


@pytest.fixture
def folder(empty_folder: Path, server: Server | None, tmp_path: Path) -> Iterator[Path]:
    if server is None:
        yield Path(shutil.copytree(empty_folder, tmp_path / "hall"))
        return
    made = server.empty_book(tmp_path / "hall")
    name = name_of(made)  # a test may move the folder away
    yield made
    server.give_back(name)


@pytest.fixture
def book(folder: Path, clock: Clock) -> Iterator[Book]:
    with open_book(folder, clock=clock) as book:
        yield book


@pytest.fixture
def organ_id(book: Book) -> int:
    return book.add_organ("Harbour Hall", DESCRIPTION).id


@pytest.fixture
def visit(book: Book, organ_id: int) -> KeptVisit:
    return book.open_visit(organ_id, "before the Easter services", minutes=120.0)


@pytest.fixture(scope="session")
def new_folder_of_two(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book of two organs, each with an open visit."""
    folder = tmp_path_factory.mktemp("book") / "two"
    with create_book(folder, clock=Clock()) as book:
        for name in ("Harbour Hall", "Mill chapel"):
            book.open_visit(book.add_organ(name, DESCRIPTION).id, "spring")
    return folder
