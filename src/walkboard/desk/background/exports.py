"""Files of the whole book for download, made in a separate process."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard.book.records import KeptOrgan
from walkboard.desk.background.jobs import Job
from walkboard.desk.text.catalogue import say
from walkboard.languages.spoken import language
from walkboard.work.export import write_export

if TYPE_CHECKING:
    from walkboard.desk.background.needs import BookAndJobs

KIND = "export"
ENDINGS = ("xlsx", "json", "pdf")  # of the pdf: the outlook


@dataclass(frozen=True, slots=True)
class Export:
    """A file that was made.

    Attributes
    ----------
    file : Path
    change : int
        State of the book it was made from.
    at : datetime
    """

    file: Path
    change: int
    at: datetime

    @property
    def bytes(self) -> int:
        """Its size."""
        return self.file.stat().st_size


class Exports:
    """The files made since the desk was opened; removed when it closes."""

    def __init__(self) -> None:
        self._folder: Path | None = None
        self._made: dict[tuple[int, str], Export] = {}

    def made(self, organ_id: int, ending: str) -> Export | None:
        """The last file made with an extension."""
        return self._made.get((organ_id, ending))

    def working(self, desk: BookAndJobs, organ_id: int, ending: str) -> Job | None:
        """The work in progress for one."""
        subject = _subject(organ_id, ending)
        mine = (job for job in desk.jobs.all() if job.kind == KIND and job.subject == subject)
        return next((job for job in mine if not job.is_over), None)

    def trouble(self, desk: BookAndJobs, organ_id: int, ending: str) -> str:
        """Why the last try failed; empty if it did not."""
        subject = _subject(organ_id, ending)
        mine = [job for job in desk.jobs.all() if job.kind == KIND and job.subject == subject]
        return mine[-1].trouble if mine else ""

    def make(self, desk: BookAndJobs, kept: KeptOrgan, ending: str, today: date) -> None:
        """Start making one, unless already in progress; an outlook starts today."""
        making: Callable[..., object] = write_export
        if ending == "pdf":
            from walkboard.work.print_sheets import write_outlook  # noqa: PLC0415 - late: sheets are heavy

            making = partial(write_outlook, today=today, language=language())
        self.begin(desk, kept, ending, say("book.making"), making)

    def begin(
        self,
        desk: BookAndJobs,
        kept: KeptOrgan,
        ending: str,
        words: str,
        making: Callable[..., object],
    ) -> None:
        """Start making a file with another function, unless already in progress.

        Parameters
        ----------
        desk : BookAndJobs
        kept : KeptOrgan
        ending : str
            Its name, as ``guide.zip``.
        words : str
            Shown while it is made.
        making : callable
            As `walkboard.work.export.write_export`; runs in another process.
        """
        if self.working(desk, kept.id, ending) is not None:
            return
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="walkboard-"))
        file = self._folder / f"organ-{kept.id}.{ending}"
        change = desk.book.change()
        desk.jobs.start(
            KIND,
            words,
            making,
            desk.book.path,
            kept.id,
            file,
            then=partial(self._keep, kept.id, ending, file, change),
            subject=_subject(kept.id, ending),
        )

    def close(self) -> None:
        """Remove the files."""
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)

    def _keep(self, organ_id: int, ending: str, file: Path, change: int, _: object) -> None:
        self._made[organ_id, ending] = Export(file, change, datetime.now(UTC))


def _subject(organ_id: int, ending: str) -> str:
    return f"organ.{organ_id}.{ending}"
