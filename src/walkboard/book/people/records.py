"""The people of a book, as frozen types. Light to import: every desk needs the roles."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class PersonRole(StrEnum):
    """What a person is to an organ, or to all organs of the book."""

    OWNER = "owner"  # of the firm, or the person who runs the book
    TUNER = "tuner"
    KEY_HOLDER = "key holder"
    VENUE = "venue"  # the people of the building
    ADVISER = "adviser"


@dataclass(frozen=True, slots=True)
class Membership:
    """A person's role.

    Attributes
    ----------
    role : PersonRole
    organ_id : int or None
        None: for every organ of the book.
    """

    role: PersonRole
    organ_id: int | None


@dataclass(frozen=True, slots=True)
class Person:
    """A person in the book.

    Attributes
    ----------
    id : int
    uid : str
        The same in every copy of the book; facts name who recorded them by it.
    name : str
    memberships : tuple of Membership
        At most one for each organ and one for all; empty once the person was removed.
    added_at : datetime
    """

    id: int
    uid: str
    name: str
    memberships: tuple[Membership, ...]
    added_at: datetime


@dataclass(frozen=True, slots=True)
class Passkey:
    """A public key that a person signs in with (W3C Web Authentication, level 2).

    Attributes
    ----------
    id : int
    person_id : int
    credential : str
        Its id, as base64url.
    public_key : str
        As COSE, in base64url.
    uses : int
        Signature counter of the authenticator; 0 where it keeps none.
    name : str
        What its owner calls it.
    added_at : datetime
    """

    id: int
    person_id: int
    credential: str
    public_key: str
    uses: int
    name: str
    added_at: datetime


@dataclass(frozen=True, slots=True)
class Session:
    """A browser that a person signed in with.

    Attributes
    ----------
    id : int
    person_id : int
    browser : str
        What the browser calls itself, shortened.
    began_at, ends_at : datetime
    """

    id: int
    person_id: int
    browser: str
    began_at: datetime
    ends_at: datetime


@dataclass(frozen=True, slots=True)
class Recorded:
    """What a person recorded of one kind.

    Attributes
    ----------
    kind : str
        As ``tick``.
    name : str
        The person's.
    count : int
    last_at : datetime
    """

    kind: str
    name: str
    count: int
    last_at: datetime
