"""The people of a book: added, given roles, invited, removed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from walkboard.book.people.records import Person, PersonRole
from walkboard.book.rows.acting import Named, person_here, work_here_as
from walkboard.errors import BookError, UnknownNameError
from walkboard.work.people.tokens import hash_of, new_token

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

INVITATION_LASTS = timedelta(days=7)  # chosen: a letter's way, and a weekend


@dataclass(frozen=True, slots=True)
class Invitation:
    """A way in, to be given to one person.

    Attributes
    ----------
    person : Person
    token : str
        Kept nowhere; shown once.
    ends_at : datetime
    """

    person: Person
    token: str
    ends_at: datetime

    @property
    def path(self) -> str:
        """Its address below the desk's; the token is in the part that browsers send to no one."""
        return f"/welcome#{self.token}"


def role_named(words: str) -> PersonRole:
    """A role by its word.

    Raises
    ------
    UnknownNameError
        When there is no such role.
    """
    plain = " ".join(words.replace("-", " ").split()).lower()
    if plain not in set(PersonRole):
        raise UnknownNameError(
            f"{words!r} is not a role.", fix=f"It is one of: {', '.join(PersonRole)}."
        )
    return PersonRole(plain)


def named(book: Book, name: str) -> Person:
    """A person by name, in any case of its letters.

    Raises
    ------
    BookError
        When there is no such person.
    """
    plain = " ".join(name.split()).casefold()
    found = next((one for one in book.people() if one.name.casefold() == plain), None)
    if found is None:
        raise BookError(
            f"There is no person named {name!r} in this book.",
            where=str(book.path),
            fix="'walkboard people list' shows everyone.",
        )
    return found


def add(book: Book, name: str, role: PersonRole, organ_id: int | None) -> Person:
    """Add a person, or give an existing one another role.

    Parameters
    ----------
    book : Book
    name : str
    role : PersonRole
    organ_id : int or None
        None: for every organ, also those added later.

    Raises
    ------
    BookError
        When the name cannot be used, or there is no such organ.
    """
    plain = " ".join(name.split()).casefold()
    known = next((one for one in book.people() if one.name.casefold() == plain), None)
    if organ_id is not None:
        book.organ(organ_id)  # before a person is added for nothing
    person = book.add_person(name) if known is None else known
    return book.keep_membership(person.id, role, organ_id)


def remove(book: Book, person: Person) -> None:
    """Take away all roles and all that a person signs in with; the history keeps the name."""
    book.forget_sign_in(person.id)
    for one in person.memberships:
        book.keep_membership(person.id, None, one.organ_id)


def end_role(book: Book, person: Person, organ_id: int | None) -> Person:
    """Take away the role for one organ, or the one for all."""
    return book.keep_membership(person.id, None, organ_id)


def work_here(book: Book, name: str | None) -> Person | None:
    """Name the person who works with a book on this computer; records made here name them.

    Where people sign in at a desk, those do it; a paired phone records as nobody.

    Parameters
    ----------
    book : Book
    name : str or None
        None: nobody in particular any more.

    Raises
    ------
    BookError
        When there is no such person.
    """
    person = None if name is None else named(book, name)
    work_here_as(book.path, None if person is None else Named(person.name))
    return person


def working_here(book: Book) -> str | None:
    """The name of who works with a book on this computer; None if nobody was named."""
    at_work = person_here(book.path)
    return None if at_work is None else at_work.name


def invite(book: Book, person: Person, now: datetime) -> Invitation:
    """Make a link that lets a person add a passkey, once; an earlier one opens nothing any more.

    Raises
    ------
    BookError
        When the person has no role.
    """
    if not person.memberships:
        raise BookError(
            f"{person.name} has no role in this book.",
            where=str(book.path),
            fix="Give one with 'walkboard people add'.",
        )
    token = new_token()
    ends_at = now + INVITATION_LASTS
    book.keep_invitation(person.id, hash_of(token), ends_at)
    return Invitation(person, token, ends_at)
