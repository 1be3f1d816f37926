"""``walkboard archive``: old recordings heard again by an improved listener."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from walkboard.cli.options import BOOK, ORGAN
from walkboard.cli.printing import print_json, print_table, say
from walkboard.cli.progress import FilesBar
from walkboard.errors import BookError

if TYPE_CHECKING:
    from walkboard.book.keeping import Book
    from walkboard.work.archive.compare import Changes
    from walkboard.work.archive.jobs import ArchiveJob
    from walkboard.work.archive.results import Results

app = typer.Typer(
    help="Hear an archive again when the listener has improved; look at what changes, then adopt.",
    no_args_is_help=True,
)

RESULTS = typer.Option(
    None, "--results", metavar="FOLDER", help="Folder of finished work; default: in the book's own."
)
SOUNDS = typer.Option(
    None,
    "--sounds",
    metavar="PLACE",
    help="Folder or URL (s3://…) of the recordings; default: the book's own.",
)


@app.command("hear", epilog="Example: walkboard archive hear BOOK --engine dask://127.0.0.1:8786")
def hear(
    book: Path = BOOK,
    organ: str | None = ORGAN,
    engine: str = typer.Option(
        "local", "--engine", help="local, dask://local, or dask://HOST:PORT."
    ),
    at_once: int | None = typer.Option(
        None, "--at-once", min=1, metavar="N", help="Recordings processed at once on this machine."
    ),
    results: Path | None = RESULTS,
    sounds: str | None = SOUNDS,
) -> None:
    """Hear every recording that this version has not heard yet; the book is not changed."""
    from walkboard.work import open_book
    from walkboard.work.archive.engines import engine_of
    from walkboard.work.archive.hear_archive import hear_archive, not_heard

    chosen = engine_of(engine, processes=at_once)
    with open_book.opened(book) as opened:
        jobs = _jobs(opened, organ, sounds)
        there = _results(opened, results)
    with FilesBar("Hearing", [job.file_name for job in not_heard(jobs, there)]) as bar:
        run = hear_archive(jobs, there, chosen, bar.of_file)
    for job, error in run.failed:
        say(f"{job.file_name}: {error}")
    typer.echo(f"Heard: {run.heard}; known already: {run.known}; failed: {len(run.failed)}.")
    if run.failed:
        raise typer.Exit(1)


@app.command("changes", epilog="Example: walkboard archive changes BOOK")
def changes(
    book: Path = BOOK,
    organ: str | None = ORGAN,
    results: Path | None = RESULTS,
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Show what the new hearings would change in the book."""
    from walkboard.survey.hear.to_json import walk_to_json
    from walkboard.work import open_book
    from walkboard.work.archive.compare import compare

    with open_book.opened(book) as opened:
        jobs = _jobs(opened, organ, None)
        there = _results(opened, results)
        found = compare(
            (
                job.recording_id,
                walk_to_json(opened.recording(job.recording_id).walk),
                there.read(job.key),
            )
            for job in jobs
            if there.has(job.key)
        )
    if as_json:
        print_json(_changes_json(found, len(jobs)))
        return
    _print_changes(found, len(jobs))


@app.command("adopt", epilog="Example: walkboard archive adopt BOOK")
def adopt(
    book: Path = BOOK,
    organ: str | None = ORGAN,
    results: Path | None = RESULTS,
) -> None:
    """Replace the old hearings with the new ones; the old ones stay in the book's history."""
    from walkboard import __version__
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        jobs = _jobs(opened, organ, None)
        there = _results(opened, results)
        ready = [job for job in jobs if there.has(job.key)]
        if not ready:
            raise BookError(
                "No recording has a new result.", fix="Run walkboard archive hear first."
            )
        for job in ready:
            opened.take_in_again(job.recording_id, there.walk(job.key), program_version=__version__)
    typer.echo(f"Adopted: {len(ready)} of {len(jobs)} recordings.")


def _jobs(book: Book, organ: str | None, sounds: str | None) -> list[ArchiveJob]:
    from walkboard.work import open_book
    from walkboard.work.archive.jobs import jobs_of

    organs = (
        [kept.id for kept in book.organs()]
        if organ is None
        else [open_book.organ_of(book, organ)[0].id]
    )
    return [job for id_ in organs for job in jobs_of(book, id_, sounds)]


def _results(book: Book, folder: Path | None) -> Results:
    from walkboard.work.archive.results import FOLDER, Results

    return Results(book.path / FOLDER if folder is None else folder)


def _print_changes(found: Changes, of: int) -> None:
    typer.echo(
        f"{found.recordings} of {of} recordings have a new result; {found.changed} would change."
    )
    counts = found.counts()
    typer.echo(
        f"Of {found.readings} readings {counts['1']} moved by more than one sigma, "
        f"{counts['2']} by more than two, {counts['5']} by more than five. "
        f"New values: {found.gained}; values lost: {found.lost}."
    )
    for title, flags in (("appear", found.flags_gained), ("disappear", found.flags_lost)):
        if flags:
            words = ", ".join(f"{flag} {count}" for flag, count in sorted(flags.items()))
            typer.echo(f"Flags that {title}: {words}.")
    for number, before, after in found.heard_otherwise[:_MOST]:
        typer.echo(f"Recording {number}: {before} → {after}")
    if found.moved:
        print_table(
            ["recording", "pipe", "was", "is", "sigmas"],
            [
                [
                    str(one.recording_id),
                    one.pipe,
                    f"{one.cents[0]:+.3f}",
                    f"{one.cents[1]:+.3f}",
                    f"{one.sigmas:.1f}",
                ]
                for one in found.moved[:_MOST]
            ],
            right="rlrrr",
        )


_MOST = 20  # lines of each kind; --json has all


def _changes_json(found: Changes, of: int) -> dict[str, object]:
    return {
        "format": 1,
        "recordings": of,
        "compared": found.recordings,
        "changed": found.changed,
        "readings": found.readings,
        "moved_by_sigmas": found.counts(),
        "gained": found.gained,
        "lost": found.lost,
        "flags_gained": dict(found.flags_gained),
        "flags_lost": dict(found.flags_lost),
        "heard_otherwise": [
            {"recording": number, "before": before, "after": after}
            for number, before, after in found.heard_otherwise
        ],
        "moved": [
            {
                "recording": one.recording_id,
                "pipe": one.pipe,
                "cents": list(one.cents),
                "sigma_cents": list(one.sigma_cents),
                "sigmas": one.sigmas,
            }
            for one in found.moved
        ],
    }
