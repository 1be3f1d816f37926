"""Readiness is kept over a restart, knows when it is stale, and is recalculated automatically."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, cast

import pytest

from walkboard.book.cache.seen import SeenBook
from walkboard.book.records import FaultKind, Tick, TickState
from walkboard.desk.background.jobs import Job, JobState
from walkboard.desk.background.readiness import FOLDER, Readiness, rests_on
from walkboard.desk.frame.desk import Desk
from walkboard.organ.model import PipeRef
from walkboard.work.calendar.coming import ComingEvent
from walkboard.work.snapshot import opened_to_see

TODAY = date(2031, 3, 5)
FOUND = (
    ComingEvent(
        1, date(2031, 3, 7), False, True, 0.31, 0.97, "great.open8", 412.0, 57.5,
        None, date(2031, 3, 5), date(2031, 3, 6),
    ),
)  # fmt: skip


@dataclass
class WorkingByHand:
    """Jobs that are done when the test says so."""

    started: list[tuple[Job, Callable[[Any], None]]] = field(default_factory=list)
    states: dict[str, JobState] = field(default_factory=dict)

    def start(self, kind: str, title: str, *_: object, then: Any, subject: str) -> Job:
        job = Job(f"job-{len(self.started)}", kind, title, subject=subject)
        self.started.append((job, then))
        self.states[job.id] = JobState.RUNNING
        return job

    start_in_background = start

    def all(self) -> tuple[Job, ...]:
        return tuple(job for job, _ in self.started if self.states[job.id] is JobState.RUNNING)

    def job(self, job_id: str) -> Job:
        found = next(job for job, _ in self.started if job.id == job_id)
        return Job(found.id, found.kind, found.title, state=self.states[job_id])

    def finish(self) -> None:
        job, then = self.started[-1]
        self.states[job.id] = JobState.DONE
        then(FOUND)


@dataclass
class ADesk:
    book: SeenBook
    jobs: WorkingByHand


@pytest.fixture
def desk(village_book: Path, tmp_path: Path) -> Iterator[ADesk]:
    folder = shutil.copytree(village_book, tmp_path / "book")
    with opened_to_see(folder) as book:
        yield ADesk(book, WorkingByHand())


def follow(known: Readiness, desk: ADesk, today: date = TODAY) -> None:
    known.follow(cast(Desk, desk), today)


def test_it_is_worked_out_once_for_a_state_of_the_book(desk: ADesk) -> None:
    known = Readiness(desk.book.path)
    follow(known, desk)
    follow(known, desk)
    assert len(desk.jobs.started) == 1
    desk.jobs.finish()
    follow(known, desk)
    assert len(desk.jobs.started) == 1
    follow(known, desk, date(2031, 3, 6))
    assert len(desk.jobs.started) == 2, "another day looks ahead from another day"


def test_it_is_kept_over_a_restart(desk: ADesk) -> None:
    known = Readiness(desk.book.path)
    follow(known, desk)
    desk.jobs.finish()
    again = Readiness(desk.book.path)
    worked = again.known(1)
    assert worked is not None
    assert worked.found == FOUND
    assert worked.rests_on == rests_on(desk.book, desk.book.organ(1))
    follow(again, desk)
    assert len(desk.jobs.started) == 1


def test_a_tick_makes_it_old_and_a_fault_does_not(desk: ADesk) -> None:
    kept = desk.book.organ(1)
    before = rests_on(desk.book, kept)
    desk.book.report_fault(1, FaultKind.CIPHER, "Sounds by itself")
    desk.book.add_note(3, "The blower hums.")
    assert rests_on(desk.book, kept) == before
    at = datetime(2031, 3, 5, 12, 0, tzinfo=UTC)
    pipe = PipeRef(desk.book.best_readings(3).popitem()[0].rank, 1)
    desk.book.set_tick(Tick("a-tick-made-now", 3, pipe, TickState.DONE.value, "", at))
    after_tick = rests_on(desk.book, kept)
    assert after_tick != before
    desk.book.keep_event(1, "new", datetime(2031, 4, 1, 18, 0, tzinfo=UTC), "Recital")
    assert rests_on(desk.book, kept) != after_tick


@pytest.mark.parametrize(
    ("ended", "again"), [(JobState.STOPPED, 2), (JobState.FAILED, 1)], ids=["stopped", "failed"]
)
def test_what_gave_way_is_tried_again_and_what_failed_is_not(
    desk: ADesk, ended: JobState, again: int
) -> None:
    known = Readiness(desk.book.path)
    follow(known, desk)
    desk.jobs.states["job-0"] = ended
    follow(known, desk)
    assert len(desk.jobs.started) == again


def test_nothing_is_worked_out_for_events_that_are_past(desk: ADesk) -> None:
    follow(Readiness(desk.book.path), desk, date(2041, 1, 1))
    assert desk.jobs.started == []


@pytest.mark.parametrize("text", ["", "{}", '{"rests_on": 3}', "[1]"])
def test_an_unreadable_file_counts_as_missing(desk: ADesk, text: str) -> None:
    place = desk.book.path / FOLDER / "readiness-1.json"
    place.parent.mkdir(exist_ok=True)
    place.write_text(text)
    assert Readiness(desk.book.path).known(1) is None
