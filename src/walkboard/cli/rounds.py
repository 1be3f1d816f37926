"""``walkboard round``: which organs in which weeks, by whom."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from walkboard.cli.options import BOOK
from walkboard.cli.printing import print_json, print_table, say
from walkboard.errors import InputError

if TYPE_CHECKING:
    from walkboard.work.rounds.make_round import MadeRound

EXAMPLE = "Example: walkboard round book --firm firm.toml --weeks 26 --calendars round"


def round_of_visits(
    book: Path = BOOK,
    firm: Path = typer.Option(
        ..., "--firm", metavar="FIRM.toml", help="Tuners, towns, organs and closed days."
    ),
    weeks: int = typer.Option(26, "--weeks", help="Length of the round."),
    start: str | None = typer.Option(
        None, "--from", metavar="DATE", help="Any day of its first week; default: next week."
    ),
    keep: Path | None = typer.Option(
        None,
        "--keep",
        metavar="ROUND.json",
        help="The present round: its visits stay unless moving one pays.",
    ),
    polish: float = typer.Option(
        0.0, "--polish", metavar="SECONDS", help="How long an exact solver may try to improve it."
    ),
    calendars: Path | None = typer.Option(
        None, "--calendars", metavar="FOLDER", help="Write an iCalendar file for each tuner."
    ),
    map_file: Path | None = typer.Option(
        None, "--map", metavar="MAP.svg", help="Draw the towns with their weeks."
    ),
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Plan which organs are visited in which weeks, and by whom."""
    from walkboard.work import open_book
    from walkboard.work.rounds import firm_file, make_round
    from walkboard.work.rounds.calendars import write_calendars
    from walkboard.work.rounds.to_json import read_round, round_json

    kept_firm = firm_file.read_firm(firm)
    monday = make_round.first_monday(_day(start), open_book.now().date())
    before = () if keep is None else read_round(keep)
    with open_book.opened(book) as opened:
        forecasts = make_round.forecasts_for(
            opened, kept_firm, monday, weeks, progress=_report_forecasts
        )
    made = make_round.make_round(
        kept_firm, forecasts, monday, weeks, before=before, polish_s=polish, progress=say
    )
    if calendars is not None:
        for path in write_calendars(made, calendars, open_book.now()):
            say(f"Wrote {path}.")
    if map_file is not None:
        from walkboard.work.rounds.round_map import map_of
        from walkboard.work.write_files import write_file

        write_file(map_of(kept_firm, made).encode(), map_file, what="map")
    if as_json:
        print_json(round_json(made))
        return
    _print_round(made)


def _print_round(made: MadeRound) -> None:
    print_table(
        ["week of", "tuner", "town", "organ", "hours", "gain", "before"],
        [
            [
                one.monday.isoformat(),
                one.tuner,
                one.town,
                one.organ,
                f"{one.hours:.1f}",
                f"{one.gain:.2f}",
                _before(one.serves) + (f" (was {one.moved_from})" if one.moved_from else ""),
            ]
            for one in made.visits
        ],
        right="llllrrl",
    )
    share = "" if made.bound <= 0 else f", at most {made.gap:.1%} from the best possible"
    typer.echo(
        f"\n{len(made.visits)} visits, {made.driving_hours:.0f} hours of driving; together worth "
        f"{made.worth:.1f} events made ready{share}."
    )
    if made.moved:
        typer.echo(f"{made.moved} visits of the earlier round moved or dropped.")
    if made.not_visited:
        typer.echo(f"Not visited: {', '.join(made.not_visited)}.")
    if made.without_calendar:
        typer.echo(
            "No calendar, so a service every four weeks was assumed: "
            f"{', '.join(made.without_calendar)}."
        )


def _before(serves: tuple[str, ...], most: int = 2) -> str:
    if not serves:
        return "–"
    more = f" and {len(serves) - most} more" if len(serves) > most else ""
    return ", ".join(serves[:most]) + more


def _report_forecasts(done: int, total: int) -> None:
    if total >= 10 and (done % max(1, total // 10) == 0 or done == total):
        say(f"Forecasts: {done} of {total} organs.")


def _day(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"{text!r} is not a day.", fix="Write it as 2031-12-20.") from None
