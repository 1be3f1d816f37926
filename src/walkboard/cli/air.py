"""``walkboard air``."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.options import BOOK, LANGUAGE, ORGAN, language_of

app = typer.Typer(
    help="Logged air: import loggers' files and see what they say about the next event.",
    no_args_is_help=True,
)


@app.command("take", epilog="Example: walkboard air take BOOK nave.csv --place great --yes")
def take(
    book: Path = BOOK,
    file: Path = typer.Argument(..., help="The logger's CSV."),
    place: str = typer.Option(..., "--place", help="A division's id, or outdoors."),
    shift_minutes: float = typer.Option(
        0.0, "--shift-minutes", help="Add this to every time, if the clock was slow."
    ),
    column: int | None = typer.Option(
        None, "--column", help="Column of the temperature, from 1 (default: found by its name)."
    ),
    in_place_of: int | None = typer.Option(
        None, "--in-place-of", help="Number of a log that this one corrects."
    ),
    yes: bool = typer.Option(False, "--yes", help="Store it without asking."),
    organ: str | None = ORGAN,
) -> None:
    """Import a logger's file: show how it was read, then store it."""
    from datetime import timedelta

    from walkboard.book.venue.records import OUTDOORS
    from walkboard.work import open_book
    from walkboard.work.calendar.events import local_zone
    from walkboard.work.conditions.clock import clock_questions
    from walkboard.work.conditions.logger_csv import read_log_file

    said = {} if column is None else {"celsius_column": column - 1}
    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        if place != OUTDOORS:
            described.division(place)
        zone = local_zone()
        shift = timedelta(minutes=shift_minutes)
        read = read_log_file(file, place=place, zone=zone, shift=shift, **said)
        for words in read.words:
            typer.echo(words)
        if read.left_out:
            typer.echo(f"{read.left_out} lines were left out.")
        questions = (
            *read.questions,
            *clock_questions(
                read.log,
                opened.air_logs(kept.id),
                opened.visits(kept.id),
                now=open_book.now(),
                zone=zone,
            ),
        )
        for question in questions:
            typer.echo(f"? {question}")
        if not yes:
            typer.confirm("Keep it so?", abort=True)
        made = opened.keep_air_log(kept.id, read.log, in_place_of=in_place_of)
    typer.echo(f"Kept {len(made.minutes)} readings as log {made.id}.")


@app.command("ahead", epilog="Example: walkboard air ahead BOOK --outdoors 4 --to air.html")
def ahead(
    book: Path = BOOK,
    outdoors: float | None = typer.Option(
        None, "--outdoors", help="Expected outdoors [°C] (default: as last logged)."
    ),
    to: Path | None = typer.Option(None, "--to", help="Also write it as a page with a chart."),
    language: str = LANGUAGE,
    organ: str | None = ORGAN,
) -> None:
    """Show the air at the next event, in °C and cents, and the difference between divisions."""
    from walkboard.work import open_book
    from walkboard.work.conditions.air_ahead import air_ahead
    from walkboard.work.conditions.page import air_page
    from walkboard.work.conditions.words import air_words
    from walkboard.work.write_files import write_file

    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        found = air_ahead(
            opened, kept.id, described, now=open_book.now(), outdoors_celsius=outdoors
        )
        if found is None:
            typer.echo("No air is logged yet. Import a logger's file with 'walkboard air take'.")
            return
        spoken = language_of(language)
        for sentence in air_words(described, found, spoken):
            typer.echo(sentence)
        if to is not None:
            visits, events = opened.visits(kept.id), opened.events(kept.id)
            page = air_page(described, found, visits, events, spoken)
            typer.echo(f"Wrote {write_file(page.encode(), to, what='page')}.")
