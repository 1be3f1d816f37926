"""A firm's day on the command line and the pages: a book on a server, a laptop away from it."""

from pathlib import Path

import pytest

from tests.commands import Must, Run
from tests.postgresql import Server
from walkboard.book.database.address import read_address


def test_an_address_alone_makes_a_folder_of_the_databases_name(
    postgresql: Server, tmp_path: Path, must: Must, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    address = postgresql.new_database()
    name = address.partition("@/")[2].partition("?")[0]
    said = must("book", "new", address)
    assert f"Made {tmp_path / name}." in said
    assert read_address(tmp_path / name) == address
    assert "The book is empty" in must("book", "show", name)
    assert run("book", "new", address).code == 2  # it is there already
    refused = run("book", "new", "postgresql://tuning@db.example.org")
    assert refused.code == 2
    assert "walkboard book new FOLDER --database ADDRESS" in refused.err
    assert run("book", "new", address, "--database", address).code == 2
