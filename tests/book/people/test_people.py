"""People and their roles: the newest counts, nobody vanishes, and no export says what opens."""

import json
from datetime import timedelta
from pathlib import Path

import pytest

from tests.book.making import MORNING, Clock
from walkboard.book.importing import import_book
from walkboard.book.keeping import Book
from walkboard.book.people.records import Membership, PersonRole
from walkboard.book.rows.acting import recording_as
from walkboard.errors import BookError


def test_a_person_has_one_role_for_each_organ_and_one_for_all(book: Book, organ_id: int) -> None:
    ada = book.add_person("  Ada   Marsh ")
    assert (ada.name, ada.memberships) == ("Ada Marsh", ())
    book.keep_membership(ada.id, PersonRole.VENUE, organ_id)
    book.keep_membership(ada.id, PersonRole.KEY_HOLDER, organ_id)
    now = book.keep_membership(ada.id, PersonRole.ADVISER, None)
    everywhere, here = (
        Membership(PersonRole.ADVISER, None),
        Membership(PersonRole.KEY_HOLDER, organ_id),
    )
    assert now.memberships == (everywhere, here)
    left = book.keep_membership(ada.id, None, organ_id)
    assert left.memberships == (everywhere,)
    assert book.people() == (left,) == (book.person(ada.id),)


@pytest.mark.parametrize("name", ["", "   ", "x" * 61])
def test_a_person_needs_a_name(book: Book, name: str) -> None:
    with pytest.raises(BookError, match="1 to 60 letters"):
        book.add_person(name)


def test_names_are_unique(book: Book) -> None:
    book.add_person("Ada Marsh")
    with pytest.raises(BookError, match="already a person named 'Ada Marsh'"):
        book.add_person("Ada  Marsh")


def test_a_role_is_for_somebody_and_for_an_organ_of_the_book(book: Book) -> None:
    with pytest.raises(BookError, match="no person 7"):
        book.keep_membership(7, PersonRole.OWNER, None)
    ada = book.add_person("Ada Marsh")
    with pytest.raises(BookError, match="no organ 9"):
        book.keep_membership(ada.id, PersonRole.VENUE, 9)
    assert book.person(ada.id).memberships == ()


def test_a_passkey_belongs_to_one_person(book: Book) -> None:
    ada, ben = book.add_person("Ada"), book.add_person("Ben")
    key = book.add_passkey(ada.id, "credential", "key", 0)
    with pytest.raises(BookError, match="in the book already"):
        book.add_passkey(ben.id, "credential", "other", 0)
    book.count_use(key.id, 5)
    found = book.passkey_of("credential")
    assert found is not None
    assert (found.person_id, found.uses) == (ada.id, 5)
    assert book.passkey_of("another") is None
    assert not book.remove_passkey(ben.id, key.id)
    assert book.remove_passkey(ada.id, key.id)
    assert book.passkeys(ada.id) == ()


def test_an_invitation_works_once_and_not_for_ever(book: Book, clock: Clock) -> None:
    ada = book.add_person("Ada")
    book.keep_invitation(ada.id, "old", clock.now + timedelta(hours=1))
    book.keep_invitation(ada.id, "new", clock.now + timedelta(hours=1))
    assert book.invited("old") is None
    assert book.invited("new") == ada.id
    assert book.use_invitation("new") == ada.id
    assert book.use_invitation("new") is None
    book.keep_invitation(ada.id, "late", clock.now + timedelta(hours=1))
    clock.now += timedelta(hours=1)
    assert book.invited("late") is book.use_invitation("late") is None


def test_sessions_that_are_over_are_removed(book: Book, clock: Clock) -> None:
    ada = book.add_person("Ada")
    ben = book.add_person("Ben")
    book.begin_session(ada.id, "a", "Phone", MORNING + timedelta(days=1))
    clock.now = MORNING + timedelta(days=2)
    second = book.begin_session(ada.id, "b", "Laptop", MORNING + timedelta(days=9))
    assert book.session("a") is None
    assert book.sessions(ada.id) == (second,)
    assert not book.end_session(ben.id, second.id)
    assert book.end_session(ada.id, second.id)
    assert book.session("b") is None


def test_an_account_of_the_provider_is_one_persons(book: Book) -> None:
    ada, ben = book.add_person("Ada"), book.add_person("Ben")
    book.link_openid(ada.id, "https://id.example", "4711")
    assert book.person_of_openid("https://id.example", "4711") == ada.id
    assert book.person_of_openid("https://other.example", "4711") is None
    with pytest.raises(BookError, match="Somebody else"):
        book.link_openid(ben.id, "https://id.example", "4711")
    book.link_openid(ada.id, "https://id.example", "4712")
    assert book.person_of_openid("https://id.example", "4711") is None


def test_whoever_leaves_can_sign_in_with_nothing(book: Book, clock: Clock) -> None:
    ada, ben = book.add_person("Ada"), book.add_person("Ben")
    for person in (ada, ben):
        book.add_passkey(person.id, f"c{person.id}", "key", 0)
        book.keep_recovery(person.id, f"f{person.id}", "hash")
        book.keep_invitation(person.id, f"i{person.id}", clock.now + timedelta(days=1))
        book.link_openid(person.id, "https://id.example", str(person.id))
        book.begin_session(person.id, f"s{person.id}", "", clock.now + timedelta(days=1))
    book.forget_sign_in(ada.id)
    a, b = ada.id, ben.id
    assert (book.passkeys(a), book.recovery(f"f{a}"), book.invited(f"i{a}")) == ((), None, None)
    assert (book.person_of_openid("https://id.example", str(a)), book.session(f"s{a}")) == (
        None,
        None,
    )
    assert book.has_recovery(b)
    assert book.invited(f"i{b}") == b
    assert book.session(f"s{b}") is not None


def test_an_export_has_the_people_and_nothing_that_they_sign_in_with(
    book: Book, organ_id: int, clock: Clock, tmp_path: Path
) -> None:
    ada = book.add_person("Ada")
    book.keep_membership(ada.id, PersonRole.TUNER, organ_id)
    book.add_passkey(ada.id, "the-credential", "the-key", 0)
    book.keep_recovery(ada.id, "the-finder", "the-recovery")
    book.keep_invitation(ada.id, "the-invitation", clock.now + timedelta(days=1))
    book.link_openid(ada.id, "the-issuer", "the-subject")
    book.begin_session(ada.id, "the-session", "", clock.now + timedelta(days=1))
    book.export_json(tmp_path / "book.json")
    text = (tmp_path / "book.json").read_text(encoding="utf-8")
    assert "the-" not in text
    assert [row["name"] for row in json.loads(text)["tables"]["person"]] == ["Ada"]
    with import_book(tmp_path / "book.json", tmp_path / "again", clock=clock) as again:
        (person,) = again.people()
        assert (person.name, person.uid) == ("Ada", ada.uid)
        assert person.memberships == (Membership(PersonRole.TUNER, organ_id),)
        assert again.passkeys(person.id) == ()


def test_facts_name_who_recorded_them(book: Book, organ_id: int) -> None:
    ada, ben = book.add_person("Ada"), book.add_person("Ben")
    with recording_as(ada.uid):
        visit = book.open_visit(organ_id, "spring", minutes=60.0)
        book.add_note(visit.id, "one")
    with recording_as(ben.uid):
        book.add_note(visit.id, "two")
        book.add_note(visit.id, "three")
        fault = book.report_fault(organ_id, "cipher", "it sings")
    book.mark_fixed(fault.id)  # at a desk where nobody signs in
    found = [(one.name, one.kind, one.count) for one in book.recorded_at_visit(visit.id)]
    assert found == [("Ada", "opened", 1), ("Ada", "note", 1), ("Ben", "note", 2)]
    (reported,) = book.recorded_of_fault(fault.id)
    assert (reported.name, reported.kind) == ("Ben", "reported")
    assert reported.last_at == fault.reported_at
