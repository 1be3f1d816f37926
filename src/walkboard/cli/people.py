"""``walkboard people``."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.options import BOOK
from walkboard.cli.printing import print_json, print_table

app = typer.Typer(
    help="People who sign in at a desk behind your own proxy, and their roles.",
    no_args_is_help=True,
)
NAME = typer.Argument(..., metavar="NAME", help="The person's name, as the history shows it.")
ORGAN = typer.Option(
    None, "--organ", metavar="NAME", help="For this organ only; default: for every organ."
)


@app.command(
    "add", epilog="Example: walkboard people add BOOK 'Ada Marsh' --role venue --organ 'Hall'"
)
def add(
    book: Path = BOOK,
    name: str = NAME,
    role: str = typer.Option(
        ..., "--role", help="owner, tuner, 'key holder', venue or adviser (docs/people.md)."
    ),
    organ: str | None = ORGAN,
) -> None:
    """Add a person, or give an existing one another role."""
    from walkboard.work import open_book
    from walkboard.work.people import roster

    wanted = roster.role_named(role)
    with open_book.opened(book) as opened:
        organ_id = None if organ is None else opened.organ_named(organ).id
        person = roster.add(opened, name, wanted, organ_id)
    where = "every organ" if organ is None else organ
    typer.echo(f"{person.name} is {wanted} for {where}.")


@app.command("list", epilog="Example: walkboard people list BOOK")
def list_people(
    book: Path = BOOK,
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """List everyone who has a role."""
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        names = {organ.id: organ.name for organ in opened.organs()}
        rows = [
            (person.name, one.role.value, None if one.organ_id is None else names[one.organ_id])
            for person in opened.people()
            for one in person.memberships
        ]
    if as_json:
        print_json([{"name": n, "role": role, "organ": organ} for n, role, organ in rows])
        return
    print_table(
        ("person", "role", "organ"),
        [(n, role, "every organ" if organ is None else organ) for n, role, organ in rows],
    )


@app.command("remove", epilog="Example: walkboard people remove BOOK 'Ada Marsh'")
def remove(
    book: Path = BOOK,
    name: str = NAME,
    organ: str | None = typer.Option(
        None, "--organ", metavar="NAME", help="Take away only the role for this organ."
    ),
) -> None:
    """Remove a person's roles, passkeys and sessions; the history keeps the name."""
    from walkboard.work import open_book
    from walkboard.work.people import roster

    with open_book.opened(book) as opened:
        person = roster.named(opened, name)
        if organ is None:
            roster.remove(opened, person)
            typer.echo(f"{person.name} can no longer sign in.")
        else:
            roster.end_role(opened, person, opened.organ_named(organ).id)
            typer.echo(f"{person.name} has no role for {organ} of its own any more.")


@app.command(
    "here", epilog="Example: walkboard people here BOOK 'Tom Tuner'; or ... here BOOK --nobody"
)
def here(
    book: Path = BOOK,
    name: str | None = typer.Argument(None, metavar="[NAME]", help="A person of the book."),
    nobody: bool = typer.Option(False, "--nobody", help="Nobody in particular any more."),
) -> None:
    """Show or set who works with the book on this computer: what is recorded here names them.

    For one command: walkboard --by NAME COMMAND.
    """
    from walkboard.work import open_book
    from walkboard.work.people import roster

    with open_book.opened(book) as opened:
        if name is not None or nobody:
            roster.work_here(opened, None if nobody else name)
        at_work = roster.working_here(opened)
    typer.echo(
        "Nobody is named here; what is recorded on this computer names nobody."
        if at_work is None
        else f"What is recorded on this computer names {at_work}."
    )


@app.command(
    "invite",
    epilog="Example: walkboard people invite BOOK 'Ada Marsh' --at https://organs.example.org",
)
def invite(
    book: Path = BOOK,
    name: str = NAME,
    at: str = typer.Option(
        "",
        "--at",
        metavar="ORIGIN",
        help="Where people reach the desk, as given to desk --behind-proxy.",
    ),
) -> None:
    """Print a link that lets a person add a passkey, once, within seven days."""
    from walkboard.desk.frame.origin import Origin
    from walkboard.work import open_book
    from walkboard.work.people import roster

    origin = str(Origin.parse(at)) if at else ""
    with open_book.opened(book) as opened:
        invitation = roster.invite(opened, roster.named(opened, name), open_book.now())
    typer.echo(f"{origin}{invitation.path}")
    day = invitation.ends_at.astimezone().date().isoformat()
    typer.echo(f"For {invitation.person.name} alone; it works once, until {day}.", err=True)
