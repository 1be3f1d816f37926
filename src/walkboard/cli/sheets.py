"""``walkboard sheet``."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.options import BOOK, ORGAN, VISIT

app = typer.Typer(help="The printed sheets, as PDF.", no_args_is_help=True)


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
