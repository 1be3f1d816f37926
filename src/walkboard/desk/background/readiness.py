"""Readiness for the next events: kept over a restart, and recalculated automatically.

It is stored in the book's folder, ``worked-out/readiness-N.json``, with a hash of its input. If the
input has changed and then nothing for a while, it is recalculated in the background; a button on
the calendar's page does it at once.
"""

from __future__ import annotations

import asyncio
import hashlib
import os
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import TypeAdapter, ValidationError

from walkboard import __version__
from walkboard.book.records import KeptOrgan
from walkboard.book.rows.counting import Part
from walkboard.desk.background.jobs import Job, JobState
from walkboard.desk.text.catalogue import say
from walkboard.errors import WalkboardError
from walkboard.work.calendar.coming import ComingEvent, coming_events, next_events

if TYPE_CHECKING:
    from walkboard.book.cache.seen import SeenBook
    from walkboard.desk.background.needs import BookAndJobs

KIND = "readiness"
FOLDER = "worked-out"  # shared with what `walkboard.work` learns; may be removed at any time
QUIET_S = 120.0  # without a change of the book
_LOOK_S = 5.0
_OF_A_VISIT = (Part.CONDITIONS, Part.HEARINGS, Part.TICKS, Part.PLANS)


@dataclass(frozen=True, slots=True)
class Worked:
    """A stored result.

    Attributes
    ----------
    rests_on : str
        Hash of its input.
    today : date
        The day it looks ahead from.
    at : datetime
    found : tuple of ComingEvent
    """

    rests_on: str
    today: date
    at: datetime
    found: tuple[ComingEvent, ...]


_SHAPE = TypeAdapter(Worked)


class Readiness:
    """The readiness of each organ.

    Parameters
    ----------
    folder : Path
        The book's.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder / FOLDER
        self._known: dict[int, Worked | None] = {}
        self._tried: dict[int, tuple[str, date, str]] = {}

    def known(self, organ_id: int) -> Worked | None:
        """The last result; None if there is none, or its file cannot be read."""
        if organ_id not in self._known:
            try:
                self._known[organ_id] = _SHAPE.validate_json(self._file(organ_id).read_bytes())
            except (OSError, ValidationError):
                self._known[organ_id] = None
        return self._known[organ_id]

    def working(self, desk: BookAndJobs, organ_id: int) -> Job | None:
        """The work in progress for an organ."""
        subject = f"organ.{organ_id}"
        mine = (job for job in desk.jobs.all() if job.kind == KIND and job.subject == subject)
        return next((job for job in mine if not job.is_over), None)

    def work_out(self, desk: BookAndJobs, kept: KeptOrgan, today: date) -> None:
        """Calculate it now, on request."""
        self._begin(desk.jobs.start, desk, kept, today)

    def follow(self, desk: BookAndJobs, today: date) -> None:
        """Recalculate stale results in the background; once for each state of the book."""
        for kept in desk.book.organs():
            known, resting = self.known(kept.id), rests_on(desk.book, kept)
            is_so = known is not None and (known.rests_on, known.today) == (resting, today)
            if is_so or self._was_tried(desk, kept.id, resting, today):
                continue
            if not desk.book.visits(kept.id) or not next_events(desk.book.events(kept.id), today):
                continue
            self._begin(desk.jobs.start_in_background, desk, kept, today)

    def _begin(
        self, start: Callable[..., Job], desk: BookAndJobs, kept: KeptOrgan, today: date
    ) -> None:
        resting = rests_on(desk.book, kept)
        job = start(
            KIND,
            say("calendar.working"),
            coming_events,
            desk.book.path,
            kept.id,
            today,
            then=partial(self._keep, kept.id, resting, today),
            subject=f"organ.{kept.id}",
        )
        self._tried[kept.id] = (resting, today, job.id)

    def _was_tried(self, desk: BookAndJobs, organ_id: int, resting: str, today: date) -> bool:
        """Whether it was already tried from the same state; a stopped job is tried again."""
        tried = self._tried.get(organ_id)
        if tried is None or tried[:2] != (resting, today):
            return False
        job = desk.jobs.job(tried[2])
        return job is None or job.state is not JobState.STOPPED

    def _keep(
        self, organ_id: int, resting: str, today: date, found: tuple[ComingEvent, ...]
    ) -> None:
        worked = Worked(resting, today, datetime.now(UTC), found)
        self._known[organ_id] = worked
        place = self._file(organ_id)
        part = place.with_suffix(".part")
        with suppress(OSError):  # a read-only folder: keep the result in memory
            place.parent.mkdir(exist_ok=True)
            part.write_bytes(_SHAPE.dump_json(worked))
            os.replace(part, place)

    def _file(self, organ_id: int) -> Path:
        return self._folder / f"readiness-{organ_id}.json"


def rests_on(book: SeenBook, kept: KeptOrgan) -> str:
    """Hash of everything in the book that an organ's readiness depends on; not faults or notes."""

    def work_out() -> str:
        visits = [
            (v.id, v.opened_at, v.minutes, book.marks(v.id).of(_OF_A_VISIT))
            for v in book.visits(kept.id)
        ]
        facts = (
            __version__,
            book.organ(kept.id).version,
            book.events(kept.id),
            visits,
            book.weights(kept.id),
        )
        return hashlib.sha256(repr(facts).encode()).hexdigest()

    return book.seen(("readiness rests on", kept.id), work_out)


async def keep_worked_out(
    readiness: Readiness,
    desk: BookAndJobs,
    today: Callable[[], date],
    is_sounding: Callable[[], bool],
) -> None:
    """Follow the book for as long as the desk is open, except while a live session runs."""
    seen, quiet_s = -1, 0.0
    while True:
        await asyncio.sleep(_LOOK_S)
        with suppress(WalkboardError, OSError):
            change = desk.book.change()
            # Nothing during a live session: it must not miss a block.
            busy = is_sounding()
            quiet_s = 0.0 if busy or change != seen else quiet_s + _LOOK_S
            seen = change
            if quiet_s >= QUIET_S and desk.jobs.are_idle():
                await asyncio.to_thread(readiness.follow, desk, today())
