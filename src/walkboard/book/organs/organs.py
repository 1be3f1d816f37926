"""Organs in the book, each with every version of its description."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from walkboard.book.models import DescriptionRow, OrganRow
from walkboard.book.records import KeptOrgan
from walkboard.book.rows.storing import Storing, newest_descriptions


class Organs(Storing):
    """Adding organs and changing their descriptions."""

    def add_organ(self, name: str, description: str) -> KeptOrgan:
        """Add an organ, or a newer description of the one with this name.

        The same description again changes nothing; a changed one is a new version that replaces the
        last.

        Parameters
        ----------
        name : str
            As in the description.
        description : str
            The TOML text as given.
        """
        if not name.strip():
            raise self._error("An organ must have a name.", "Give it one in its description.")
        with self._writing() as session:
            newest = _named(session, name)
            if newest is None:
                organ = OrganRow(added_at=self._now())
                session.add(organ)
                session.flush()
                return self._add_version(session, organ.id, 1, name, description)
            if newest.toml == description:
                return _organ_of(newest)
            return self._add_version(
                session, newest.organ_id, newest.version + 1, name, description
            )

    def revise_organ(self, organ_id: int, name: str, description: str) -> KeptOrgan:
        """Store a newer description of an organ, perhaps under a new name.

        Raises
        ------
        BookError
            When there is no such organ, or another one has the name.
        """
        with self._writing() as session:
            newest = self._newest_description(session, organ_id)
            other = _named(session, name)
            if other is not None and other.organ_id != organ_id:
                raise self._error(
                    f"Another organ in this book is called {name!r}.", "Give it another name."
                )
            if (newest.name, newest.toml) == (name, description):
                return _organ_of(newest)
            return self._add_version(session, organ_id, newest.version + 1, name, description)

    def organs(self) -> tuple[KeptOrgan, ...]:
        """Every organ with its newest description, in the order they were added."""
        with self._reading() as session:
            rows = session.scalars(newest_descriptions().order_by(DescriptionRow.organ_id))
            return tuple(_organ_of(row) for row in rows)

    def organ(self, organ_id: int) -> KeptOrgan:
        """One organ with its newest description; BookError if there is none."""
        with self._reading() as session:
            return _organ_of(self._newest_description(session, organ_id))

    def organ_named(self, name: str) -> KeptOrgan:
        """The organ with this name, whatever its case; BookError if not found."""
        with self._reading() as session:
            row = _named(session, name)
            if row is None:
                names = ", ".join(r.name for r in session.scalars(newest_descriptions()))
                raise self._error(
                    f"There is no organ {name!r} in this book.",
                    f"It has: {names}." if names else "Add one first.",
                )
            return _organ_of(row)

    def organ_versions(self, organ_id: int) -> tuple[KeptOrgan, ...]:
        """Every version of an organ's description, oldest first."""
        with self._reading() as session:
            self._newest_description(session, organ_id)
            rows = session.scalars(
                select(DescriptionRow)
                .where(DescriptionRow.organ_id == organ_id)
                .order_by(DescriptionRow.version)
            )
            return tuple(_organ_of(row) for row in rows)

    def _add_version(
        self, session: Session, organ_id: int, version: int, name: str, description: str
    ) -> KeptOrgan:
        row = DescriptionRow(
            organ_id=organ_id,
            version=version,
            name=name.strip(),
            toml=description,
            added_at=self._now(),
        )
        session.add(row)
        session.flush()
        return _organ_of(row)


def _named(session: Session, name: str) -> DescriptionRow | None:
    # SQLite folds the case of ASCII letters only, so Python compares.
    wanted = name.strip().casefold()
    rows = session.scalars(newest_descriptions())
    return next((row for row in rows if row.name.casefold() == wanted), None)


def _organ_of(row: DescriptionRow) -> KeptOrgan:
    return KeptOrgan(
        id=row.organ_id,
        name=row.name,
        description=row.toml,
        added_at=row.added_at,
        version=row.version,
    )
