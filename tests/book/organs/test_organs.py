"""Organs and the versions of their descriptions."""

import pytest

from tests.book.making import DESCRIPTION
from walkboard.book.keeping import Book
from walkboard.errors import BookError


def test_a_changed_description_supersedes_and_the_old_one_stays(book: Book) -> None:
    first = book.add_organ("Harbour Hall", DESCRIPTION)
    second = book.add_organ("Harbour Hall", DESCRIPTION + "# a rank more\n")
    assert (first.version, second.version) == (1, 2)
    assert second.id == first.id
    assert book.organs() == (second,)
    assert book.organ_versions(first.id) == (first, second)


def test_the_same_description_again_changes_nothing(book: Book) -> None:
    first = book.add_organ("Harbour Hall", DESCRIPTION)
    assert book.add_organ("harbour hall", DESCRIPTION) == first
    assert book.organ_versions(first.id) == (first,)


def test_a_newer_description_may_spell_the_name_otherwise(book: Book) -> None:
    first = book.add_organ("harbour hall", DESCRIPTION)
    second = book.add_organ("Harbour Hall", DESCRIPTION + "# now with capitals\n")
    assert (second.id, second.name) == (first.id, "Harbour Hall")


def test_an_organ_is_found_by_its_name_whatever_the_case(book: Book) -> None:
    organ = book.add_organ("Ärmelbach St. Änne", DESCRIPTION)
    assert book.organ_named("ärmelbach ST. ÄNNE") == organ


def test_a_visit_knows_the_description_that_held(book: Book, organ_id: int) -> None:
    visit = book.open_visit(organ_id, "spring")
    book.add_organ("Harbour Hall", DESCRIPTION + "# a rank more\n")
    assert book.visit(visit.id).organ_version == 1
    book.close_visit(visit.id)
    assert book.open_visit(organ_id, "autumn").organ_version == 2


def test_an_organ_can_be_renamed_unless_the_name_is_taken(book: Book, organ_id: int) -> None:
    other = book.add_organ("Village Church", DESCRIPTION)
    renamed = book.revise_organ(organ_id, "Quay Hall", DESCRIPTION)
    assert (renamed.id, renamed.name, renamed.version) == (organ_id, "Quay Hall", 2)
    with pytest.raises(BookError, match="Another organ in this book is called 'Quay Hall'"):
        book.revise_organ(other.id, "Quay Hall", DESCRIPTION)
    assert book.organ(other.id) == other


def test_a_missing_name_is_answered_with_those_present(book: Book, organ_id: int) -> None:
    with pytest.raises(BookError, match=r"no organ 'Chapel' in this book\. It has: Harbour Hall"):
        book.organ_named("Chapel")
    with pytest.raises(BookError, match="There is no organ 7 in this book"):
        book.open_visit(organ_id + 6, "spring")
    with pytest.raises(BookError, match="must have a name"):
        book.add_organ(" ", DESCRIPTION)
