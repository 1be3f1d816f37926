"""A book with an organ and an open visit, made once and copied for each test."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.book.making import DESCRIPTION, Clock
from walkboard.book import create_book, open_book
from walkboard.book.keeping import Book
from walkboard.book.records import KeptVisit


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture(scope="session")
def empty_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("book") / "empty"
    create_book(folder, clock=Clock()).close()
    return folder


@pytest.fixture(scope="session")
def new_folder(empty_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable[[], Path]:
    """Gives the folder of another new, empty book each time."""

    def make() -> Path:
        folder = tmp_path_factory.mktemp("book") / "hall"
        shutil.copytree(empty_folder, folder)
        return folder

    return make


@pytest.fixture
def folder(empty_folder: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(empty_folder, tmp_path / "hall"))


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
