"""Who is at work: whatever is recorded meanwhile names them.

Signed in at a desk: that person. Else whoever ``--by`` names for one command, else whom
`work_here_as` names for this folder, as for a tuner's own laptop. Else nobody.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path

from walkboard.parsing import json_value

NOBODY = ""
"""In place of a person's uid: for a paired phone, which may be anybody's."""

FILE = "person-here.json"  # in the book's folder: in a database it would hold for every computer


@dataclass(frozen=True, slots=True)
class Named:
    """A person of the book, by name."""

    name: str


_person: ContextVar[str | None] = ContextVar("person", default=None)
_of_program: Named | None = None


@contextmanager
def recording_as(person_uid: str | None) -> Iterator[None]:
    """Record as a person, by uid; None for the person working here, `NOBODY` for nobody."""
    before = _person.set(person_uid)
    try:
        yield
    finally:
        _person.reset(before)


def record_all_as(person: Named | None) -> None:
    """Record as a person wherever nobody signed in, until this program ends."""
    global _of_program  # noqa: PLW0603 - of the whole program, in all of its threads
    _of_program = person


def person_at_work(folder: Path) -> str | Named:
    """The person who records now in a book's folder: their uid, or their name."""
    signed_in = _person.get()
    if signed_in is not None:
        return signed_in
    return _of_program or person_here(folder) or NOBODY


def signed_in() -> str | None:
    """As given to `recording_as`."""
    return _person.get()


def person_here(folder: Path) -> Named | None:
    """Who works in a folder; None if nobody was named, or the file cannot be read."""
    try:
        name = json_value((folder / FILE).read_text(encoding="utf-8"))["name"]
    except (OSError, ValueError, TypeError, KeyError):
        return None
    return Named(str(name)) if name else None


def work_here_as(folder: Path, person: Named | None) -> None:
    """Name who works in a folder; None: nobody any more."""
    if person is None:
        (folder / FILE).unlink(missing_ok=True)
        return
    part = (folder / FILE).with_suffix(".part")
    part.write_text(json.dumps({"name": person.name}, ensure_ascii=False), encoding="utf-8")
    part.replace(folder / FILE)
