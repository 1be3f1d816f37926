"""A firm's day on the command line and the pages: a book on a server, a laptop away from it."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from tests.commands import Must, Run
from tests.postgresql import Server
from walkboard.book.database.address import read_address
from walkboard.desk.server.application import make_application
from walkboard.organ import examples


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


@contextmanager
def desk(folder: Path) -> Iterator[TestClient]:
    """The pages of a book, at the desk itself."""
    made = make_application(folder)
    made.state.desk.is_warm.set()
    yield TestClient(made, base_url="http://127.0.0.1", client=("127.0.0.1", 5))
    made.state.desk.book.close()


def page(client: TestClient, address: str) -> str:
    answer = client.get(address, headers={"accept": "text/html"})
    assert answer.status_code == 200
    return answer.text


def test_from_the_office_to_a_church_and_back(
    postgresql: Server, tmp_path: Path, must: Must, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The office's book is on a server, the laptop's in a file; both are worked in at once."""
    monkeypatch.chdir(tmp_path)
    office, laptop = tmp_path / "office", tmp_path / "laptop"
    must("book", "new", office, "--database", postgresql.new_database())
    (tmp_path / "organ.toml").write_text(examples.village())
    must("book", "add", office, "organ.toml")
    must("book", "device", office, "--name", "Office")
    must("people", "add", office, "Tom Tuner", "--role", "tuner")
    must("people", "add", office, "Olive Owner", "--role", "owner")
    must("people", "here", office, "Olive Owner")
    must("visit", "open", office, "--purpose", "before Easter")
    must("book", "take-along", office, laptop, "--for", "Tom Tuner", "--name", "Chapel laptop")
    assert (laptop / "book.sqlite").is_file()

    must("visit", "tick", laptop, "great.open8:3")
    with desk(laptop) as church:
        form = {"kind": "cipher", "words": "g sounds by itself"}
        church.post("/organ/1/faults/new", data=form).raise_for_status()
        form = {"words": "reeds wait for summer"}
        church.post("/organ/1/book/visit/1/note", data=form).raise_for_status()
    must("visit", "close", office, "--note", "all done")

    dry = must("book", "bring-back", laptop, office, "--dry-run")
    assert "1 tick" in dry or "1 ticks" in dry
    said = must("book", "bring-back", laptop, office)
    assert "worked on without knowing that it was closed" in said
    assert "There is nothing to add" in must("book", "bring-back", laptop, office)
    with desk(office) as pages:
        assert "A visit was worked on without knowing that it was closed" in page(pages, "/organ/1")
        visit = page(pages, "/organ/1/book/visit/1")
        assert "reeds wait for summer" in visit
        assert "Tom Tuner" in visit
        assert "Olive Owner" in visit
        assert "Tom Tuner reported it" in page(pages, "/organ/1/faults/1")
        pages.post("/organ/1/book/visit/1/close").raise_for_status()
        assert "without knowing" not in page(pages, "/organ/1")
        assert "without knowing" not in page(pages, "/organ/1/book/visit/1")
    must("book", "take-along", office, laptop)
    for folder in (office, laptop):
        assert "without knowing" not in must("book", "show", folder)
        assert must("book", "check", folder) == "The book has no errors.\n"
    with desk(laptop) as church:
        assert "Olive Owner" in page(church, "/organ/1/book/visit/1")
