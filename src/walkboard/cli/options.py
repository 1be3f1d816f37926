"""Words that several commands share: the book, the organ in it, the visit."""

import typer

BOOK = typer.Argument(..., metavar="BOOK", help="The book's folder.")
ORGAN = typer.Option(
    None, "--organ", metavar="NAME", help="Which organ, where the book has several."
)
VISIT = typer.Option(None, "--visit", help="Number of the visit; else the open one, or the last.")
AT_ONCE = typer.Option(
    None,
    "--at-once",
    min=1,
    metavar="N",
    help="Recordings heard at the same time; else as many as there are cores.",
)
