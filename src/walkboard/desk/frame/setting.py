"""One setting from a browser: idempotent, with an id, sent until it is in the book."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, ConfigDict, Field

from walkboard.desk.text.catalogue import say
from walkboard.errors import InputError

if TYPE_CHECKING:
    from walkboard.book.keeping import Book
    from walkboard.book.records import KeptVisit


class Setting(BaseModel):
    """One setting from a browser.

    Attributes
    ----------
    uid : str
        The same each time it is sent.
    kind : str
        Names the page that keeps it.
    at : datetime
        When it was made, by the clock of the device.
    body : dict
        As made by the page's script; must be checked.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")
    uid: str = Field(min_length=8, max_length=64, pattern=r"^[A-Za-z0-9_-]+$")
    kind: str = Field(max_length=40)
    at: datetime
    body: dict[str, Any]


class OfVisit(BaseModel):
    """What a setting of a visit names it by.

    A browser keeps what it has not yet sent by the desk's address alone, and the next book served
    there may have a visit of the same number.

    Attributes
    ----------
    visit : int
    opened : datetime or None
        When that visit was opened; None from a page that did not say it yet.
    """

    model_config = ConfigDict(extra="forbid")
    visit: int
    opened: datetime | None = None

    def found(self, book: Book) -> KeptVisit:
        """The visit.

        Raises
        ------
        InputError
            When the visit of this number is another one: the setting was meant for another book.
        """
        visit = book.visit(self.visit)
        if self.opened is not None and self.opened != visit.opened_at:
            raise InputError(say("frame.outbox_other_book"), fix=say("frame.outbox_other_book_fix"))
        return visit
