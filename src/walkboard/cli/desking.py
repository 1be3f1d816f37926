"""``walkboard desk``."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.options import BOOK

EXAMPLE = "Example: walkboard desk ~/harbour-hall --share"


def desk(
    book: Path = BOOK,
    port: int = typer.Option(None, "--port", help="Port; else the first free one from 8740."),
    share: bool = typer.Option(
        False, "--share", help="Let paired phones on the local network in; else this machine only."
    ),
    address: str = typer.Option(
        None, "--address", help="Which of this machine's addresses to share at, if it has several."
    ),
) -> None:
    """Serve the pages of a book until Ctrl-C; no internet is used."""
    from walkboard.desk.network import address_to_share
    from walkboard.desk.serving import serve

    shared = address_to_share(address) if share or address else None
    serve(book, port=port, shared_address=shared, tell=tell)


def tell(home: str, shared: str | None) -> None:
    """Say where the desk is open."""
    typer.echo(f"The desk is open at {home} (Ctrl-C closes it).")
    if shared is not None:
        typer.echo(f"Phones reach it at {shared} once they are paired: {home}sharing shows how.")
