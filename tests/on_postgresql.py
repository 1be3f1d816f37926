"""Lets tests that know nothing of it run on PostgreSQL: `make test-postgresql`.

Every book that a test makes in its own process gets a database of the tests' server, and a book's
folder that is copied gets a copy of its database.
"""

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.postgresql import Server, books_in, name_of
from walkboard.book import importing, opening
from walkboard.book.database.address import write_address
from walkboard.book.database.choosing import database_of
from walkboard.book.database.dialect import Database


@pytest.fixture(scope="session", autouse=True)
def books_on_server(postgresql: Server) -> Iterator[None]:
    true_copy = shutil.copytree

    true_filling = opening.filling

    def making(new: Callable[[], str]) -> Any:
        @contextmanager
        def filling(part: Path, address: str | None) -> Iterator[Database]:
            if address is not None:  # a test of just this
                with true_filling(part, address) as database:
                    yield database
                return
            write_address(part, new())
            yield database_of(part)

        return filling

    def copytree(source: Any, target: Any, *args: Any, **named: Any) -> Any:
        made = true_copy(source, target, *args, **named)
        for folder in books_in(Path(target)):
            postgresql.copy_beside(folder)
        return made

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(opening, "filling", making(postgresql.empty_database))
        patch.setattr(importing, "filling", making(postgresql.new_database))
        patch.setattr(shutil, "copytree", copytree)
        yield


@pytest.fixture(autouse=True)
def no_databases_left(postgresql: Server, tmp_path: Path) -> Iterator[None]:
    """Use the databases of a test's own folder again: hundreds of them fill a disk."""
    yield
    for folder in books_in(tmp_path):
        postgresql.give_back(name_of(folder))
