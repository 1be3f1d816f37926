"""What can be permitted, and what each role is permitted: the one table of rights.

Every door names one permission, and so does every kind of setting that a browser's outbox sends. A
grant gives a role's permissions on one organ or on all of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType

from walkboard.book.people.records import PersonRole


class Permission(Enum):
    """What a door may ask for."""

    OPEN = "open"  # nothing: for anyone whom the network lets in
    ENTER = "enter"  # find one's organs, and hear when the book changes
    READ_REPORT = "read the report"  # page 1 of the last report, for the venue
    READ_CALENDAR = "read the calendar"  # events, and how the organ will be at each
    READ_FAULTS = "read faults"
    REPORT_FAULT = "report a fault"
    READ_RECORDS = "read the records"  # readings, visits, recordings, history, tables
    HOLD_KEYS = "hold keys"  # the key holder's pages
    TICK = "tick"  # the worklist, and faults found at its pipes
    HANDLE_FAULTS = "handle faults"  # place, merge, fix and reopen them
    RECORD = "record"  # visits, recordings, air, notes
    PLAN = "plan"
    KEEP_CALENDAR = "keep the calendar"
    DESCRIBE = "describe the organ"
    PRACTISE = "practise"
    RENEW_CARD = "renew the console card"
    LISTEN_HERE = "listen here"  # with the desk's own microphone
    ADD_ORGANS = "add organs"
    TAKE_BOOK = "take the book"  # files of the whole book
    STOP_WORK = "stop work"  # of the background
    PLAN_ROUNDS = "plan rounds"
    MANAGE_DEVICES = "manage devices"
    MANAGE_PEOPLE = "manage people"


WHOLE_BOOK = frozenset(
    {
        Permission.ADD_ORGANS,
        Permission.TAKE_BOOK,
        Permission.STOP_WORK,
        Permission.PLAN_ROUNDS,
        Permission.MANAGE_DEVICES,
        Permission.MANAGE_PEOPLE,
    }
)
"""Permissions that reach beyond one organ: only a grant on all organs gives them."""

_VENUE = frozenset(
    {
        Permission.ENTER,
        Permission.READ_REPORT,
        Permission.READ_CALENDAR,
        Permission.READ_FAULTS,
        Permission.REPORT_FAULT,
    }
)
_ADVISER = _VENUE | {Permission.READ_RECORDS}
_TUNER = _ADVISER | {
    Permission.HOLD_KEYS,
    Permission.TICK,
    Permission.HANDLE_FAULTS,
    Permission.RECORD,
    Permission.PLAN,
    Permission.KEEP_CALENDAR,
    Permission.DESCRIBE,
    Permission.PRACTISE,
    Permission.ADD_ORGANS,
    Permission.TAKE_BOOK,
    Permission.STOP_WORK,
}
_OWNER = _TUNER | {
    Permission.RENEW_CARD,
    Permission.PLAN_ROUNDS,
    Permission.MANAGE_DEVICES,
    Permission.MANAGE_PEOPLE,
}

OF_ROLE: Mapping[PersonRole, frozenset[Permission]] = MappingProxyType(
    {
        PersonRole.OWNER: _OWNER,
        PersonRole.TUNER: _TUNER | {Permission.PLAN_ROUNDS},
        PersonRole.KEY_HOLDER: _VENUE - {Permission.READ_REPORT} | {Permission.HOLD_KEYS},
        PersonRole.VENUE: _VENUE,
        PersonRole.ADVISER: _ADVISER,
    }
)


@dataclass(frozen=True, slots=True)
class Grant:
    """Permissions on one organ.

    Attributes
    ----------
    permissions : frozenset of Permission
    organ_id : int or None
        None: on every organ of the book, and on the book itself.
    """

    permissions: frozenset[Permission]
    organ_id: int | None = None

    def gives(self, permission: Permission, organ_id: int | None) -> bool:
        """Whether it gives a permission.

        Parameters
        ----------
        permission : Permission
        organ_id : int or None
            The organ it is wanted on; None: on any.
        """
        if permission not in self.permissions:
            return False
        if self.organ_id is None:
            return True
        return permission not in WHOLE_BOOK and organ_id in {None, self.organ_id}


STRANGER = Grant(frozenset({Permission.OPEN}))
PAIRED_DEVICE = Grant(frozenset({Permission.OPEN}) | _TUNER)
"""A paired device belongs to whoever the tuner gave it to, and works on any organ."""
THE_DESK = Grant(frozenset(Permission))


def allowed(grants: Iterable[Grant], permission: Permission, organ_id: int | None = None) -> bool:
    """Whether one of the grants gives a permission, as `Grant.gives`."""
    return any(grant.gives(permission, organ_id) for grant in grants)
