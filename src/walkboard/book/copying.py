"""Copies of the book: the whole folder at one moment, or its records as JSON."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from sqlalchemy import Boolean

from walkboard import __version__
from walkboard.book.files import trouble
from walkboard.book.files.folder import HEAD_REVISION, RECORDINGS, building, sync_file
from walkboard.book.files.sounds import SoundFolder
from walkboard.book.models import fact_tables
from walkboard.book.records import BookProblem
from walkboard.book.rows.storing import Storing
from walkboard.errors import InputError

EXPORT_FORMAT = "walkboard book"
_ROWS_AT_ONCE = 500  # held in memory while exporting. Chosen.


class Copying(Storing):
    """Making copies."""

    def copy_to(
        self, path: Path, progress: Callable[[float, float], None] = lambda _done, _total: None
    ) -> tuple[BookProblem, ...]:
        """Copy the whole book to a new folder, while other programs use it.

        Every recording is checked; one that is missing or changed is left out.

        Parameters
        ----------
        path : Path
            Not there yet, or empty.
        progress : callable
            Called with the number of recordings copied and the total.

        Returns
        -------
        tuple of BookProblem
            The recordings left out; empty if the copy is complete.

        Raises
        ------
        BookError
            If the target already exists or cannot be written.
        """
        path = path.absolute()
        problems: list[BookProblem] = []
        with building(path) as part:
            with self._copying(path):
                sounds = self.database.copy_into(part)
            (part / RECORDINGS).mkdir()
            for done, (sha256, extension) in enumerate(sounds):
                progress(done, len(sounds))
                source = self.sounds.path_of(sha256, extension)
                problem = copy_sound(source, SoundFolder(part), sha256)
                if problem is not None:
                    problems.append(problem)
        return tuple(problems)

    @contextmanager
    def _copying(self, target: Path) -> Iterator[None]:
        """Turns what fails while copying into `BookError` that names the target."""
        try:
            yield
        except sqlite3.Error as error:
            raise trouble.of_sqlite(error, target) from error
        except Exception as error:
            known = self.database.trouble_of(error)
            if known is None:
                raise
            raise known from error

    def export_json(self, target: Path) -> None:
        """Write every record of the book to one JSON file, without the sound of the recordings.

        `walkboard.book.importing.import_book` turns it back into a book. ``docs/book.md`` explains
        its format.

        Parameters
        ----------
        target : Path
            Replaced, if it exists, once the new one is complete.

        Raises
        ------
        InputError
            When it cannot be written there.
        BookError
            When the disk is full.
        """
        head = {
            "format": EXPORT_FORMAT,
            "form": HEAD_REVISION,
            "program_version": __version__,
            "exported_at": self._now().isoformat(),
        }
        part = target.with_name(f".{target.name}.part")
        try:
            with part.open("w", encoding="utf-8") as writer:
                writer.writelines(self._export(head))
            sync_file(part)
            part.replace(target)
        except OSError as error:
            if trouble.is_of_room(error):
                raise trouble.of_disk(error, target) from error
            raise InputError(
                f"The export cannot be written: {error.strerror or error}.",
                where=str(target),
                fix="Choose another place.",
            ) from error
        finally:
            with suppress(OSError):
                part.unlink(missing_ok=True)

    def _export(self, head: dict[str, str]) -> Iterator[str]:
        """The export row by row, as of one moment; never all in memory."""
        # One row per line, so that two exports can be compared line by line; json's indenting would
        # break rows up and is many times slower.
        yield "{"
        for name, value in head.items():
            yield f"{_json(name)}: {_json(value)},\n"
        yield '"tables": {'
        with self._reading() as session:
            connection = session.connection()
            between = ""
            for table in fact_tables():
                yield f"{between}{_json(table.name)}: ["
                # The raw values are exported; names are ours, from the models.
                keys = [column.name for column in table.primary_key.columns]
                rows = connection.exec_driver_sql(
                    self.database.in_order(table.name, keys),
                    execution_options={"yield_per": _ROWS_AT_ONCE},
                )
                names, comma = list(rows.keys()), ""
                # As SQLite holds them, which has no booleans.
                truths = [c.name for c in table.columns if isinstance(c.type, Boolean)]
                for row in rows:
                    given = dict(zip(names, row, strict=True))
                    for name in truths:
                        given[name] = int(given[name])
                    yield f"{comma}\n{_json(given)}"
                    comma = ","
                yield "]"
                between = ",\n"
        yield "}}\n"


def copy_sound(source: Path, target: SoundFolder, sha256: str) -> BookProblem | None:
    """Copy one recording to another book; returns a `BookProblem` if its content is wrong.

    Parameters
    ----------
    source : Path
    target : SoundFolder
    sha256 : str
        Hash of the expected content.
    """
    fix = "Restore it from another copy of the book."
    try:
        incoming = target.copy_in(source)
    except InputError as error:
        return BookProblem(str(source), error.what, fix)
    try:
        if incoming.sha256 != sha256:
            return BookProblem(str(source), "The file of a recording has changed.", fix)
        target.give_name(incoming, source.suffix.removeprefix("."))
    finally:
        incoming.drop()
    return None


# Once: `json.dumps` makes an encoder for each row.
_json = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode
