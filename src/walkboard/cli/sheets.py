"""``walkboard sheet``."""

from __future__ import annotations

from pathlib import Path

import typer

app = typer.Typer(help="The printed sheets, as PDF.", no_args_is_help=True)
BOOK = typer.Argument(..., metavar="BOOK", help="The book's folder.")
ORGAN = typer.Option(
    None, "--organ", metavar="NAME", help="Which organ, where the book has several."
)
VISIT = typer.Option(None, "--visit", help="Number of the visit; else the open one, or the last.")


@app.command("worklist", epilog="Example: walkboard sheet worklist BOOK --to worklist.pdf")
def worklist(
    book: Path = BOOK,
    to: Path = typer.Option(Path("worklist.pdf"), "--to", help="The PDF to write."),
    visit: int | None = VISIT,
    organ: str | None = ORGAN,
) -> None:
    """The worklist: large print, tick boxes, targets, which way to move, cautions."""
    from walkboard.work import keeping, printing

    with keeping.opened(book) as opened:
        kept, described = keeping.organ_of(opened, organ)
        meant = keeping.visit_of(opened, kept, visit)
        typer.echo(f"Wrote {printing.print_worklist(opened, described, meant, to)}.")


@app.command("report", epilog="Example: walkboard sheet report BOOK --to report.pdf")
def report(
    book: Path = BOOK,
    to: Path = typer.Option(Path("report.pdf"), "--to", help="The PDF to write."),
    visit: int | None = VISIT,
    organ: str | None = ORGAN,
) -> None:
    """The visit report for the venue, with a chart of each rank."""
    from walkboard.work import keeping, printing

    with keeping.opened(book) as opened:
        kept, described = keeping.organ_of(opened, organ)
        meant = keeping.visit_of(opened, kept, visit)
        typer.echo(f"Wrote {printing.print_report(opened, described, meant, to)}.")
