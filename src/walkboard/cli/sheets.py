"""``walkboard sheet``."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.options import BOOK, LANGUAGE, ORGAN, VISIT, language_of

app = typer.Typer(help="The printed sheets, as PDF.", no_args_is_help=True)


@app.command("worklist", epilog="Example: walkboard sheet worklist BOOK --to worklist.pdf")
def worklist(
    book: Path = BOOK,
    to: Path = typer.Option(Path("worklist.pdf"), "--to", help="The PDF to write."),
    visit: int | None = VISIT,
    organ: str | None = ORGAN,
    language: str = LANGUAGE,
) -> None:
    """Print the worklist: large type, tick boxes, targets, which way to move, cautions."""
    from walkboard.work import open_book, print_sheets

    spoken = language_of(language)
    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        meant = open_book.visit_of(opened, kept, visit)
        made = print_sheets.print_worklist(opened, described, meant, to, language=spoken)
        typer.echo(f"Wrote {made}.")


@app.command("report", epilog="Example: walkboard sheet report BOOK --to report.pdf --language de")
def report(
    book: Path = BOOK,
    to: Path = typer.Option(
        Path("report.pdf"),
        "--to",
        help="The file to write: a .pdf with a chart of each rank, or only page 1 as .html.",
    ),
    visit: int | None = VISIT,
    organ: str | None = ORGAN,
    language: str = LANGUAGE,
) -> None:
    """Print the visit report: page 1 in plain words, then every rank for the records."""
    from walkboard.work import open_book, print_sheets

    spoken = language_of(language)
    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        meant = open_book.visit_of(opened, kept, visit)
        made = print_sheets.print_report(opened, described, meant, to, language=spoken)
        typer.echo(f"Wrote {made}.")


@app.command(
    "outlook", epilog="Example: walkboard sheet outlook BOOK --to outlook.pdf --minutes 240"
)
def outlook(
    book: Path = BOOK,
    to: Path = typer.Option(Path("outlook.pdf"), "--to", help="The PDF to write."),
    minutes: float | None = typer.Option(
        None, "--minutes", help="Minutes of a visit before each event; default: those of the last."
    ),
    rank: list[str] = typer.Option(
        [], "--rank", help="A rank to draw; may be repeated. Default: the least certain ones."
    ),
    organ: str | None = ORGAN,
    language: str = LANGUAGE,
) -> None:
    """Print whether the organ will be ready for each event, and how its ranks drift."""
    from walkboard.work import open_book, print_sheets

    spoken = language_of(language)
    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        made = print_sheets.print_outlook(
            opened,
            kept,
            described,
            open_book.now().date(),
            to,
            minutes=minutes,
            ranks=rank,
            language=spoken,
        )
        typer.echo(f"Wrote {made}.")
