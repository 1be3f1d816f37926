"""``walkboard book``."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.book import copies
from walkboard.cli.book.copies import DATABASE, mention_leftovers
from walkboard.cli.options import BOOK
from walkboard.cli.printing import print_json, print_table, say
from walkboard.cli.progress import Bar

app = typer.Typer(
    help="The tuning book: a folder with one database and the recordings.", no_args_is_help=True
)


@app.command(
    "new",
    epilog="Example: walkboard book new ~/harbour-hall; or ... new /srv/organs --database "
    "postgresql://tuning@db.example.org/organs; or ... new postgresql://tuning@db.example.org/organs",
)
def new(
    place: str = typer.Argument(
        ...,
        metavar="BOOK",
        help="The book's folder; or the address of an empty PostgreSQL database: then the folder is"
        " made here, and has the database's name.",
    ),
    database: str | None = DATABASE,
) -> None:
    """Create an empty book."""
    from walkboard.work import open_book

    book, address = open_book.folder_and_address(place, database)
    mention_leftovers(book)
    with open_book.new(book, address=address) as made:
        typer.echo(f"Made {made.path}. Add an organ: walkboard book add {book} ORGAN.toml")
    if address is not None:
        say(f"The records are in the database, recordings in the folder; name it as BOOK: {book}")


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

    with open_book.opened(book) as opened:
        with Bar("Checking the records") as bar:
            problems = opened.check_records(bar)
        with Bar("Checking the recordings") as bar:
            problems += opened.check_files(bar)
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
    words: list[str] = typer.Argument(..., metavar="WORD...", help="Words that must all occur."),
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
        say("Nothing contains all of these words.")


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
    """List the organs whose newest readings have pipes far off, those with the most first."""
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


app.command(
    "export",
    epilog=(
        "Example: walkboard book export ~/harbour-hall harbour-hall.json; or ... readings.csv "
        "--table readings"
    ),
)(copies.export)
app.command(
    "import",
    epilog=(
        "Example: walkboard book import harbour-hall.json ~/copy "
        "--recordings ~/harbour-hall/recordings"
    ),
)(copies.import_)
app.command("copy", epilog="Example: walkboard book copy ~/harbour-hall /media/stick/harbour-hall")(
    copies.copy
)
app.command(
    "take-along",
    epilog=(
        'Example: walkboard book take-along ~/office ~/chapel --organ "Mill Chapel" '
        '--name "Chapel laptop"'
    ),
)(copies.take_along)
app.command("bring-back", epilog="Example: walkboard book bring-back ~/chapel ~/office --dry-run")(
    copies.bring_back
)
app.command("device", epilog='Example: walkboard book device ~/office --name "Office"')(
    copies.device
)
