"""``walkboard event``."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.options import BOOK, ORGAN
from walkboard.cli.plan_options import MUSIC, ON, REGISTRATION, airs, names_of, use_of
from walkboard.cli.printing import number, print_json, print_table

app = typer.Typer(help="The calendar: what the organ must be ready for.", no_args_is_help=True)
UID = typer.Argument(..., metavar="UID", help="The event's id in the calendar.")


@app.command(
    "add",
    epilog="Example: walkboard event add BOOK harvest --at '2031-10-05 10:30' --title Harvest "
    "--air 19 --stops great.trumpet8",
)
def add(
    book: Path = BOOK,
    uid: str = UID,
    at: str = typer.Option(..., "--at", help="When it begins, in this computer's time zone."),
    title: str = typer.Option("", "--title", help="What it is."),
    air: float | None = typer.Option(None, "--air", help="Air expected at the organ [°C]."),
    stops: str = typer.Option("", "--stops", metavar="STOP[,STOP...]", help="Stops it uses."),
    organ: str | None = ORGAN,
) -> None:
    """Add an event, or change it."""
    from walkboard.plausible import AIR_CELSIUS
    from walkboard.work import open_book
    from walkboard.work.calendar.events import in_zone, local_zone, moment

    begins = in_zone(moment(at), local_zone())
    if air is not None:
        AIR_CELSIUS.check(air)
    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        named = names_of(stops)
        for stop in named:
            described.stop(stop)
        event = opened.keep_event(kept.id, uid, begins, title, stops=named, air_celsius=air)
    typer.echo(f"{event.uid} is in the calendar.")


@app.command(
    "use",
    epilog="Example: walkboard event use BOOK harvest --music hymn.mid=great.principal8 "
    "--event-stops great.principal8,great.trumpet8 --air swell=20.5",
)
def use(
    book: Path = BOOK,
    uid: str = UID,
    event_stops: list[str] = REGISTRATION,
    music: list[str] = MUSIC,
    on: list[str] = ON,
    air: list[str] = typer.Option(
        [], "--air", metavar="DIVISION=C", help="Air expected in a division [°C]."
    ),
    organ: str | None = ORGAN,
) -> None:
    """Say how an event uses the organ: registrations, music, and air by division."""
    from walkboard.plausible import AIR_CELSIUS
    from walkboard.work import open_book

    by_division = airs("--air", air)
    AIR_CELSIUS.check_each(by_division)
    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        for division in by_division:
            described.division(division)
        use = use_of(described, event_stops, music, on)
        for registration in use.registrations:
            for stop in registration.stops:
                described.stop(stop)
        event = opened.keep_event_use(
            kept.id,
            uid,
            use=use if use.registrations else None,
            air_by_division=by_division or None,
        )
    for registration in event.use.registrations:
        keys = sum(len(of) for of in registration.keys.values())
        typer.echo(
            f"{', '.join(registration.stops)}: {registration.seconds / 60.0:.1f} minutes, "
            + (f"{keys} keys" if keys else "keys not known")
            + (f" ({registration.words})" if registration.words else "")
        )
    typer.echo(f"Stored for {event.uid}.")


@app.command("cancel", epilog="Example: walkboard event cancel BOOK harvest")
def cancel(book: Path = BOOK, uid: str = UID, organ: str | None = ORGAN) -> None:
    """Cancel an event; adding it again brings it back."""
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        kept, _ = open_book.organ_of(opened, organ)
        opened.cancel_event(kept.id, uid)
    typer.echo(f"{uid} is cancelled.")


@app.command("list", epilog="Example: walkboard event list BOOK")
def list_(
    book: Path = BOOK,
    organ: str | None = ORGAN,
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """List the calendar by date."""
    from walkboard.planning.value.use_json import use_to_json
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        kept, _ = open_book.organ_of(opened, organ)
        events = opened.events(kept.id)
    if as_json:
        print_json(
            {
                "format": 1,
                "events": [
                    {
                        "uid": e.uid,
                        "starts_at": e.starts_at.isoformat(),
                        "title": e.title,
                        "stops": list(e.stops),
                        "air_celsius": e.air_celsius,
                        "air_by_division": dict(e.air_by_division),
                        "use": use_to_json(e.use),
                        "cancelled": e.cancelled,
                    }
                    for e in events
                ],
            }
        )
        return
    print_table(
        ["uid", "begins", "air", "registrations", "title"],
        [
            [
                e.uid,
                "cancelled" if e.cancelled else f"{e.starts_at.astimezone():%Y-%m-%d %H:%M}",
                number(e.air_celsius, ".1f"),
                str(len(e.use.registrations) or len(e.stops[:1])),
                e.title,
            ]
            for e in events
        ],
        right="llrr",
    )
