"""Photographs: the file beside the recordings, its rights and what it shows in a table."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import select

from walkboard.book.models import FaultRow, PhotographRow, SoundRow, VisitRow
from walkboard.book.rows.storing import Storing
from walkboard.book.venue.records import Photograph
from walkboard.errors import InputError

# First bytes of each format that browsers and Typst both draw. From W3C PNG (3rd edition), 5.2, and
# ITU-T T.81 (JPEG), B.1.1.3 (SOI followed by a marker).
_BEGINNINGS = {"png": b"\x89PNG\r\n\x1a\n", "jpg": b"\xff\xd8\xff", "jpeg": b"\xff\xd8\xff"}


class Photographs(Storing):
    """Photographs."""

    def keep_photograph(
        self,
        organ_id: int,
        source: Path,
        *,
        shows: str,
        rights: str = "",
        visit_id: int | None = None,
        fault_id: int | None = None,
    ) -> Photograph:
        """Store a photograph.

        Parameters
        ----------
        organ_id : int
        source : Path
            A JPEG or PNG file with that extension.
        shows : str
            What it shows.
        rights : str
            Whose it is and who may see it; if empty, it is not shown outside the book.
        visit_id, fault_id : int or None
            What it belongs to.

        Raises
        ------
        InputError
            If it is not a photograph, cannot be read, or says nothing about what it shows.
        BookError
            If there is no such organ, visit or fault, or the disk is full.
        """
        if not shows.strip():
            raise InputError(
                "The photograph does not say what it shows.",
                where=str(source),
                fix="Say it in a few words, as: Loose slide of the Twelfth.",
            )
        _refuse_other_files(source)
        incoming = self.sounds.copy_in(source)
        try:
            with self._writing() as session:
                self._newest_description(session, organ_id)
                if visit_id is not None:
                    self._get(session, VisitRow, visit_id, "visit")
                if fault_id is not None:
                    self._get(session, FaultRow, fault_id, "fault")
                content = session.get(SoundRow, incoming.sha256) or SoundRow(
                    sha256=incoming.sha256, extension=incoming.extension, bytes=incoming.bytes
                )
                row = PhotographRow(
                    organ_id=organ_id,
                    visit_id=visit_id,
                    fault_id=fault_id,
                    content=content,
                    file_name=source.name,
                    shows=shows.strip(),
                    rights=rights.strip(),
                    kept_at=self._now(),
                )
                session.add(row)
                session.flush()
                self.sounds.give_name(incoming, content.extension)
                return self._photograph_of(row)
        finally:
            incoming.drop()

    def photographs(self, organ_id: int) -> tuple[Photograph, ...]:
        """An organ's photographs, oldest first."""
        with self._reading() as session:
            self._newest_description(session, organ_id)
            query = select(PhotographRow).where(PhotographRow.organ_id == organ_id)
            return tuple(
                self._photograph_of(row)
                for row in session.scalars(query.order_by(PhotographRow.fact_uid))
            )

    def _photograph_of(self, row: PhotographRow) -> Photograph:
        return Photograph(
            id=row.id,
            organ_id=row.organ_id,
            visit_id=row.visit_id,
            fault_id=row.fault_id,
            file_name=row.file_name,
            shows=row.shows,
            rights=row.rights,
            path=self.sounds.path_of(row.sha256, row.content.extension),
            kept_at=row.kept_at,
        )


def _refuse_other_files(source: Path) -> None:
    beginning = _BEGINNINGS.get(source.suffix.lower().removeprefix("."))
    try:
        with source.open("rb") as stream:
            found = stream.read(16)
    except OSError as error:
        raise InputError(
            f"The photograph cannot be read ({error.strerror or error}).",
            where=str(source),
            fix="Check the name and that you may read it.",
        ) from error
    if beginning is None or not found.startswith(beginning):
        raise InputError(
            "This file is not a JPEG or PNG picture.",
            where=str(source),
            fix="Save it as JPEG or PNG first.",
        )
