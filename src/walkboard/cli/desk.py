"""``walkboard desk``."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.options import BOOK
from walkboard.errors import InputError

EXAMPLE = "Example: walkboard desk ~/harbour-hall --share"


def desk(
    book: Path = BOOK,
    port: int = typer.Option(
        None, "--port", min=1, max=65_535, help="Port. Default: the first free one from 8740."
    ),
    share: bool = typer.Option(
        False,
        "--share",
        help="Let paired phones on the local network connect; default: this machine only.",
    ),
    address: str = typer.Option(
        None, "--address", help="Which of this machine's addresses to share at, if it has several."
    ),
    https: bool = typer.Option(
        False,
        "--https",
        help="Share encrypted, with the desk's own certificate: phones can then use their "
        "microphone "
        "and wake lock.",
    ),
    behind_proxy: str | None = typer.Option(
        None,
        "--behind-proxy",
        metavar="ORIGIN",
        help="Let people sign in at ORIGIN, such as https://organs.example.org, through your own "
        "proxy on this machine (docs/people.md).",
    ),
    openid: Path | None = typer.Option(
        None,
        "--openid",
        exists=True,
        dir_okay=False,
        help="File that names your identity provider (docs/people.md), with --behind-proxy.",
    ),
) -> None:
    """Serve a book's pages until Ctrl-C; needs no internet."""
    from walkboard.desk.server.network import address_to_share
    from walkboard.desk.server.serving import serve

    if behind_proxy is not None:
        if share or address or https:
            raise InputError(
                "A desk is either shared with paired phones or behind a proxy.",
                fix="Leave out --share, --address and --https: the proxy encrypts.",
            )
        _serve_behind(book, port, behind_proxy, openid)
        return
    if openid is not None:
        raise InputError("Nobody signs in at this desk.", fix="Give --behind-proxy too.")
    shared = address_to_share(address) if share or address or https else None
    certificate = None
    if https and shared is not None:
        from walkboard.book.glance import revision_of
        from walkboard.desk.server.authority import authority_in, configuration_folder
        from walkboard.desk.server.certificate import certificate_for
        from walkboard.work.open_book import now

        revision_of(book)  # write no key into a folder without a book
        try:
            authority = authority_in(configuration_folder(), now())
        except OSError:
            authority = None  # no folder to keep it in: the desk signs for itself
        certificate = certificate_for(book, shared, now(), authority)
    serve(book, port=port, shared_address=shared, certificate=certificate, tell=say_where)


def _serve_behind(book: Path, port: int | None, text: str, openid: Path | None) -> None:
    from walkboard.desk.frame.origin import Origin
    from walkboard.desk.server.serving import serve
    from walkboard.work.people.passkeys import refuse_without_library

    origin = Origin.parse(text)
    refuse_without_library()
    provider = None
    if openid is not None:
        from walkboard.work.people.openid import read_provider

        provider = read_provider(openid)

    def tell(home: str, _: str | None) -> None:
        typer.echo(f"The desk waits for the proxy at {home} (Ctrl-C closes it).")
        typer.echo(f"People sign in at {origin}/; 'walkboard people invite' lets them in.")

    serve(book, port=port, origin=origin, provider=provider, tell=tell)


def say_where(home: str, shared: str | None) -> None:
    """Say where the desk is open."""
    typer.echo(f"The desk is open at {home} (Ctrl-C closes it).")
    if shared is not None:
        typer.echo(f"Phones reach it at {shared} once they are paired: {home}sharing shows how.")
