"""``walkboard venue``: information for and from the venue."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.options import BOOK, ORGAN

app = typer.Typer(
    help="Information for the venue: next visit, contacts, repairs, photographs.",
    no_args_is_help=True,
)


@app.command(
    "next-visit",
    epilog="Example: walkboard venue next-visit BOOK --at 2031-03-14T09:00 --hours 4 "
    '--reason "the choir sings on the 20th"',
)
def next_visit(
    book: Path = BOOK,
    at: str = typer.Option("", "--at", help="Day and time; leave it out to cancel the visit."),
    hours: float | None = typer.Option(None, "--hours", help="How long you need the organ."),
    reason: str = typer.Option("", "--reason", help="Why that day."),
    organ: str | None = ORGAN,
) -> None:
    """Record when you are coming next, and why."""
    from walkboard.book.venue.records import NextVisit
    from walkboard.work import open_book
    from walkboard.work.calendar.events import local_zone, moment

    arrives = moment(at) if at else None
    if arrives is not None and arrives.tzinfo is None:
        arrives = arrives.replace(tzinfo=local_zone())
    with open_book.opened(book) as opened:
        kept, _ = open_book.organ_of(opened, organ)
        opened.keep_next_visit(kept.id, NextVisit(arrives, hours, reason))
    typer.echo("Kept." if arrives else "Stored: no visit is agreed.")


@app.command(
    "contact",
    epilog='Example: walkboard venue contact BOOK --role tuner --name "A. Hand" --reach "01 234"',
)
def contact(
    book: Path = BOOK,
    role: str = typer.Option(
        ..., "--role", help="owner, adviser, tuner, organ builder or key holder."
    ),
    name: str = typer.Option("", "--name", help="Leave it out to remove the contact."),
    reach: str = typer.Option("", "--reach", help="Telephone, e-mail or both."),
    organ: str | None = ORGAN,
) -> None:
    """Store a contact."""
    from walkboard.book.venue.records import Contact, Role
    from walkboard.errors import InputError
    from walkboard.work import open_book

    if role not in set(Role):
        raise InputError(f"There is no role {role!r}.", fix=f"Choose from {', '.join(Role)}.")
    with open_book.opened(book) as opened:
        kept, _ = open_book.organ_of(opened, organ)
        opened.keep_contact(kept.id, Contact(Role(role), name, reach))
    typer.echo("Kept.")


@app.command(
    "repair",
    epilog='Example: walkboard venue repair BOOK --fault 7 --who "the organ builder" '
    '--parts "a pallet spring"',
)
def repair(
    book: Path = BOOK,
    fault: int = typer.Option(..., "--fault", help="Its number."),
    who: str = typer.Option("", "--who", help="Who fixes it."),
    parts: str = typer.Option("", "--parts", help="Parts needed."),
    meanwhile: str = typer.Option("", "--meanwhile", help="How to play until then."),
) -> None:
    """Record who fixes a fault, with what, and how to play until then."""
    from walkboard.book.venue.records import FaultCare
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        opened.keep_fault_care(FaultCare(fault, who, parts, meanwhile))
    typer.echo("Kept.")


@app.command(
    "photograph",
    epilog='Example: walkboard venue photograph BOOK slide.jpg --shows "Loose slide" '
    '--rights "A. Hand; the venue may print it"',
)
def photograph(
    book: Path = BOOK,
    picture: Path = typer.Argument(..., help="A JPEG or PNG file."),
    shows: str = typer.Option(..., "--shows", help="What it shows."),
    rights: str = typer.Option(
        "", "--rights", help="Who owns it and who may see it; without this, it stays in the book."
    ),
    fault: int | None = typer.Option(None, "--fault", help="Number of the fault it shows."),
    organ: str | None = ORGAN,
) -> None:
    """Store a photograph with its rights."""
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        kept, _ = open_book.organ_of(opened, organ)
        made = opened.keep_photograph(kept.id, picture, shows=shows, rights=rights, fault_id=fault)
    typer.echo(f"Stored as {made.path}.")
