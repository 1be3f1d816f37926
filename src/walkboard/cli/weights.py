"""``walkboard weight``."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.options import BOOK, ORGAN
from walkboard.cli.plan_options import EVENT_AIR, airs
from walkboard.cli.printing import print_table

app = typer.Typer(help="Change how much stops and pipes count.", no_args_is_help=True)


@app.command("set", epilog="Example: walkboard weight set BOOK swell.celeste8 0.5 --why 'seldom'")
def set_(
    book: Path = BOOK,
    name: str = typer.Argument(..., metavar="NAME", help="A stop, a rank, or rank:number."),
    factor: float = typer.Argument(..., help="0.1 to 10; 1 undoes it, 0 leaves it out."),
    why: str = typer.Option("", "--why", help="A few words."),
    organ: str | None = ORGAN,
) -> None:
    """Make a stop, a rank or a pipe count more or less."""
    from walkboard.work import open_book, weights

    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        weights.change(opened, kept, described, name, factor=factor, words=why)
    typer.echo(f"{name} counts {factor:g} times as much.")


@app.command("list", epilog="Example: walkboard weight list BOOK")
def list_(book: Path = BOOK, organ: str | None = ORGAN) -> None:
    """List the changes."""
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        kept, _ = open_book.organ_of(opened, organ)
        changed = opened.weights(kept.id)
    print_table(
        ["what", "factor", "since", "why"],
        [
            [w.subject, f"{w.factor:g}", f"{w.kept_at.astimezone():%Y-%m-%d}", w.words]
            for w in changed
        ],
        right="lrll",
    )


@app.command("explain", epilog="Example: walkboard weight explain BOOK great.trumpet8:18")
def explain(
    book: Path = BOOK,
    names: list[str] = typer.Argument(
        ..., metavar="NAME...", help="Pipes as rank:number, ranks or stops."
    ),
    event: str | None = typer.Option(None, "--event", metavar="UID", help="For an event."),
    event_air: list[str] = EVENT_AIR,
    organ: str | None = ORGAN,
) -> None:
    """Explain in one sentence why a pipe costs what it does at the open visit."""
    from walkboard.work import open_book, weights
    from walkboard.work.plan_request import EventNeeds, event_named, request_of

    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        visit = open_book.visit_at_work(opened, kept)
        request = request_of(
            described,
            visit.minutes or 0.0,
            event=None if event is None else EventNeeds(event_named(opened, kept.id, event)),
            event_air_celsius=airs("--event-air", event_air),
        )
        for sentence in weights.explained(opened, described, visit, names, request):
            typer.echo(sentence)
