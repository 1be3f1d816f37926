"""Long work: it runs elsewhere, reports its progress, and leaves nothing when stopped."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.desk.conftest import eventually
from tests.desk.labour import break_off, count, fail, niceness, sleep
from walkboard.book.rows.acting import recording_as, signed_in
from walkboard.desk.background.jobs import Job, Jobs, JobState


@pytest.fixture
def jobs() -> Iterator[Jobs]:
    seen: list[tuple[Job, ...]] = []
    made = Jobs(seen.append)
    made.seen = seen  # type: ignore[attr-defined]
    yield made
    made.close()


def state(jobs: Jobs, job: Job) -> JobState:
    found = jobs.job(job.id)
    assert found is not None
    return found.state


def test_work_returns_its_result_and_reports_progress(jobs: Jobs) -> None:
    results: list[int] = []
    job = jobs.start("count", "Counting", count, 50, then=results.append, subject="visit.3")
    eventually(lambda: state(jobs, job) is JobState.DONE)
    assert results == [50]
    shares = [all_[0].share for all_ in jobs.seen]  # type: ignore[attr-defined]
    assert shares == sorted(shares)
    assert 0.5 in shares
    assert shares[-1] == 1.0


def test_trouble_is_reported_in_the_user_s_words(jobs: Jobs) -> None:
    job = jobs.start("fail", "Failing", fail)
    eventually(lambda: state(jobs, job) is JobState.FAILED)
    found = jobs.job(job.id)
    assert found is not None
    assert found.trouble == "The recording is silent. Record again."


def test_work_that_breaks_off_is_reported_and_the_next_one_runs(jobs: Jobs) -> None:
    broken = jobs.start("break", "Breaking", break_off)
    after = jobs.start("count", "Counting", count, 3)
    eventually(lambda: state(jobs, after) is JobState.DONE)
    assert state(jobs, broken) is JobState.FAILED


def test_stopped_work_leaves_nothing_and_cleans_up(jobs: Jobs) -> None:
    results: list[object] = []
    cleaned: list[str] = []
    running = jobs.start(
        "sleep", "A", sleep, then=results.append, finally_=lambda: cleaned.append("running")
    )
    waiting = jobs.start("sleep", "B", sleep, finally_=lambda: cleaned.append("waiting"))
    eventually(lambda: jobs.all()[0].share == 0.5)
    assert jobs.stop(waiting.id)
    assert jobs.stop(running.id)
    assert not jobs.stop(running.id)
    eventually(lambda: cleaned == ["waiting", "running"])
    assert results == []
    assert state(jobs, running) is state(jobs, waiting) is JobState.STOPPED


def test_work_nobody_asked_for_gives_way(jobs: Jobs) -> None:
    results: list[int] = []
    background = jobs.start_in_background("sleep", "Of its own accord", sleep)
    behind = jobs.start_in_background("count", "So too", count, 3, then=results.append)
    eventually(lambda: jobs.all()[0].share == 0.5)
    asked = jobs.start("niceness", "Asked for", niceness, then=results.append)
    eventually(lambda: state(jobs, asked) is JobState.DONE)
    assert state(jobs, background) is state(jobs, behind) is JobState.STOPPED
    assert jobs.are_idle()
    after = jobs.start_in_background("niceness", "Again", niceness, then=results.append)
    eventually(lambda: state(jobs, after) is JobState.DONE)
    assert results[1] > results[0], "it runs at a lower priority than what was asked for"


def test_results_of_work_are_recorded_for_who_asked_for_it(jobs: Jobs) -> None:
    found: list[str | None] = []
    for person in ("ada", None, "ben"):
        with recording_as(person):
            job = jobs.start(
                "count", "Counting", count, 1, then=lambda _: found.append(signed_in())
            )
        eventually(lambda job=job: state(jobs, job) is JobState.DONE)  # type: ignore[misc]
    assert found == ["ada", None, "ben"]
