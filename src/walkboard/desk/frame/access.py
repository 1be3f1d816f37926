"""Who asks for a page, and what they are permitted."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import HTTPConnection

from walkboard.book.people.records import Person
from walkboard.desk.frame.permissions import (
    OF_ROLE,
    PAIRED_DEVICE,
    STRANGER,
    THE_DESK,
    Grant,
    Permission,
    allowed,
)

SESSION_COOKIE = "walkboard_session"


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who asks.

    Attributes
    ----------
    grants : tuple of Grant
    device : str
        Id of the paired device or of the person's session; empty at the desk itself and for a
        stranger. Ending it closes what it has open.
    person : Person or None
        Who signed in; None at the desk itself, and for a paired device.
    is_at_desk : bool
        Whether it is a browser on the machine that runs the desk.
    """

    grants: tuple[Grant, ...]
    device: str = ""
    person: Person | None = None
    is_at_desk: bool = False

    def may(self, permission: Permission, organ_id: int | None = None) -> bool:
        """Whether a permission is given on an organ; None: on any."""
        return allowed(self.grants, permission, organ_id)

    def may_on_every_organ(self, permission: Permission) -> bool:
        """Whether a permission is given on all organs of the book."""
        return allowed((one for one in self.grants if one.organ_id is None), permission)

    @property
    def is_known(self) -> bool:
        """Whether it is more than a stranger."""
        return self.may(Permission.ENTER)


AT_DESK = Visitor((THE_DESK,), is_at_desk=True)
UNKNOWN = Visitor((STRANGER,))


def paired(device: str) -> Visitor:
    """A paired device, by its id."""
    return Visitor((PAIRED_DEVICE,), device)


def signed_in(person: Person, session: str) -> Visitor:
    """A person, with a name of the session."""
    of_roles = (Grant(OF_ROLE[one.role], one.organ_id) for one in person.memberships)
    return Visitor((STRANGER, *of_roles), session, person)


def visitor_of(connection: HTTPConnection) -> Visitor:
    """Who asks."""
    visitor: Visitor = connection.state.visitor
    return visitor
