"""``walkboard book``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from walkboard.book.keeping import Book
    from walkboard.book.merging.merging import Merged

from walkboard.cli.options import BOOK, ORGAN
from walkboard.cli.printing import print_json, print_table, say
from walkboard.cli.progress import Bar

app = typer.Typer(
    help="The tuning book: a folder with one database and the recordings.", no_args_is_help=True
)


_DATABASE = typer.Option(
    None,
    "--database",
    metavar="ADDRESS",
    help="An empty PostgreSQL database for the records, as postgresql://USER@HOST/DATABASE; "
    "default: a file in the folder.",
)


@app.command(
    "new",
    epilog="Example: walkboard book new ~/harbour-hall; or ... new /srv/organs --database "
    "postgresql://tuning@db.example.org/organs",
)
def new(book: Path = BOOK, database: str | None = _DATABASE) -> None:
    """Create an empty book."""
    from walkboard.work import open_book

    _mention_leftovers(book)
    with open_book.new(book, address=database) as made:
        typer.echo(f"Made {made.path}. Add an organ: walkboard book add {book} ORGAN.toml")


@app.command(
    "connect",
    epilog="Example: walkboard book connect ~/organs postgresql://tuning@db.example.org/organs",
)
def connect(
    book: Path = typer.Argument(..., metavar="FOLDER", help="A new folder for the book."),
    database: str = typer.Argument(
        ..., metavar="ADDRESS", help="The PostgreSQL database that holds a book."
    ),
) -> None:
    """Make a folder on this computer for a book that is in a PostgreSQL database."""
    from walkboard.work import open_book

    with open_book.connected(book, database) as made:
        typer.echo(f"Connected {made.path}.")


@app.command("add", epilog="Example: walkboard book add ~/harbour-hall hall.toml")
def add(
    book: Path = BOOK,
    organ: Path = typer.Argument(..., metavar="ORGAN.toml", help="The description."),
) -> None:
    """Add an organ, or a newer description of one already in the book."""
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        kept = open_book.add_organ(opened, organ)
    typer.echo(f"{kept.name}, description {kept.version}, is in the book.")


@app.command("show", epilog="Example: walkboard book show ~/harbour-hall")
def show(
    book: Path = BOOK, as_json: bool = typer.Option(False, "--json", help="Print JSON.")
) -> None:
    """Show what is in the book: organs, visits, recordings, open faults."""
    from walkboard.work import open_book
    from walkboard.work.forks import fork_json, sentence

    with open_book.opened(book) as opened:
        forks = {organ.name: opened.forks(organ.id) for organ in opened.organs()}
        counts = {organ.id: opened.recording_counts(organ.id) for organ in opened.organs()}
        organs = [
            {
                "name": organ.name,
                "description": organ.version,
                "visits": [
                    {
                        "visit": visit.id,
                        "purpose": visit.purpose,
                        "opened_at": visit.opened_at.isoformat(),
                        "closed_at": None
                        if visit.closed_at is None
                        else visit.closed_at.isoformat(),
                        "recordings": counts[organ.id].get(visit.id, 0),
                    }
                    for visit in opened.visits(organ.id)
                ],
                "standing_faults": len(opened.open_faults(organ.id)),
                "forks": [fork_json(fork) for fork in opened.forks(organ.id)],
            }
            for organ in opened.organs()
        ]
    if as_json:
        print_json({"format": 1, "book": str(book), "organs": organs})
        return
    if not organs:
        typer.echo("The book is empty. Add an organ with 'walkboard book add'.")
    for organ in organs:
        typer.echo(
            f"{organ['name']} (description {organ['description']}), "
            f"open faults: {organ['standing_faults']}"
        )
        visits = organ["visits"]
        assert isinstance(visits, list)
        if visits:
            print_table(
                ["visit", "opened", "closed", "recordings", "purpose"],
                [
                    [
                        str(v["visit"]),
                        v["opened_at"][:16].replace("T", " "),
                        "open" if v["closed_at"] is None else v["closed_at"][:16].replace("T", " "),
                        str(v["recordings"]),
                        v["purpose"],
                    ]
                    for v in visits
                ],
                right="rllrl",
            )
        for fork in forks[str(organ["name"])]:
            typer.echo(sentence(fork))


@app.command("check", epilog="Example: walkboard book check ~/harbour-hall")
def check(book: Path = BOOK) -> None:
    """Check every recording's hash and every record; exit 1 if something is wrong."""
    from walkboard.work import open_book

    with open_book.opened(book) as opened, Bar("Checking") as bar:
        problems = opened.check(bar)
    for problem in problems:
        typer.echo(str(problem))
    if problems:
        raise typer.Exit(1)
    typer.echo("The book has no errors.")


@app.command(
    "clean",
    epilog="Example: walkboard book clean ~/harbour-hall --remove; or ... clean /media/stick",
)
def clean(
    folder: Path = typer.Argument(
        ..., metavar="FOLDER", help="A book's folder, or one where a book was being made."
    ),
    remove: bool = typer.Option(False, "--remove", help="Remove the files listed."),
) -> None:
    """List files left by killed programs in a book or beside it; --remove removes them."""
    from walkboard.book.files.leftovers import leftovers, remove_leftovers

    found = leftovers(folder)
    for one in found:
        typer.echo(f"{one.path} ({one.bytes / 1e6:.1f} MB): {one.what}")
    if not found:
        typer.echo("There are no leftovers.")
    elif remove:
        remove_leftovers(found)
        typer.echo(f"Removed {len(found)}.")
    else:
        say("Nothing was removed; use --remove to remove them.")


@app.command("search", epilog="Example: walkboard book search ~/harbour-hall cipher trumpet")
def search(
    book: Path = BOOK,
    words: list[str] = typer.Argument(..., metavar="WORD...", help="All of them must occur."),
) -> None:
    """Find words in faults, notes, visits, ticks and events, newest first."""
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        found = opened.search(" ".join(words))
    print_table(
        ["when", "what", "", "words"],
        [[f"{f.at:%Y-%m-%d}", f.kind, str(f.id), f.words] for f in found],
        right="llrl",
    )
    if not found:
        say("Nothing has all of these words.")


@app.command("strays", epilog="Example: walkboard book strays ~/organs --over 8")
def strays(
    book: Path = BOOK,
    over: float = typer.Option(
        5.0, "--over", metavar="CENTS", min=0.0, help="How far from its target a pipe may be."
    ),
    organ: str | None = typer.Option(
        None, "--organ", metavar="NAME", help="List the pipes of this organ."
    ),
) -> None:
    """List the organs with pipes far off by their newest readings, the most first."""
    from walkboard.work import open_book
    from walkboard.work.strays import strays_of_all

    with open_book.opened(book) as opened, Bar("Reading the organs") as bar:
        wanted = None if organ is None else opened.organ_named(organ).id
        found = strays_of_all(opened, over, bar)
    if wanted is None:
        print_table(
            ["organ", "pipes", "worst", "cents", "heard"],
            [
                [
                    one.kept.name,
                    str(len(one.pipes)),
                    str(one.pipes[0].pipe),
                    f"{one.pipes[0].cents:+.1f}",
                    f"{one.pipes[0].sounded_at:%Y-%m-%d}",
                ]
                for one in found
            ],
            right="lrlrl",
        )
    else:
        pipes = [pipe for one in found if one.kept.id == wanted for pipe in one.pipes]
        print_table(
            ["pipe", "cents", "±2σ", "visit", "heard"],
            [
                [
                    str(one.pipe),
                    f"{one.cents:+.2f}",
                    f"{2.0 * one.sigma_cents:.2f}",
                    str(one.visit_id),
                    f"{one.sounded_at:%Y-%m-%d}",
                ]
                for one in pipes
            ],
            right="lrrrl",
        )
        found = found if pipes else ()
    if not found:
        say(f"No pipe's newest reading is more than {over:g} cents off.")


@app.command(
    "export",
    epilog="Example: walkboard book export ~/harbour-hall harbour-hall.json; or ... readings.csv "
    "--table readings",
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


@app.command(
    "import",
    epilog="Example: walkboard book import harbour-hall.json ~/copy "
    "--recordings ~/harbour-hall/recordings",
)
def import_(
    source: Path = typer.Argument(..., metavar="FILE", help="A file written by 'book export'."),
    book: Path = BOOK,
    recordings: Path | None = typer.Option(
        None, "--recordings", help="The old book's recordings folder."
    ),
    database: str | None = _DATABASE,
) -> None:
    """Create a book from an export."""
    from walkboard.book.importing import import_book
    from walkboard.work import open_book

    _mention_leftovers(book)
    with import_book(
        source, book, clock=open_book.now, address=database, recordings=recordings
    ) as made:
        typer.echo(f"Made {made.path}.")


@app.command("copy", epilog="Example: walkboard book copy ~/harbour-hall /media/stick/harbour-hall")
def copy(
    book: Path = BOOK,
    to: Path = typer.Argument(..., metavar="FOLDER", help="The new folder; must not exist."),
) -> None:
    """Copy the whole book to a new folder, even while it is in use; checks every recording.

    Of a book in a PostgreSQL database the copy holds a backup for pg_restore.
    """
    from walkboard.work import open_book

    _mention_leftovers(to)
    with open_book.opened(book) as opened, Bar("Copying") as bar:
        problems = opened.copy_to(to, bar)
    for problem in problems:
        typer.echo(str(problem))
    if problems:
        raise typer.Exit(1)
    typer.echo(f"Copied to {to}.")


@app.command(
    "take-along",
    epilog='Example: walkboard book take-along ~/office ~/chapel --organ "Mill Chapel" '
    '--name "Chapel laptop"',
)
def take_along(
    book: Path = BOOK,
    folder: Path = typer.Argument(
        ..., metavar="FOLDER", help="The copy: a new folder, or one taken along earlier."
    ),
    organ: list[str] = typer.Option(
        [], "--organ", help="An organ to take along; may be repeated. All, if left out."
    ),
    name: str | None = typer.Option(
        None, "--name", help='What the copy is called where its work is shown: "Chapel laptop".'
    ),
    sound: bool = typer.Option(
        False, "--sound", help="Take the recordings along too, not only what was heard in them."
    ),
) -> None:
    """Make a copy of some organs to work in elsewhere, or bring such a copy up to date."""
    from walkboard.work import take_along as work

    with Bar("Copying") as bar:
        taken = work.take_along(
            book, folder, organs=organ, name=name, with_sound=sound, progress=bar
        )
    _show_news(taken.merged)
    what = "is up to date" if taken.was_there else "is ready to take along"
    typer.echo(f"{folder} {what}, as {taken.device!r}.")
    say(f"When you are back: walkboard book bring-back {folder} {book}")
    if taken.merged.problems:
        raise typer.Exit(1)


@app.command("bring-back", epilog="Example: walkboard book bring-back ~/chapel ~/office --dry-run")
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


@app.command("device", epilog='Example: walkboard book device ~/office --name "Office"')
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


def _mention_leftovers(to: Path) -> None:
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
