"""Tokens, codes, challenges, sessions: random, hashed, limited in time, good for one use."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from walkboard.book.keeping import Book
from walkboard.book.people.records import Membership, PersonRole
from walkboard.errors import BookError, InputError, UnknownNameError
from walkboard.work import open_book
from walkboard.work.people import recovery, roster, sessions
from walkboard.work.people.challenges import LASTS_S, Challenges
from walkboard.work.people.passkeys import Party, Passkeys

NOW = datetime(2031, 3, 1, 9, 0, tzinfo=UTC)
HERE = Party("localhost", "http://localhost:8740", "Walkboard")


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with open_book.new(tmp_path / "book") as book:
        yield book


@pytest.mark.parametrize(
    ("words", "role"), [("Key-Holder", PersonRole.KEY_HOLDER), (" venue", "venue")]
)
def test_roles_are_written_as_people_write(words: str, role: str) -> None:
    assert roster.role_named(words) == role


def test_an_unknown_role_lists_those_that_there_are() -> None:
    with pytest.raises(UnknownNameError, match="owner, tuner, key holder, venue, adviser"):
        roster.role_named("boss")


def test_adding_somebody_again_gives_another_role(book: Book) -> None:
    ada = roster.add(book, "Ada Marsh", PersonRole.ADVISER, None)
    again = roster.add(book, "ada  marsh", PersonRole.OWNER, None)
    assert again.id == ada.id
    assert again.memberships == (Membership(PersonRole.OWNER, None),)


def test_a_missing_organ_adds_nobody(book: Book) -> None:
    with pytest.raises(BookError, match="no organ 3"):
        roster.add(book, "Ada Marsh", PersonRole.VENUE, 3)
    assert book.people() == ()


def test_only_who_has_a_role_is_invited(book: Book) -> None:
    ada = roster.add(book, "Ada Marsh", PersonRole.OWNER, None)
    invitation = roster.invite(book, ada, datetime.now(UTC))
    assert invitation.path == f"/welcome#{invitation.token}"
    assert len(invitation.token) == 43  # 32 bytes as base64url, RFC 4648
    roster.remove(book, ada)
    with pytest.raises(BookError, match="has no role"):
        roster.invite(book, book.person(ada.id), NOW)


@pytest.mark.sqlite
def test_the_book_never_has_the_tokens_themselves(book: Book) -> None:
    ada = roster.add(book, "Ada Marsh", PersonRole.OWNER, None)
    now = datetime.now(UTC)
    secret = [roster.invite(book, ada, now).token, sessions.begin(book, ada.id, "Phone", now)]
    secret.append(recovery.new_code(book, ada.id).replace("-", "")[5:])
    book.close()
    content = b"".join(file.read_bytes() for file in book.path.glob("book.sqlite*"))
    assert b"Ada Marsh" in content
    assert b"$argon2id$" in content
    assert not [one for one in secret if one.encode() in content]


def test_a_session_lasts_thirty_days(book: Book) -> None:
    ada = roster.add(book, "Ada Marsh", PersonRole.OWNER, None)
    token = sessions.begin(book, ada.id, "A browser\nof many " + 99 * "words", NOW)
    session = sessions.found(book, token, NOW + timedelta(days=30, seconds=-1))
    assert session is not None
    assert session.browser.startswith("A browser of many words")
    assert len(session.browser) == 60
    assert sessions.found(book, token, NOW + timedelta(days=30)) is None
    assert sessions.found(book, token + "x", NOW) is None
    assert sessions.found(book, "", NOW) is None


def test_a_recovery_code_works_once_however_it_is_typed(book: Book) -> None:
    ada = roster.add(book, "Ada Marsh", PersonRole.OWNER, None)
    assert recovery.redeem(book, recovery.new_code(book, ada.id)) == ada.id
    code = recovery.new_code(book, ada.id)
    assert len(code) == 29
    wrong = code[:-1] + ("0" if code[-1] != "0" else "2")
    assert recovery.redeem(book, wrong) is None
    typed = code.lower().replace("-", " ").replace("0", "o").replace("1", "l")
    assert recovery.redeem(book, typed) == ada.id
    assert recovery.redeem(book, code) is None


def test_a_new_recovery_code_takes_the_old_ones_place(book: Book) -> None:
    ada = roster.add(book, "Ada Marsh", PersonRole.OWNER, None)
    old = recovery.new_code(book, ada.id)
    recovery.new_code(book, ada.id)
    assert recovery.redeem(book, old) is None


def test_a_stranger_makes_the_desk_hash_nothing(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    import argon2

    ada = roster.add(book, "Ada Marsh", PersonRole.OWNER, None)
    recovery.new_code(book, ada.id)

    def hashing(*_: object) -> bool:
        raise AssertionError("hashed")

    monkeypatch.setattr(argon2.PasswordHasher, "verify", hashing)
    for code in ("", "x", "00000-" * 5, "Ä" * 25, "U" * 25, "0" * 10_000):
        assert recovery.redeem(book, code) is None


def test_a_challenge_is_for_one_purpose_one_use_and_five_minutes() -> None:
    now_s = 0.0
    challenges = Challenges(clock_s=lambda: now_s)
    one = challenges.new("sign in")
    assert challenges.is_ours(one, "sign in")
    assert not challenges.is_ours(one, "add to somebody")
    assert not Challenges().is_ours(one, "sign in")  # another desk, or this one after a restart
    for place in range(len(one)):
        forged = one[:place] + bytes([one[place] ^ 1]) + one[place + 1 :]
        assert not challenges.is_ours(forged, "sign in")
    assert challenges.use(one)
    assert not challenges.use(one)
    assert not challenges.is_ours(one, "sign in")
    late = challenges.new("sign in")
    now_s = LASTS_S
    assert not challenges.is_ours(late, "sign in")


def test_a_flood_of_challenges_takes_no_room_and_pushes_none_out() -> None:
    challenges = Challenges()
    owners = challenges.new("sign in")
    for _ in range(2000):
        challenges.new("sign in")
    assert challenges.is_ours(owners, "sign in")
    assert not challenges._used


@pytest.mark.parametrize(
    "answer",
    [
        None, [], "x", {}, {"response": None}, {"response": {"clientDataJSON": 3}},
        {"response": {"clientDataJSON": "e30"}}, {"response": {"clientDataJSON": "W10"}},
        {"response": {"clientDataJSON": "!"}},
        {"response": {"clientDataJSON": "eyJjaGFsbGVuZ2UiOjF9"}},
    ],
)  # fmt: skip
def test_nonsense_is_no_passkey(book: Book, answer: object) -> None:
    ada = roster.add(book, "Ada Marsh", PersonRole.OWNER, None)
    keys = Passkeys(HERE)
    with pytest.raises(InputError):
        keys.whose(book, answer)
    with pytest.raises(InputError):
        keys.add(book, ada, answer)


def test_what_browsers_are_asked_for(book: Book) -> None:
    ada = roster.add(book, "Ada Marsh", PersonRole.OWNER, None)
    book.add_passkey(ada.id, "Y3JlZGVudGlhbA", "a2V5", 0)
    options = Passkeys(HERE).options_to_add(book, ada)
    # W3C Web Authentication, level 2: 5.4, and 14.6.1 on what a user handle must not say.
    assert options["rp"] == {"name": "Walkboard", "id": "localhost"}
    assert options["authenticatorSelection"]["userVerification"] == "required"
    assert options["authenticatorSelection"]["residentKey"] == "required"
    assert [one["id"] for one in options["excludeCredentials"]] == ["Y3JlZGVudGlhbA"]
    assert options["attestation"] == "none"
    assert "Ada" not in options["user"]["id"]
    asked = Passkeys(HERE).options_to_sign_in()
    assert (asked["rpId"], asked["userVerification"]) == ("localhost", "required")
    assert not asked.get("allowCredentials")  # a stranger learns nobody's keys
