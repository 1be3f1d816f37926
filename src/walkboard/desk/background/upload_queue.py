"""Recordings that arrived but are not heard yet, stored in the book's folder until they are.

A restart of the desk loses none: they are heard when the visit is next opened. One that cannot be
heard stays with the reason, to be tried with other stops or removed.
"""

from __future__ import annotations

import asyncio
import os
import re
import secrets
import shutil
import threading
from collections.abc import AsyncIterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict

from walkboard.book.files.sounds import sha256_of
from walkboard.desk.background.jobs import Job
from walkboard.errors import InputError, SoundError
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.work.hear_recordings import ToHear, hear_walk_file
from walkboard.work.write_files import write_file

if TYPE_CHECKING:
    from walkboard.book.records import KeptVisit
    from walkboard.desk.background.needs import BookAndJobs

FOLDER = "not-yet-heard"
KIND = "walk"
_LABEL = "walk.json"
_SOUND = "sound"
_LONGEST_NAME = 120
_starting = threading.Lock()


class _Label(BaseModel):
    model_config = ConfigDict(extra="forbid")
    visit: int
    name: str
    drawn: tuple[str, ...]
    air_celsius: float | None
    instead: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Incoming:
    """One recording waiting to be heard.

    Attributes
    ----------
    id : str
    visit_id : int
    name : str
        Name of the file as sent.
    drawn : tuple of str
    air_celsius : float or None
        Air of these pipes; None for the air noted at the visit [°C].
    folder : Path
    instead : tuple of str
        The stops heard in it, where it was refused for them.
    """

    id: str
    visit_id: int
    name: str
    drawn: tuple[str, ...]
    air_celsius: float | None
    folder: Path
    instead: tuple[str, ...] = ()

    @property
    def path(self) -> Path:
        """Of the sound."""
        return self.folder / _SOUND / self.name

    @property
    def subject(self) -> str:
        """Of its job."""
        return f"visit.{self.visit_id}.{self.id}"


def plain_name(name: str) -> str:
    """The last part of a file name, without invalid characters.

    Parameters
    ----------
    name : str
        As sent by a browser.
    """
    last = re.split(r"[/\\]", name)[-1]
    kept = "".join(c for c in last if c.isprintable() and c not in '<>:"|?*').strip(" .")
    return kept[-_LONGEST_NAME:] or "recording"


def coming_in(
    book: Path, visit_id: int, name: str, *, drawn: tuple[str, ...], air_celsius: float | None
) -> Incoming:
    """A recording about to arrive; nothing is stored yet."""
    id_ = secrets.token_hex(8)
    return Incoming(id_, visit_id, plain_name(name), drawn, air_celsius, book / FOLDER / id_)


async def take(coming: Incoming, stream: AsyncIterator[bytes]) -> None:
    """Store the upload as a file in the book's folder.

    Raises
    ------
    InputError
        If nothing arrived, or the disk is full.
    """
    folder = coming.folder
    try:
        # Without parents: a book that was moved away must not come back as a folder.
        folder.parent.mkdir(exist_ok=True)
        folder.mkdir()
        (folder / _SOUND).mkdir()
        size = 0
        with coming.path.open("wb") as file:
            async for chunk in stream:
                size += len(chunk)
                file.write(chunk)
            file.flush()
            # The phone deletes its own once this one is reported as here.
            await asyncio.to_thread(os.fsync, file.fileno())
        if not size:
            raise InputError("The recording is empty.", where=coming.name, fix="Record again.")
        _put_label(coming)  # last, so that its presence means the upload is complete
    except BaseException as error:
        shutil.rmtree(folder, ignore_errors=True)
        if isinstance(error, OSError):
            raise InputError(
                f"The recording cannot be kept: {error.strerror}.",
                where=str(folder),
                fix="Make room on the disk, and send it again.",
            ) from None
        raise


def _put_label(coming: Incoming) -> None:
    label = _Label(
        visit=coming.visit_id,
        name=coming.name,
        drawn=coming.drawn,
        air_celsius=coming.air_celsius,
        instead=coming.instead,
    )
    write_file(label.model_dump_json().encode(), coming.folder / _LABEL, what="label")


def waiting(book: Path, visit_id: int) -> tuple[Incoming, ...]:
    """The recordings of a visit not heard yet, in order of arrival."""
    found: list[tuple[float, Incoming]] = []
    for label_at in (book / FOLDER).glob(f"*/{_LABEL}"):
        with suppress(OSError, ValueError):
            label = _Label.model_validate_json(label_at.read_text(encoding="utf-8"))
            if label.visit == visit_id:
                folder = label_at.parent
                coming = Incoming(
                    folder.name,
                    label.visit,
                    plain_name(label.name),
                    label.drawn,
                    label.air_celsius,
                    folder,
                    label.instead,
                )
                found.append((label_at.stat().st_mtime, coming))
    return tuple(coming for _, coming in sorted(found, key=lambda pair: (pair[0], pair[1].id)))


def put_away(coming: Incoming) -> None:
    """Discard a waiting recording."""
    shutil.rmtree(coming.folder, ignore_errors=True)


def job_of(desk: BookAndJobs, coming: Incoming) -> Job | None:
    """The newest job for a recording in this run of the desk."""
    found = [job for job in desk.jobs.all() if job.subject == coming.subject]
    return found[-1] if found else None


def start_waiting(desk: BookAndJobs, visit: KeptVisit) -> None:
    """Start hearing waiting recordings without a job in this run of the desk."""
    with _starting:
        for coming in waiting(desk.book.path, visit.id):
            if job_of(desk, coming) is None:
                hear(desk, visit, coming)


def accept(desk: BookAndJobs, visit: KeptVisit, coming: Incoming) -> None:
    """Hear a refused recording again as the stops that were heard in it."""
    job = job_of(desk, coming)
    if coming.instead and (job is None or job.is_over):  # pressed twice, it is being heard
        relabelled = replace(coming, drawn=coming.instead, instead=())
        _put_label(relabelled)
        hear(desk, visit, relabelled)


def hear(desk: BookAndJobs, visit: KeptVisit, coming: Incoming) -> Job:
    """Hear a recording in a separate process, and store it with what was heard."""
    from walkboard.organ.reading import read_organ  # noqa: PLC0415 - slow to load
    from walkboard.work.remembered import besides, earlier_sounds  # noqa: PLC0415 - slow to load

    versions = desk.book.organ_versions(visit.organ_id)
    description = next(v for v in versions if v.version == visit.organ_version).description
    earlier = earlier_sounds(desk.book, visit.organ_id, read_organ(description), coming.drawn)

    def keep(walk: HeardWalk) -> None:
        from walkboard.work.second_thoughts import stops_heard  # noqa: PLC0415 - slow to load
        from walkboard.work.visit import keep_heard  # noqa: PLC0415 - slow to load

        try:
            keep_heard(desk.book, visit, coming.path, walk)
        except SoundError:
            heard = stops_heard(read_organ(description), walk)
            if heard is not None:
                _put_label(replace(coming, instead=heard))
            raise
        put_away(coming)

    return desk.jobs.start(
        KIND,
        coming.name,
        hear_walk_file,
        ToHear(
            coming.path,
            description,
            coming.drawn,
            coming.air_celsius,
            before=besides(earlier, sha256_of(coming.path)) if earlier else {},
        ),
        then=keep,
        subject=coming.subject,
    )
