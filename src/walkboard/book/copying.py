"""Copies of the book: the whole folder as it stands at one moment, or its records as JSON."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

from walkboard import __version__
from walkboard.book import trouble
from walkboard.book.folder import DATABASE, HEAD_REVISION, RECORDINGS, building, sync_file
from walkboard.book.models import Base
from walkboard.book.records import BookProblem
from walkboard.book.sounds import SoundFolder
from walkboard.book.storing import Storing
from walkboard.errors import InputError

EXPORT_FORMAT = "walkboard book"


class Copying(Storing):
    """Making copies."""

    def copy_to(self, path: Path) -> tuple[BookProblem, ...]:
        """Copy the whole book to a new folder, while others go on using it.

        Every recording is checked on the way; one that is missing or changed is left out.

        Parameters
        ----------
        path : Path
            Not there yet, or empty.

        Returns
        -------
        tuple of BookProblem
            The recordings that were left out; empty where the copy is whole.

        Raises
        ------
        BookError
            When something is there already, or it cannot be written.
        """
        from walkboard.book.migrating import copy_database  # noqa: PLC0415 - Alembic

        path = path.absolute()
        problems: list[BookProblem] = []
        with building(path) as part:
            try:
                copy_database(self.path / DATABASE, part / DATABASE)
                sounds = _sounds_in(part / DATABASE)
            except sqlite3.Error as error:
                raise trouble.of_sqlite(error, path) from error
            (part / RECORDINGS).mkdir()
            for sha256, extension in sounds:
                source = self.sounds.path_of(sha256, extension)
                problem = copy_sound(source, SoundFolder(part), sha256)
                if problem is not None:
                    problems.append(problem)
        return tuple(problems)

    def export_json(self, target: Path) -> None:
        """Write every record of the book to one JSON file, without the sound of the recordings.

        `walkboard.book.importing.import_book` makes a book of it again. See ``docs/book.md`` for
        its form.

        Parameters
        ----------
        target : Path
            Replaced if it is there, when the new one is whole.

        Raises
        ------
        BookError
            When it cannot be written.
        """
        text = _text(
            {
                "format": EXPORT_FORMAT,
                "form": HEAD_REVISION,
                "program_version": __version__,
                "exported_at": self._now().isoformat(),
            },
            self._tables(),
        )
        part = target.with_name(f".{target.name}.part")
        try:
            part.write_text(text, encoding="utf-8")
            sync_file(part)
            part.replace(target)
        except OSError as error:
            raise trouble.of_disk(error, target) from error
        finally:
            part.unlink(missing_ok=True)

    def _tables(self) -> dict[str, list[dict[str, object]]]:
        with self._reading() as session:
            connection = session.connection()
            found: dict[str, list[dict[str, object]]] = {}
            for table in Base.metadata.sorted_tables:
                name = table.name  # ours, from the models; the raw values are what is exported
                rows = connection.exec_driver_sql(f'SELECT * FROM "{name}" ORDER BY rowid')  # noqa: S608
                found[name] = [dict(row) for row in rows.mappings()]
            return found


def copy_sound(source: Path, target: SoundFolder, sha256: str) -> BookProblem | None:
    """Copy the file of one content to another book; a `BookProblem` where it is not that content.

    Parameters
    ----------
    source : Path
    target : SoundFolder
    sha256 : str
        Of the content that it should be.
    """
    mend = "Bring it back from another copy of the book."
    try:
        incoming = target.copy_in(source)
    except InputError as error:
        return BookProblem(str(source), error.what, mend)
    try:
        if incoming.sha256 != sha256:
            return BookProblem(str(source), "The file of a recording has changed.", mend)
        target.give_name(incoming, source.suffix.removeprefix("."))
    finally:
        incoming.drop()
    return None


def _text(head: dict[str, str], tables: dict[str, list[dict[str, object]]]) -> str:
    # A row a line, so that two exports can be compared line by line; json's own indenting would
    # break each row up, and is many times slower.
    fields = [f"{_json(name)}: {_json(value)}" for name, value in head.items()]
    lists = [
        f"{_json(name)}: [" + ",".join(f"\n{_json(row)}" for row in rows) + "]"
        for name, rows in tables.items()
    ]
    return "{" + ",\n".join([*fields, '"tables": {' + ",\n".join(lists) + "}"]) + "}\n"


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _sounds_in(database: Path) -> list[tuple[str, str]]:
    uri = f"{database.as_uri()}?immutable=1"
    with closing(sqlite3.connect(uri, uri=True)) as connection:
        return connection.execute("SELECT sha256, extension FROM sound").fetchall()
