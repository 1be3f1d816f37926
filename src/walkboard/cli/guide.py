"""``walkboard guide``."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.options import BOOK, LANGUAGE, ORGAN, language_of

EXAMPLE = "Example: walkboard guide BOOK --to guide --without swell.gamba8"


def guide(
    book: Path = BOOK,
    to: Path = typer.Option(Path("guide"), "--to", help="The folder to write."),
    visit: int | None = typer.Option(
        None,
        "--visit",
        help="Number of the visit whose recordings play (default: the last that has any).",
    ),
    sound: bool = typer.Option(True, "--sound/--no-sound", help="Put the sounds into the page."),
    without: list[str] = typer.Option(
        [], "--without", help="A stop whose sounds are left out; may be repeated."
    ),
    rights: str = typer.Option(
        "", "--rights", help="Who owns the sounds and who may have them, in the owner's words."
    ),
    language: str = LANGUAGE,
    organ: str | None = ORGAN,
) -> None:
    """Write the organ's stops as a page that plays them, with tuning files for synthesisers."""
    from walkboard.cli.progress import Bar
    from walkboard.work import open_book
    from walkboard.work.guide.gather import visit_to_show
    from walkboard.work.guide.write import write_guide

    with open_book.opened(book) as opened, Bar("Stops cut") as bar:
        kept, described = open_book.organ_of(opened, organ)
        meant = visit_to_show(opened, kept, visit)
        made = write_guide(
            opened,
            described,
            meant,
            to,
            with_sound=sound,
            without=without,
            rights=rights,
            language=language_of(language),
            progress=bar,
        )
    typer.echo(f"Wrote {made} ({made.stat().st_size / 1e6:.1f} MB) and the tuning files beside it.")
    typer.echo("The sounds belong to the organ's owner: ask before you pass them on.")
