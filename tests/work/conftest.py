"""Books for the tests of the use cases."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.work.chapel import chapel_book
from walkboard.book.keeping import Book
from walkboard.work import open_book


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    """The book of a visit to the chapel, open."""
    chapel_book(tmp_path / "book")
    with open_book.opened(tmp_path / "book") as opened:
        yield opened
