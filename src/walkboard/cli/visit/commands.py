"""``walkboard visit``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from walkboard.cli.options import BOOK, ORGAN, VISIT
from walkboard.cli.printing import print_table
from walkboard.cli.visit.plan import plan, tick
from walkboard.cli.visit.recordings import recordings, relabel, withdraw
from walkboard.cli.visit.sound import readings, state, take
from walkboard.errors import InputError
from walkboard.plausible import HUMIDITY_PERCENT, VISIT_MINUTES

if TYPE_CHECKING:
    from walkboard.organ.model import Organ

app = typer.Typer(help="A visit, from arrival to closing.", no_args_is_help=True)
AIR = typer.Option(
    [], "--air", metavar="[DIVISION=]C", help="Air [°C], for one division or all; may be repeated."
)
WIND = typer.Option(
    [], "--wind", metavar="[DIVISION=]MM", help="Wind [mm of water], for one division or all."
)
HUMIDITY = typer.Option(None, "--humidity", metavar="PERCENT", help="Relative humidity [%].")


def _by_division(organ: Organ, given: Sequence[str], option: str) -> Mapping[str, float]:
    values: dict[str, float] = {}
    for text in given:
        division, equals, figure = text.rpartition("=")
        try:
            value = float(figure)
        except ValueError:
            raise InputError(
                f"{option} {text!r} is not understood.",
                fix=f"Write {option} great=17.6, or {option} 17.6 for all.",
            ) from None
        names = [division] if equals else [d.id for d in organ.divisions]
        values.update(dict.fromkeys(names, value))
    return values


def _share(humidity: float | None) -> float | None:
    """Relative humidity from a percentage; InputError if it is out of range."""
    return None if humidity is None else HUMIDITY_PERCENT.check(humidity) / 100.0


@app.command(
    "open",
    epilog="Example: walkboard visit open BOOK --purpose 'before the recital' --minutes 120 "
    "--air great=17.6 --air swell=18.4 --humidity 52",
)
def open_(
    book: Path = BOOK,
    purpose: str = typer.Option("", "--purpose", help="What the visit is for."),
    minutes: float | None = typer.Option(None, "--minutes", help="Minutes for tuning."),
    air: list[str] = AIR,
    humidity: float | None = HUMIDITY,
    wind: list[str] = WIND,
    organ: str | None = ORGAN,
) -> None:
    """Open a visit with its conditions on arrival."""
    from walkboard.work import open_book
    from walkboard.work import visit as visit_work

    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        conditions = visit_work.checked_conditions(
            described,
            _by_division(described, air, "--air"),
            _share(humidity),
            _by_division(described, wind, "--wind"),
        )
        if minutes is not None:
            VISIT_MINUTES.check(minutes)
        visit = opened.open_visit(kept.id, purpose, minutes=minutes, conditions=conditions)
    typer.echo(f"Visit {visit.id} to {kept.name} is open.")


@app.command("conditions", epilog="Example: walkboard visit conditions BOOK --air great=18.1")
def conditions(
    book: Path = BOOK,
    air: list[str] = AIR,
    humidity: float | None = HUMIDITY,
    wind: list[str] = WIND,
    organ: str | None = ORGAN,
) -> None:
    """Note air, humidity or wind again; earlier entries stay in the book."""
    from walkboard.work import open_book
    from walkboard.work import visit as visit_work

    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        visit = open_book.visit_at_work(opened, kept)
        noted = visit_work.checked_conditions(
            described,
            _by_division(described, air, "--air"),
            _share(humidity),
            _by_division(described, wind, "--wind"),
        )
        opened.note_conditions(visit.id, noted)
    typer.echo(f"Noted for visit {visit.id}.")


@app.command(
    "correct",
    epilog="Example: walkboard visit correct BOOK --minutes 90 --why 'a funeral at noon'; or ... "
    "correct BOOK --conditions 1 --air great=17.6",
)
def correct(
    book: Path = BOOK,
    purpose: str | None = typer.Option(None, "--purpose", help="What the visit is for."),
    minutes: float | None = typer.Option(None, "--minutes", help="Minutes for tuning."),
    why: str = typer.Option("", "--why", help="Reason for the correction."),
    which: int | None = typer.Option(
        None,
        "--conditions",
        metavar="N",
        help="Which conditions to correct, from 1 in order of noting. Default: the last.",
    ),
    air: list[str] = AIR,
    humidity: float | None = HUMIDITY,
    wind: list[str] = WIND,
    visit: int | None = VISIT,
    organ: str | None = ORGAN,
) -> None:
    """Correct a visit's purpose, minutes or conditions; the original stays in the book."""
    from walkboard.work import open_book, second_thoughts

    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        meant = open_book.visit_of(opened, kept, visit)
        is_of_conditions = bool(air or wind) or humidity is not None
        if not is_of_conditions and purpose is None and minutes is None:
            raise InputError(
                "There is nothing to correct.",
                fix="Give --purpose, --minutes, --air, --humidity or --wind.",
            )
        if is_of_conditions:
            second_thoughts.correct_conditions(
                opened,
                described,
                meant,
                air_celsius=_by_division(described, air, "--air"),
                humidity=_share(humidity),
                wind_mm=_by_division(described, wind, "--wind"),
                which=which,
            )
        if purpose is not None or minutes is not None:
            opened.correct_visit(meant.id, purpose=purpose, minutes=minutes, words=why)
    typer.echo(f"Visit {meant.id} is corrected.")


app.command("recordings", epilog="Example: walkboard visit recordings BOOK --visit 3")(recordings)
app.command(
    "relabel",
    epilog="Example: walkboard visit relabel BOOK 7 --drawn great.octave4 --why 'wrong stop'",
)(relabel)
app.command(
    "withdraw",
    epilog="Example: walkboard visit withdraw BOOK 7 --why 'the blower was running down'",
)(withdraw)
app.command(
    "take", epilog="Example: walkboard visit take BOOK principal.flac --drawn great.principal8"
)(take)
app.command("readings", epilog="Example: walkboard visit readings BOOK --json")(readings)
app.command("state", epilog="Example: walkboard visit state BOOK")(state)
app.command(
    "plan",
    epilog="Example: walkboard visit plan BOOK --minutes 120 --event-air 20 "
    "--within great.trumpet8=3 --out-of-reach pedal",
)(plan)
app.command(
    "tick", epilog="Example: walkboard visit tick BOOK great.trumpet8:18 great.trumpet8:19"
)(tick)


@app.command("note", epilog="Example: walkboard visit note BOOK 'Swell box left open'")
def note(
    book: Path = BOOK,
    words: str = typer.Argument(..., help="The note."),
    visit: int | None = VISIT,
    organ: str | None = ORGAN,
) -> None:
    """Add a note to a visit, open or closed."""
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        kept, _ = open_book.organ_of(opened, organ)
        meant = open_book.visit_of(opened, kept, visit)
        opened.add_note(meant.id, words)
    typer.echo(f"Noted for visit {meant.id}.")


@app.command("close", epilog="Example: walkboard visit close BOOK --note 'Reeds need cleaning'")
def close(
    book: Path = BOOK,
    note: str = typer.Option("", "--note", help="The tuner's closing words."),
    organ: str | None = ORGAN,
    number: int | None = typer.Option(
        None,
        "--visit",
        help="Close this one; a closed one again, with work elsewhere that did not know of it.",
    ),
) -> None:
    """Close the visit for good; it can still be read, printed and have notes added."""
    from walkboard.work import open_book
    from walkboard.work.live.leftovers import take_in_left_over

    with open_book.opened(book) as opened:
        kept, _ = open_book.organ_of(opened, organ)
        visit = (
            open_book.visit_at_work(opened, kept)
            if number is None
            else open_book.visit_of(opened, kept, number)
        )
        take_in_left_over(opened, visit.id)
        opened.close_visit(visit.id, note or visit.closing_note)
    typer.echo(f"Visit {visit.id} is closed.")


@app.command("list", epilog="Example: walkboard visit list BOOK")
def list_(book: Path = BOOK, organ: str | None = ORGAN) -> None:
    """List the visits to an organ."""
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        kept, _ = open_book.organ_of(opened, organ)
        visits = opened.visits(kept.id)
    print_table(
        ["visit", "opened", "closed", "purpose"],
        [
            [
                str(v.id),
                f"{v.opened_at.astimezone():%Y-%m-%d %H:%M}",
                "open" if v.closed_at is None else f"{v.closed_at.astimezone():%Y-%m-%d %H:%M}",
                v.purpose,
            ]
            for v in visits
        ],
        right="rlll",
    )
