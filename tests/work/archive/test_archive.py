"""An archive heard again: the same bytes whichever engine does the work, and nothing done twice."""

from __future__ import annotations

import json
import os
import signal
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
import soundfile

from tests.commands import Run
from tests.survey.organs import SMALL, rendered_walk
from walkboard.book.keeping import Book
from walkboard.book.opening import create_book, open_book
from walkboard.errors import InputError
from walkboard.organ.reading import read_organ
from walkboard.work.archive.compare import compare
from walkboard.work.archive.engines import Outcome, engine_of
from walkboard.work.archive.hear_archive import hear_archive
from walkboard.work.archive.jobs import ArchiveJob, hear_job, jobs_of
from walkboard.work.archive.results import FOLDER, Results
from walkboard.work.hear_recording import hear_file
from walkboard.work.open_book import now
from walkboard.work.processes import ProgressOfEach

STOP = "great.octave4"


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with three short walks, heard by an older program."""
    folder = tmp_path_factory.mktemp("archive")
    organ = read_organ(SMALL)
    with create_book(folder / "book", clock=now) as book:
        kept = book.add_organ(organ.name, SMALL)
        visit = book.open_visit(kept.id, "", minutes=60.0)
        for number, keys in enumerate((3, 1, 2)):
            path = folder / f"walk-{number}.flac"
            rendered = rendered_walk(organ, STOP, keys=keys, seed=number)
            soundfile.write(path, rendered.samples, rendered.sample_rate, subtype="PCM_24")
            walk = hear_file(path, organ, (STOP,), 18.0)
            book.keep_recording(visit.id, path, walk, program_version="0.0.1")
    return folder


@pytest.fixture
def book(place: Path) -> Iterator[Book]:
    with open_book(place / "book", clock=now) as opened:
        yield opened


@pytest.fixture
def jobs(book: Book) -> list[ArchiveJob]:
    return list(jobs_of(book, 1))


@pytest.fixture(scope="module")
def serial(place: Path) -> dict[str, bytes]:
    """Each result by key, heard one after the other in this process."""
    with open_book(place / "book", clock=now) as opened:
        return {job.key: hear_job(None, job) for job in jobs_of(opened, 1)}


def contents(results: Results) -> dict[str, bytes]:
    return {path.stem: path.read_bytes() for path in results.folder.glob("*/*.json")}


def test_two_processes_write_what_one_writes_and_nothing_is_heard_twice(
    jobs: list[ArchiveJob], serial: dict[str, bytes], tmp_path: Path
) -> None:
    results = Results(tmp_path)
    results.write(jobs[1].key, serial[jobs[1].key])
    twice = [*jobs, replace(jobs[0], recording_id=9)]
    run = hear_archive(twice, results, engine_of("local", processes=2))
    assert (run.heard, run.known, run.failed) == (2, 2, ())
    assert contents(results) == serial
    again = hear_archive(twice, results, _never)
    assert (again.heard, again.known) == (0, 4)


def test_dask_writes_what_one_process_writes(
    jobs: list[ArchiveJob], serial: dict[str, bytes], tmp_path: Path
) -> None:
    results = Results(tmp_path)
    run = hear_archive(jobs, results, engine_of("dask://local", processes=2))
    assert (run.heard, run.failed) == (3, ())
    assert contents(results) == serial


@pytest.mark.long
def test_a_worker_killed_half_way_costs_nothing_but_time(
    jobs: list[ArchiveJob], serial: dict[str, bytes], tmp_path: Path
) -> None:
    from distributed import Client, LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address="127.0.0.1:0", host="127.0.0.1"
    ) as cluster:
        address = cluster.scheduler_address.removeprefix("tcp://")
        results = Results(tmp_path)
        engine = engine_of(f"dask://{address}")

        def killing(
            jobs: Sequence[ArchiveJob], progress: ProgressOfEach | None
        ) -> Iterator[Outcome]:
            outcomes = engine(jobs, progress)
            yield next(outcomes)
            with Client(cluster) as client:
                pids = list(client.run(os.getpid).values())
            os.kill(pids[0], signal.SIGKILL)
            yield from outcomes

        run = hear_archive(jobs, results, killing)
    assert (run.heard, run.failed) == (3, ())
    assert contents(results) == serial


def test_what_a_result_rests_on_is_in_its_key(jobs: list[ArchiveJob], monkeypatch) -> None:
    one = jobs[0]
    others = [
        replace(one, sha256="0" * 64),
        replace(one, drawn=("great.principal8",)),
        replace(one, air_celsius=18.5),
        replace(one, description=one.description + "\n# changed"),
    ]
    assert len({one.key, *(job.key for job in others)}) == 5
    assert replace(one, recording_id=99, sound="elsewhere").key == one.key
    before = one.key
    monkeypatch.setattr("walkboard.work.archive.jobs.__version__", "99.0")
    assert one.key != before


def test_another_recording_under_the_same_name_is_refused(
    jobs: list[ArchiveJob], tmp_path: Path
) -> None:
    other = tmp_path / "other.flac"
    other.write_bytes(Path(jobs[0].sound).read_bytes() + b"x")
    run = hear_archive(
        [replace(jobs[0], sound=str(other)), replace(jobs[1], sound=str(tmp_path / "gone.flac"))],
        Results(tmp_path / "results"),
        engine_of("local", processes=1),
    )
    assert run.heard == 0
    words = [str(error) for _, error in run.failed]
    assert any("its hash differs" in text for text in words)
    assert any("gone.flac" in text for text in words)
    assert contents(Results(tmp_path / "results")) == {}


def test_sound_comes_from_object_storage(
    book: Book, jobs: list[ArchiveJob], serial: dict[str, bytes]
) -> None:
    """fsspec's own in-memory storage stands in for a bucket."""
    import fsspec

    storage = fsspec.filesystem("memory")
    for path in (book.path / "recordings").glob("*/*"):
        storage.pipe(f"/bucket/{path.parent.name}/{path.name}", path.read_bytes())
    there = list(jobs_of(book, 1, "memory://bucket"))
    assert [job.key for job in there] == [job.key for job in jobs]
    assert hear_job(None, there[1]) == serial[there[1].key]
    with pytest.raises(InputError, match="cannot be read"):
        hear_job(None, replace(there[1], sound="memory://bucket/none.flac"))


def test_an_engine_that_does_not_exist_is_refused() -> None:
    with pytest.raises(InputError, match="no engine"):
        engine_of("spark://x")


def test_a_scheduler_that_does_not_answer_is_named(
    jobs: list[ArchiveJob], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("walkboard.work.archive.engines.ANSWER_S", 0.5)
    with pytest.raises(InputError, match="No Dask scheduler answers at"):
        hear_archive(jobs, Results(tmp_path), engine_of("dask://127.0.0.1:9"))


def test_changes_are_counted_in_sigmas_flags_and_pipes(
    jobs: list[ArchiveJob], serial: dict[str, bytes]
) -> None:
    before = json.loads(serial[jobs[0].key])
    after = json.loads(serial[jobs[0].key])
    readings = [hold["readings"][0] for hold in after["holds"]]
    readings[0]["cents"] += 3.0 * readings[0]["sigma_cents"]
    readings[1]["cents"] -= 0.5 * readings[1]["sigma_cents"]
    readings[1]["flags"] = [*readings[1]["flags"], "unstable"]
    readings[2]["cents"] = None
    after["heard"] = {**(after["heard"] or {}), "sentence": "Heard: another stop."}
    found = compare([(7, before, after), (8, before, before)])
    assert (found.recordings, found.changed, found.readings) == (2, 1, 5)
    (moved,) = found.moved
    assert (moved.recording_id, moved.pipe) == (7, readings[0]["pipe"])
    assert moved.sigmas == pytest.approx(3.0)
    assert found.counts() == {"1": 1, "2": 1, "5": 0}
    assert (found.gained, found.lost) == (0, 1)
    assert dict(found.flags_gained) == {"unstable": 1}
    assert [number for number, _, _ in found.heard_otherwise] == [7]
    back = compare([(7, after, before)])
    assert (back.gained, back.lost) == (1, 0)
    assert dict(back.flags_lost) == {"unstable": 1}


def test_hear_look_and_adopt_by_the_command_line(run: Run, place: Path) -> None:
    folder = place / "book"
    assert run("archive", "adopt", folder).code == 2  # nothing heard yet
    ran = run("archive", "hear", folder, "--at-once", 1)
    assert (ran.code, ran.out.split(";")[0]) == (0, "Heard: 3")
    assert "Heard: 0; known already: 3" in run("archive", "hear", folder).out
    looked = run("archive", "changes", folder, "--json").json
    assert (looked["compared"], looked["recordings"], looked["changed"]) == (3, 3, 0)
    assert (
        "3 of 3 recordings have a new result; 0 would change"
        in run("archive", "changes", folder).out
    )
    with open_book(folder, clock=now) as book:
        recording = next(iter(book.recordings(1)))
        assert recording.program_version == "0.0.1"
    assert run("archive", "adopt", folder).out == "Adopted: 3 of 3 recordings.\n"
    with open_book(folder, clock=now) as book:
        adopted = book.recording(recording.id)
        assert adopted.program_version != "0.0.1"
        assert adopted.walk == recording.walk
        assert len(book.hearings(recording.id)) == 2
    path = next((folder / FOLDER).glob("*/*.json"))
    path.write_text("{", encoding="utf-8")
    assert "Remove it and hear again" in run("archive", "changes", folder).err


def _never(jobs: Sequence[ArchiveJob], _: object) -> Iterator[Outcome]:
    assert not jobs, "nothing is left to hear"
    yield from ()
