"""People on the command line: added, listed, invited, removed."""

import json
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from tests.commands import Must, Run
from walkboard.desk.server.application import make_application
from walkboard.organ import examples
from walkboard.work import open_book
from walkboard.work.people import recovery


@pytest.fixture
def book(tmp_path: Path) -> Path:
    folder = tmp_path / "book"
    with open_book.new(folder) as book:
        book.add_organ("Brask", examples.village())
    return folder


def test_from_adding_to_removing(book: Path, must: Must) -> None:
    must("people", "add", str(book), "Olive Owner", "--role", "owner")
    must("people", "add", str(book), "Ada Marsh", "--role", "venue", "--organ", "Brask")
    listed = json.loads(must("people", "list", str(book), "--json"))
    assert listed == [
        {"name": "Ada Marsh", "role": "venue", "organ": "Brask"},
        {"name": "Olive Owner", "role": "owner", "organ": None},
    ]
    assert "every organ" in must("people", "list", str(book))
    link = must("people", "invite", str(book), "ada marsh", "--at", "https://organs.example.org/")
    assert link.startswith("https://organs.example.org/welcome#")
    with open_book.opened(book) as opened:
        (ada, _) = opened.people()
        recovery.new_code(opened, ada.id)
    must("people", "remove", str(book), "Ada Marsh")
    assert [one["name"] for one in json.loads(must("people", "list", str(book), "--json"))] == [
        "Olive Owner"
    ]
    with open_book.opened(book) as opened:
        assert not opened.has_recovery(ada.id)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("add", "{}", "Ada", "--role", "boss"), "is not a role"),
        (("add", "{}", "Ada", "--role", "venue", "--organ", "Elsewhere"), "Elsewhere"),
        (("invite", "{}", "Nobody"), "no person named 'Nobody'"),
        (("remove", "{}", "Nobody"), "no person named 'Nobody'"),
    ],
)
def test_what_cannot_be_done_says_why(
    book: Path, run: Run, words: tuple[str, ...], said: str
) -> None:
    result = run("people", *(word.format(book) for word in words))
    assert result.code == 2
    assert said in result.err


@pytest.mark.parametrize(
    "origin",
    ["http://organs.example.org", "https://192.168.1.4", "organs.example.org", "https://a/b", "https://"],
)  # fmt: skip
def test_passkeys_need_a_name_and_encryption(book: Path, run: Run, origin: str) -> None:
    # W3C Web Authentication, level 2, 5.1.3: the RP ID is a domain; 13.4: a secure context.
    result = run("desk", str(book), "--behind-proxy", origin)
    assert result.code == 2
    assert "not where people reach this desk" in result.err


def test_a_desk_is_shared_or_behind_a_proxy(book: Path, run: Run) -> None:
    result = run("desk", str(book), "--behind-proxy", "https://organs.example.org", "--share")
    assert result.code == 2
    assert "either shared" in result.err


def reporters(book: Path) -> list[list[str]]:
    """Who recorded each fault of the book."""
    with open_book.opened(book) as opened:
        faults = opened.faults(opened.organs()[0].id)
        return [[one.name for one in opened.recorded_of_fault(fault.id)] for fault in faults]


def test_commands_record_who_works_on_this_computer(book: Path, must: Must, run: Run) -> None:
    must("people", "add", book, "Tom Tuner", "--role", "tuner")
    must("people", "add", book, "Ada Marsh", "--role", "tuner")

    def report(words: str) -> tuple[object, ...]:
        return "fault", "report", book, "--kind", "other", words

    assert "names nobody" in must("people", "here", book)
    must(*report("one"))
    assert "names Tom Tuner" in must("people", "here", book, "tom tuner")
    must(*report("two"))
    must("--by", "Ada Marsh", *report("three"))
    must(*report("four"))
    assert "names nobody" in must("people", "here", book, "--nobody")
    must(*report("five"))
    assert reporters(book) == [[], ["Tom Tuner"], ["Ada Marsh"], ["Tom Tuner"], []]
    refused = run("--by", "A Stranger", *report("six"))
    assert refused.code == 2
    assert "There is no person named 'A Stranger' in this book, so nothing was" in refused.err
    assert len(reporters(book)) == 5
    assert run("people", "here", book, "A Stranger").code == 2


def test_work_in_a_copy_comes_home_with_the_name_of_who_took_it(
    book: Path, tmp_path: Path, must: Must, run: Run
) -> None:
    away = tmp_path / "away"
    refused = run("book", "take-along", book, away, "--for", "Tom Tuner")
    assert refused.code == 2
    assert not away.exists()
    must("people", "add", book, "Tom Tuner", "--role", "tuner")
    must("book", "take-along", book, away, "--for", "Tom Tuner")
    must("fault", "report", away, "--kind", "other", "wind leak")
    must("book", "bring-back", away, book)
    assert reporters(book) == [["Tom Tuner"]]


def test_a_desk_records_who_works_there_and_phones_record_nobody(book: Path, must: Must) -> None:
    """A paired phone is in whatever hands it was given to."""
    must("people", "add", book, "Tom Tuner", "--role", "tuner")
    must("people", "here", book, "Tom Tuner")
    made = make_application(book, shared_address="192.168.1.4")
    desk = made.state.desk
    code = desk.pairing.show().letters
    here = TestClient(made, base_url="http://127.0.0.1", client=("127.0.0.1", 5))
    phone = TestClient(made, base_url="http://192.168.1.4", client=("192.168.1.7", 5))
    phone.post("/pair", data={"code": code, "name": "Phone"}).raise_for_status()
    for words, client in (("one", here), ("two", phone)):
        form = {"kind": "other", "words": words}
        answer = client.post("/organ/1/faults/new", data=form)
        assert answer.status_code == 200, answer.text
    desk.book.close()
    assert reporters(book) == [["Tom Tuner"], []]
