"""One recording of the archive and all that its hearing depends on."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from walkboard import __version__
from walkboard.work.hear_recordings import ToHear, hear_walk_file

if TYPE_CHECKING:
    from walkboard.book.keeping import Book
    from walkboard.work.processes import Progress

FORM = 1  # of the result's bytes


@dataclass(frozen=True, slots=True)
class ArchiveJob:
    """A recording to be heard; goes to other processes and machines.

    Attributes
    ----------
    recording_id : int
        In the book; not part of the key: the same sound with the same label is heard once.
    sound : str
        Path, or URL in object storage.
    sha256 : str
        Of the sound.
    file_name : str
        Label of the recording.
    description : str
        Of the organ, as text.
    drawn : tuple of str
    air_celsius : float or None
    """

    recording_id: int
    sound: str
    sha256: str
    file_name: str
    description: str
    drawn: tuple[str, ...]
    air_celsius: float | None

    @property
    def key(self) -> str:
        """Of the result: the same whatever the engine, another if anything it rests on changes."""
        rests_on = [
            FORM, __version__, self.sha256, self.file_name, self.description,
            list(self.drawn), self.air_celsius,
        ]  # fmt: skip
        return hashlib.sha256(json.dumps(rests_on).encode()).hexdigest()


def jobs_of(book: Book, organ_id: int, sounds: str | None = None) -> Iterator[ArchiveJob]:
    """Every recording of an organ that counts, with its current label.

    Parameters
    ----------
    book : Book
    organ_id : int
    sounds : str or None
        Where the recordings are, as a folder or URL with the book's own file names under it; None:
        in the book.
    """
    versions = {kept.version: kept.description for kept in book.organ_versions(organ_id)}
    for visit in book.visits(organ_id):
        for kept in book.recordings(visit.id):
            path = book.sound_path(kept.id)
            if sounds is None:
                place = str(path.absolute())
            else:
                place = f"{sounds.rstrip('/')}/{path.parent.name}/{path.name}"
            yield ArchiveJob(
                kept.id,
                place,
                kept.sha256,
                kept.file_name,
                versions[kept.organ_version],
                kept.walk.drawn,
                kept.walk.air_celsius,
            )


def hear_job(progress: Progress | None, job: ArchiveJob) -> bytes:
    """Hear one recording.

    Returns
    -------
    bytes
        The walk as JSON, the same on every machine.

    Raises
    ------
    InputError
        If the sound cannot be read, is not what its hash says, or cannot be heard.
    """
    from walkboard.survey.hear.to_json import walk_to_json
    from walkboard.work.archive.sounds import at_hand

    with at_hand(job.sound, job.sha256) as path:
        walk = hear_walk_file(progress, ToHear(path, job.description, job.drawn, job.air_celsius))
    document = walk_to_json(walk)
    document["sound"]["file"] = job.file_name
    return json.dumps(document, ensure_ascii=False, allow_nan=False, sort_keys=True).encode()
