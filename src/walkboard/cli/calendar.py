"""``walkboard event take`` and ``walkboard event give``: calendars as files."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.options import BOOK, ORGAN
from walkboard.cli.printing import say

TAKE_EXAMPLE = "Example: walkboard event take BOOK venue.ics"
GIVE_EXAMPLE = "Example: walkboard event give BOOK events.ics"


def take(
    book: Path = BOOK,
    calendar: Path = typer.Argument(..., metavar="CALENDAR.ics", help="An iCalendar file."),
    organ: str | None = ORGAN,
) -> None:
    """Import the events of a calendar file; importing it again changes nothing."""
    from walkboard.work import open_book
    from walkboard.work.calendar.events import take_in_calendar_file

    with open_book.opened(book) as opened:
        kept, _ = open_book.organ_of(opened, organ)
        taken = take_in_calendar_file(opened, kept.id, calendar)
    typer.echo(
        f"New: {taken.new}; changed: {taken.changed}; the same: {taken.same}; "
        f"cancelled: {taken.called_off}."
    )
    for words in taken.left_out:
        say(f"Left out: {words}")


def give(
    book: Path = BOOK,
    to: Path = typer.Argument(..., metavar="CALENDAR.ics", help="The iCalendar file to write."),
    organ: str | None = ORGAN,
) -> None:
    """Write all events to a calendar file."""
    from walkboard.work import open_book
    from walkboard.work.calendar.events import write_calendar_file

    with open_book.opened(book) as opened:
        kept, _ = open_book.organ_of(opened, organ)
        typer.echo(f"Wrote {write_calendar_file(opened, kept, to)}.")
