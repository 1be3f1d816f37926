"""Copies the files of recordings and photographs from one copy of a book to another."""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import Connection, text

from walkboard.book.files.sounds import SoundFolder
from walkboard.book.merging.tables import of_organ
from walkboard.book.models import Base
from walkboard.book.records import BookProblem
from walkboard.errors import InputError

Progress = Callable[[float, float], None]
"""Called with the number done and the total."""


def wanted(there: Connection, organ_id: int, *, recordings: bool) -> dict[str, str]:
    """The extension of each file of an organ, by its hash; photographs always."""
    found: dict[str, str] = {}
    for name in ("photograph", *(("recording",) if recordings else ())):
        table = Base.metadata.tables[name]
        query = text(
            "SELECT sound.sha256, sound.extension FROM sound"  # noqa: S608 - names of our own
            f" JOIN {name} AS used ON used.sha256 = sound.sha256"
            f" WHERE used.id IN (SELECT id FROM ({of_organ(table)}) AS of_organ)"
        )
        rows = there.execute(query, {"organ": organ_id})
        found.update({row[0]: row[1] for row in rows})
    return found


def copy(
    files: dict[str, str], there: SoundFolder, here: SoundFolder, progress: Progress
) -> tuple[BookProblem, ...]:
    """Copy the files that are there and not here, each checked by its hash.

    Returns
    -------
    tuple of BookProblem
        Files whose content has changed, or that cannot be read.
    """
    problems: list[BookProblem] = []
    lacking = [
        (sha256, extension)
        for sha256, extension in sorted(files.items())
        if there.path_of(sha256, extension).is_file()
        and not here.path_of(sha256, extension).is_file()
    ]
    for done, (sha256, extension) in enumerate(lacking):
        progress(done, len(lacking))
        source = there.path_of(sha256, extension)
        fix = "Restore it from another copy of the book."
        try:
            incoming = here.copy_in(source)
        except InputError as error:
            problems.append(BookProblem(str(source), error.what, fix))
            continue
        try:
            if incoming.sha256 == sha256:
                here.give_name(incoming, extension)
            else:
                what = "The file of a recording has changed, so it was not copied."
                problems.append(BookProblem(str(source), what, fix))
        finally:
            incoming.drop()
    return tuple(problems)
