"""The archive heard by each engine: the same bytes, and how long beside one process.

Ten walks of the demo's synthesiser. Engines take turns, three rounds, medians; Dask's cluster is
started before the clock. With moto installed, once more from an S3-compatible server on loopback.
"""

from __future__ import annotations

import os
import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import soundfile
from tests.survey.organs import SMALL, rendered_walk

from walkboard.book.opening import create_book, open_book
from walkboard.organ.reading import read_organ
from walkboard.work.archive.engines import engine_of
from walkboard.work.archive.hear_archive import hear_archive
from walkboard.work.archive.jobs import ArchiveJob, hear_job, jobs_of
from walkboard.work.archive.results import Results
from walkboard.work.hear_recording import hear_file
from walkboard.work.open_book import now

STOP, WALKS, KEYS, ROUNDS = "great.octave4", 10, 20, 3


def build(folder: Path) -> Path:
    organ = read_organ(SMALL)
    with create_book(folder / "book", clock=now) as book:
        kept = book.add_organ(organ.name, SMALL)
        visit = book.open_visit(kept.id, "", minutes=60.0)
        for number in range(WALKS):
            path = folder / f"walk-{number}.flac"
            rendered = rendered_walk(organ, STOP, keys=KEYS, seed=number)
            soundfile.write(path, rendered.samples, rendered.sample_rate, subtype="PCM_24")
            walk = replace(hear_file(path, organ, (STOP,), 18.0), holds=())
            book.keep_recording(visit.id, path, walk, program_version="0")
    return folder / "book"


def main() -> None:
    from distributed import Client, LocalCluster

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with open_book(build(folder), clock=now) as book:
            jobs = list(jobs_of(book, 1))

        def cluster(workers: int) -> LocalCluster:
            return LocalCluster(
                n_workers=workers,
                threads_per_worker=1,
                dashboard_address="127.0.0.1:0",
                host="127.0.0.1",
            )

        import dask

        environment = dict(dask.config.get("distributed.nanny.pre-spawn-environ"))
        environment.pop("MALLOC_TRIM_THRESHOLD_", None)
        environment |= {"OMP_NUM_THREADS": 1, "OPENBLAS_NUM_THREADS": 1}
        with (
            dask.config.set({"distributed.nanny.pre-spawn-environ": environment}),
            cluster(1) as one,
            cluster(2) as two,
        ):
            for each in (one, two):  # what workers import is loaded before the clock starts
                with Client(each) as client:
                    client.run(_warm)

            def address(each: LocalCluster) -> str:
                return "dask://" + each.scheduler_address.removeprefix("tcp://")

            ways: dict[str, Callable[[list[ArchiveJob]], object]] = {
                "one process": lambda found: [hear_job(None, job) for job in found],
                "two processes": lambda found: _run(found, "local", folder, 2),
                "Dask, one worker": lambda found: _run(found, address(one), folder),
                "Dask, two workers": lambda found: _run(found, address(two), folder),
            }
            taken: dict[str, list[float]] = {way: [] for way in ways}
            for _ in range(ROUNDS):
                for way, work in ways.items():
                    begun_s = time.perf_counter()
                    work(jobs)
                    taken[way].append(time.perf_counter() - begun_s)
        base_s = statistics.median(taken["one process"])
        for way, times in taken.items():
            median_s = statistics.median(times)
            print(f"{way:20s} {median_s:6.1f} s   {median_s / base_s:5.2f} of one process")
        serial = {job.key: hear_job(None, job) for job in jobs}
        same = [
            {p.stem: p.read_bytes() for p in made.glob("*/*.json")} == serial
            for made in sorted(folder.glob("results-*"))
        ]
        print(f"bytes equal to one process: {sum(same)} of {len(same)} runs")
        _object_storage(jobs, serial, folder)


def _warm() -> None:
    import walkboard.survey.hear.to_json
    import walkboard.work.hear_recording  # noqa: F401


def _run(jobs: list[ArchiveJob], engine: str, folder: Path, processes: int | None = None) -> None:
    results = Results(Path(tempfile.mkdtemp(prefix="results-", dir=folder)))
    run = hear_archive(jobs, results, engine_of(engine, processes=processes))
    assert run.heard == len(jobs)


def _object_storage(jobs: list[ArchiveJob], serial: dict[str, bytes], folder: Path) -> None:
    try:
        from moto.server import ThreadedMotoServer
    except ImportError:
        print("object storage: moto is not installed")
        return
    import fsspec

    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0)
    server.start()
    try:
        _, port = server.get_host_and_port()
        os.environ |= {
            "AWS_ACCESS_KEY_ID": "key", "AWS_SECRET_ACCESS_KEY": "secret",
            "AWS_DEFAULT_REGION": "us-east-1", "FSSPEC_S3_ENDPOINT_URL": f"http://127.0.0.1:{port}",
        }  # fmt: skip
        fsspec.config.conf["s3"] = {"endpoint_url": f"http://127.0.0.1:{port}"}
        storage = fsspec.filesystem("s3")
        storage.mkdir("organs")
        there = []
        for job in jobs:
            path = Path(job.sound)
            storage.pipe(f"organs/{path.parent.name}/{path.name}", path.read_bytes())
            there.append(replace(job, sound=f"s3://organs/{path.parent.name}/{path.name}"))
        results = Results(folder / "from-s3")
        run = hear_archive(there, results, engine_of("local", processes=2))
        found = {p.stem: p.read_bytes() for p in results.folder.glob("*/*.json")}
        print(f"from object storage: {run.heard} of {len(there)}, bytes equal: {found == serial}")
    finally:
        server.stop()
