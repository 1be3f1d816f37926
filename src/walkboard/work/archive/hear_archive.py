"""Hears every recording without a result; finished work is never repeated."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from walkboard.errors import WalkboardError
from walkboard.work.archive.engines import Engine
from walkboard.work.archive.jobs import ArchiveJob
from walkboard.work.archive.results import Results
from walkboard.work.processes import ProgressOfEach


@dataclass(frozen=True, slots=True)
class ArchiveRun:
    """The outcome.

    Attributes
    ----------
    heard : int
        Now.
    known : int
        Already had a result, or the same sound and label occurred twice.
    failed : tuple of (ArchiveJob, WalkboardError)
    """

    heard: int
    known: int
    failed: tuple[tuple[ArchiveJob, WalkboardError], ...]


def not_heard(jobs: Sequence[ArchiveJob], results: Results) -> list[ArchiveJob]:
    """The jobs without a result, each recording once, in the order they are heard in."""
    missing: dict[str, ArchiveJob] = {}
    for job in jobs:
        if not results.has(job.key):
            missing.setdefault(job.key, job)
    return list(missing.values())


def hear_archive(
    jobs: Sequence[ArchiveJob],
    results: Results,
    engine: Engine,
    progress: ProgressOfEach | None = None,
) -> ArchiveRun:
    """Hear what is missing; each result is stored as soon as it arrives.

    Raises
    ------
    InputError
        If a result cannot be written, or the engine cannot be reached. Stored results stay.
    """
    to_hear = not_heard(jobs, results)
    failed, heard = [], 0
    for number, outcome in engine(to_hear, progress) if to_hear else ():
        job = to_hear[number]
        if isinstance(outcome, WalkboardError):
            failed.append((job, outcome))
        else:
            results.write(job.key, outcome)
            heard += 1
    return ArchiveRun(heard, len(jobs) - len(to_hear), tuple(failed))
