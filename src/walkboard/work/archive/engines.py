"""Where the work is done: on this machine's cores, or on a Dask cluster.

An engine gets jobs and gives each result, or what went wrong, as it comes. It writes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TypeAlias

from walkboard.errors import InputError, WalkboardError
from walkboard.work.archive.jobs import ArchiveJob, hear_job
from walkboard.work.processes import ProgressOfEach, finished, usable_cores

if TYPE_CHECKING:
    from distributed import Client

Outcome: TypeAlias = "tuple[int, bytes | WalkboardError]"
Engine: TypeAlias = Callable[[Sequence[ArchiveJob], ProgressOfEach | None], Iterator[Outcome]]

TRIES = 4  # of a job whose worker died: bad luck, not a bad job. Chosen.

ANSWER_S = 10.0  # to wait for a scheduler. Chosen.

# Dask sets this for its workers, and glibc then gives memory back to the system after every block:
# hearing takes twice as long (measured: 15.5 s against 7.1 s). The key is removed before a worker
# starts.
_TRIM = "MALLOC_TRIM_THRESHOLD_"


def engine_of(name: str, *, processes: int | None = None) -> Engine:
    """The engine of a name.

    Parameters
    ----------
    name : str
        ``local``; ``dask://HOST:PORT`` for a scheduler that runs; ``dask://local`` for a cluster
        that is started here and ends with the work.
    processes : int or None
        Jobs in parallel on this machine; None for one per core.

    Raises
    ------
    InputError
        If there is no such engine, or it is not installed or cannot be reached.
    """
    at_once = usable_cores() if processes is None else processes
    if name == "local":
        return lambda jobs, progress: _local(jobs, progress, at_once)
    if name.startswith("dask://"):
        address = name.removeprefix("dask://")
        return lambda jobs, progress: _dask(jobs, progress, address, at_once)
    raise InputError(
        f"There is no engine {name!r}.", fix="Give local, dask://local or dask://HOST:PORT."
    )


def _local(
    jobs: Sequence[ArchiveJob], progress: ProgressOfEach | None, at_once: int
) -> Iterator[Outcome]:
    from concurrent.futures.process import BrokenProcessPool

    for number, future in finished(hear_job, jobs, processes=at_once, progress=progress):
        try:
            yield number, future.result()
        except WalkboardError as error:
            yield number, error
        except BrokenProcessPool:
            yield number, _broke_off(jobs[number])


def _dask(
    jobs: Sequence[ArchiveJob], progress: ProgressOfEach | None, address: str, at_once: int
) -> Iterator[Outcome]:
    with _client(address, at_once) as client:
        from distributed import as_completed
        from distributed.scheduler import KilledWorker

        # Not pure: `Results` decides what is the same work, not Dask.
        futures = client.map(_quietly, jobs, pure=False, retries=TRIES - 1)
        number_of = {future: number for number, future in enumerate(futures)}
        try:
            for future in as_completed(futures):
                number = number_of[future]
                try:
                    outcome: bytes | WalkboardError = future.result()
                except KilledWorker:
                    outcome = _broke_off(jobs[number])
                if progress is not None:
                    progress(number, 1.0, 1.0)
                yield number, outcome
        except GeneratorExit:
            client.cancel(futures)
            raise


def _quietly(job: ArchiveJob) -> bytes | WalkboardError:
    """A recording that cannot be heard is an answer; only a lost worker is retried."""
    try:
        return hear_job(None, job)
    except WalkboardError as error:
        return error


@contextmanager
def _client(address: str, at_once: int) -> Iterator[Client]:
    try:
        import dask
        from distributed import Client, LocalCluster
    except ImportError:
        raise InputError(
            "Dask is not installed.", fix="Install the extra: pip install 'walkboard[archive]'."
        ) from None
    with dask.config.set({"distributed.nanny.pre-spawn-environ": _environment(dask.config)}):
        if address == "local":
            with (
                LocalCluster(
                    n_workers=at_once,
                    threads_per_worker=1,
                    dashboard_address="127.0.0.1:0",
                    host="127.0.0.1",
                ) as cluster,
                Client(cluster) as client,
            ):
                yield client
            return
        try:
            client = Client(f"tcp://{address}", timeout=ANSWER_S)
        except OSError as error:
            raise InputError(
                f"No Dask scheduler answers at {address}.", fix="Start one: dask scheduler."
            ) from error
        with client:
            yield client


def _environment(config: Any) -> dict[str, Any]:
    """What workers start with: Dask's own settings, without the one that makes them slow."""
    found = dict(config.get("distributed.nanny.pre-spawn-environ"))
    found.pop(_TRIM, None)
    found |= {"OMP_NUM_THREADS": 1, "OPENBLAS_NUM_THREADS": 1}
    return found


def _broke_off(job: ArchiveJob) -> WalkboardError:
    return InputError(
        "The work broke off.",
        where=job.file_name,
        fix="Hear it on its own; it may be too large for the machine's memory.",
    )
