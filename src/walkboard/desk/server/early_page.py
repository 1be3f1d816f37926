"""The first page as the desk last had it, kept in the book's folder for the next start.

Reading the libraries takes longer than anyone likes to wait, so the desk shows at once what it knew
when it last worked, if that is still true: the page is kept with the stamp of the book, and a page
of another stamp is never shown. The stamp names the very file, so a copied folder starts without.
"""

from __future__ import annotations

import json
import time
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from functools import cache
from pathlib import Path

from walkboard import __version__
from walkboard.desk.frame.private_file import write_private
from walkboard.parsing import json_value

FILE = "first-page.json"


@dataclass(frozen=True, slots=True)
class FirstPage:
    """A page as it was drawn once, and what it depends on.

    Attributes
    ----------
    path : str
        Its address.
    choices : str
        What the browser had chosen (`walkboard.desk.text.preferences.cookie_words`).
    html : str
    book : str
        Stamp of the book (`walkboard.book.glance`).
    program : str
        Version of the desk that drew it.
    until : str
        Instant after which it says something past: the next event's start (ISO 8601); empty where
        there is none.
    """

    path: str
    choices: str
    html: str
    book: str
    program: str
    until: str

    def is_true(self, book: str, now: datetime) -> bool:
        """Whether it is still what the desk would draw.

        Parameters
        ----------
        book : str
            The present stamp of the book.
        now : datetime
            Time-zone aware.
        """
        return (
            bool(book)
            and book == self.book
            and self.program == program_stamp()
            and (not self.until or now < datetime.fromisoformat(self.until))
        )


def kept_page(folder: Path) -> FirstPage | None:
    """The page that a book's folder keeps; None if there is no such page or it cannot be read."""
    # By hand, where other files are checked with pydantic: it would load for longer than all this.
    try:
        found = json_value((folder / FILE).read_bytes())
        page = FirstPage(**{field.name: found[field.name] for field in fields(FirstPage)})
        if not all(isinstance(value, str) for value in asdict(page).values()):
            return None
        if page.until:
            datetime.fromisoformat(page.until)
    except (OSError, ValueError, TypeError, KeyError):
        return None
    return page


def keep_page(folder: Path, page: FirstPage) -> None:
    """Keep a page in a book's folder, readable by its owner alone."""
    write_private(folder / FILE, json.dumps(asdict(page)).encode())


@cache
def program_stamp() -> str:
    """What tells this desk from a newer one, or one in another time zone."""
    package = Path(__file__).parent.parent
    newest = max(path.stat().st_mtime_ns for path in package.rglob("*.*") if path.suffix != ".pyc")
    return f"{__version__} {newest} {time.timezone} {time.localtime().tm_gmtoff}"
