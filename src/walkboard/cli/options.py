"""Options shared by several commands: the book, the organ in it, the visit."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from walkboard.sheets.front_page.news import Language

BOOK = typer.Argument(..., metavar="BOOK", help="The book's folder.")
NAMED_AS = typer.Option(
    None, "--book", metavar="BOOK", help="Name the keys on the sheet as this book does."
)
ORGAN = typer.Option(None, "--organ", metavar="NAME", help="Which organ, if the book has several.")
VISIT = typer.Option(
    None, "--visit", help="Number of the visit; default: the open one, else the last."
)
LANGUAGE = typer.Option("en", "--language", help="Language of the output: en, de or fr.")
AT_ONCE = typer.Option(
    None,
    "--at-once",
    min=1,
    metavar="N",
    help="Recordings processed at the same time; default: one per core.",
)


def language_of(given: str) -> Language:
    """The language that ``--language`` names; InputError for another."""
    from walkboard.errors import InputError
    from walkboard.sheets.front_page.news import Language

    if given not in set(Language):
        raise InputError(
            f"Nothing is written in {given!r}.", fix=f"Choose from {', '.join(Language)}."
        )
    return Language(given)


SURE = typer.Option(
    False,
    "--sure",
    help="These stops were certainly drawn: keep values although it sounds like another stop.",
)
