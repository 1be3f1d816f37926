"""The guide and the tuning files as one ZIP file each, to download and pass on."""

from __future__ import annotations

import io
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from walkboard.book.records import KeptOrgan, KeptVisit
from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.sheets.front_page.news import Language
from walkboard.work.guide.gather import READINGS_ONLY
from walkboard.work.guide.tuning import measured_tunings, tuning_files
from walkboard.work.guide.write import write_guide
from walkboard.work.pipe_offsets import latest_air
from walkboard.work.write_files import writing

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

VISITS_OFFERED = 12  # newest visits offered for a guide. Chosen.
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest time in ZIP: the same files give the same bytes


def write_guide_zip(
    progress: Callable[[float, float], None],
    folder: Path,
    organ_id: int,
    to: Path,
    *,
    visit_id: int,
    with_sound: bool,
    without: Sequence[str],
    rights: str,
    language: str,
) -> None:
    """Write the guide of a visit as a ZIP file, in another process.

    Parameters
    ----------
    progress : callable
        Called with stops done and stops in all.
    folder : Path
        The book's; it is opened here.
    organ_id : int
    to : Path
    visit_id : int
    with_sound, without, rights, language : see `walkboard.work.guide.write.write_guide`
    """
    from walkboard.work import open_book

    with open_book.opened(folder) as book, tempfile.TemporaryDirectory() as made:
        visit = book.visit(visit_id)
        organ = described_at(book, book.organ(organ_id), visit)
        write_guide(
            book,
            organ,
            visit,
            Path(made),
            with_sound=with_sound,
            without=without,
            rights=rights,
            language=Language(language),
            progress=progress,
        )
        files = sorted(Path(made).iterdir())
        with writing(to, what="guide") as stream:
            _zip(stream, ((file.name, file.read_bytes()) for file in files))


def tuning_zip(book: Book, organ: Organ, visit: KeptVisit) -> bytes:
    """The measured tuning of a visit, flues and reeds apart, as a ZIP file.

    Raises
    ------
    InputError
        If nothing was measured.
    """
    airs = list(latest_air(visit).celsius.values())
    air = sum(airs) / len(airs) if airs else organ.pitch.at_celsius
    files = tuning_files(measured_tunings(book, organ, visit, air))
    if not files:
        raise InputError(
            f"No tuning was measured at visit {visit.id}.", fix="Take in a recording of it first."
        )
    stream = io.BytesIO()
    _zip(stream, sorted(files.items()))
    return stream.getvalue()


def described_at(book: Book, kept: KeptOrgan, visit: KeptVisit) -> Organ:
    """The organ as it was described when the visit was opened."""
    versions = {one.version: one for one in book.organ_versions(kept.id)}
    return read_organ(versions.get(visit.organ_version, kept).description)


def visits_with_sound(book: Book, organ_id: int) -> dict[int, frozenset[str]]:
    """The latest visits with stops recorded alone, newest first, with those stops' ids.

    Uses the stated stops of recordings, not what was heard in them: years of visits would take a
    minute.
    """
    found: dict[int, frozenset[str]] = {}
    for visit in reversed(book.visits(organ_id)):
        labels = book.recording_labels(visit.id).values()
        stops = {
            label.drawn[0]
            for label in labels
            if len(label.drawn) == 1 and Path(label.file_name).suffix not in READINGS_ONLY
        }
        if stops:
            found[visit.id] = frozenset(stops)
        if len(found) == VISITS_OFFERED:
            break
    return found


def _zip(stream: BinaryIO, files: Iterable[tuple[str, bytes]]) -> None:
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in files:
            packed.writestr(zipfile.ZipInfo(name, _EPOCH), data, zipfile.ZIP_DEFLATED)
