"""Who asks for a page, and which doors they may use."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from starlette.requests import HTTPConnection


class Access(IntEnum):
    """Who may use a door; higher levels include the lower ones."""

    OPEN = 0  # anyone on the network that the desk is shared to
    PAIRED = 1  # a device that was paired, and the desk itself
    DESK = 2  # only a browser on the machine that runs the desk


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who asks.

    Attributes
    ----------
    access : Access
    device : str
        Id of the paired device; empty at the desk itself and for a stranger.
    """

    access: Access
    device: str = ""

    @property
    def is_at_desk(self) -> bool:
        """Whether it is a browser on the machine that runs the desk."""
        return self.access is Access.DESK


def visitor_of(connection: HTTPConnection) -> Visitor:
    """Who asks."""
    visitor: Visitor = connection.state.visitor
    return visitor
