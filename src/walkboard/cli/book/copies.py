"""``walkboard book``: exports, imports, copies, and copies taken along."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from walkboard.cli.options import BOOK, ORGAN
from walkboard.cli.printing import say
from walkboard.cli.progress import Bar

if TYPE_CHECKING:
    from walkboard.book.keeping import Book
    from walkboard.book.merging.merging import Merged

DATABASE = typer.Option(
    None,
    "--database",
    metavar="ADDRESS",
    help="An empty PostgreSQL database for the records, as postgresql://USER@HOST/DATABASE; "
    "default: a file in the folder.",
)


def export(
    book: Path = BOOK,
    to: Path = typer.Argument(
        ..., metavar="FILE", help="The extension sets the format: .json, .xlsx, .csv, .ics."
    ),
    table: str | None = typer.Option(
        None,
        "--table",
        help="For a .csv: visits, conditions, readings, works, faults or events.",
    ),
    organ: str | None = ORGAN,
) -> None:
    """Write all records as JSON, or an organ's tables or calendar; recordings are not included."""
    from walkboard.work import export as export_work
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        if to.suffix.lower() == ".json":
            opened.export_json(to)
        else:
            kept, _ = open_book.organ_of(opened, organ)
            export_work.export_file(opened, kept, to, table_name=table)
    typer.echo(f"Wrote {to}.")


def import_(
    source: Path = typer.Argument(..., metavar="FILE", help="A file written by 'book export'."),
    book: Path = BOOK,
    recordings: Path | None = typer.Option(
        None, "--recordings", help="The old book's recordings folder."
    ),
    database: str | None = DATABASE,
) -> None:
    """Create a book from an export."""
    from walkboard.book.importing import import_book
    from walkboard.work import open_book

    mention_leftovers(book)
    with import_book(
        source, book, clock=open_book.now, address=database, recordings=recordings
    ) as made:
        typer.echo(f"Made {made.path}.")


def copy(
    book: Path = BOOK,
    to: Path = typer.Argument(..., metavar="FOLDER", help="The new folder; must not exist."),
) -> None:
    """Copy the whole book to a new folder, even while it is in use; checks every recording.

    For a book in a PostgreSQL database, the copy holds a backup for pg_restore.
    """
    from walkboard.work import open_book

    mention_leftovers(to)
    with open_book.opened(book) as opened, Bar("Copying") as bar:
        problems = opened.copy_to(to, bar)
    for problem in problems:
        typer.echo(str(problem))
    if problems:
        raise typer.Exit(1)
    typer.echo(f"Copied to {to}.")


def take_along(
    book: Path = BOOK,
    folder: Path = typer.Argument(
        ..., metavar="FOLDER", help="The copy: a new folder, or one taken along earlier."
    ),
    organ: list[str] = typer.Option(
        [], "--organ", help="An organ to take along; may be repeated. Default: all."
    ),
    name: str | None = typer.Option(
        None, "--name", help='What the copy is called where its work is shown: "Chapel laptop".'
    ),
    sound: bool = typer.Option(
        False, "--sound", help="Take the recordings along too, not only what was heard in them."
    ),
    person: str | None = typer.Option(
        None,
        "--for",
        metavar="NAME",
        help="Who works in the copy: what is recorded there names them (docs/people.md).",
    ),
) -> None:
    """Make a copy of some organs to work in elsewhere, or bring such a copy up to date."""
    from walkboard.work import take_along as work

    with Bar("Copying") as bar:
        taken = work.take_along(
            book,
            folder,
            organs=organ,
            name=name,
            with_sound=sound,
            person=person,
            progress=bar,
        )
    _show_news(taken.merged)
    what = "is up to date" if taken.was_there else "is ready to take along"
    typer.echo(f"{folder} {what}, as {taken.device!r}.")
    say(f"When you are back: walkboard book bring-back {folder} {book}")
    if taken.merged.problems:
        raise typer.Exit(1)


def bring_back(
    folder: Path = typer.Argument(..., metavar="FOLDER", help="The copy that was taken along."),
    book: Path = BOOK,
    dry_run: bool = typer.Option(
        False, "--dry-run", help="Show what would be added, and add nothing."
    ),
) -> None:
    """Add to the book what was done in a copy of it; nothing in either is changed or lost."""
    from walkboard.work import open_book
    from walkboard.work import take_along as work

    with Bar("Adding") as bar:
        merged = work.bring_back(folder, book, dry_run=dry_run, progress=bar)
    _show_news(merged)
    if dry_run:
        say("Nothing was added; leave out --dry-run to add it.")
        return
    with open_book.opened(book) as opened:
        for organ in opened.organs():
            for words in _fork_lines(opened, organ.id):
                typer.echo(f"{organ.name}: {words}")
    if merged.problems:
        raise typer.Exit(1)


def device(
    book: Path = BOOK,
    name: str | None = typer.Option(None, "--name", help='A new name, as "Chapel laptop".'),
) -> None:
    """Show or change the name under which work in this copy of the book is shown."""
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        own = opened.device() if name is None else opened.name_device(name)
        others = {uid: other for uid, other in opened.devices().items() if uid != own.uid}
    typer.echo(f"This copy is {own.name!r}.")
    if others:
        typer.echo(f"Work has arrived from: {', '.join(sorted(map(repr, others.values())))}.")


_PLURALS = {"hearing": "analyses of recordings", "fault_mending": "fixes", "tick": "ticks"}


def _show_news(merged: Merged) -> None:
    for organ in merged.organs:
        counts = ", ".join(
            f"{count} {_PLURALS.get(table, table.replace('_', ' '))}"
            for table, count in organ.facts.items()
        )
        typer.echo(f"{organ.name}{' (new)' if organ.is_new else ''}: {counts}")
        for there, here in organ.visits.items():
            if there != here:
                typer.echo(f"  Visit {there} of the copy is visit {here} here.")
    if not merged.organs:
        typer.echo("There is nothing to add.")
    for problem in merged.problems:
        typer.echo(str(problem))


def _fork_lines(book: Book, organ_id: int) -> list[str]:
    """What waits for someone to decide, a line each."""
    from walkboard.work.forks import sentence

    return [sentence(fork) for fork in book.forks(organ_id) if not fork.kind.is_settled]


def mention_leftovers(to: Path) -> None:
    """Report what a killed command left where a book is being made."""
    from walkboard.book.files.leftovers import leftovers
    from walkboard.errors import BookError

    try:
        found = leftovers(to)
    except BookError:
        return  # making the book says what is wrong with the folder
    if found:
        size = sum(one.bytes for one in found) / 1e6
        say(
            f"A killed command left {size:.1f} MB."
            f" List and remove it: walkboard book clean {to} --remove"
        )
