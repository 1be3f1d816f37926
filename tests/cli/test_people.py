"""People on the command line: added, listed, invited, removed."""

import json
from pathlib import Path

import pytest

from tests.commands import Must, Run
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
