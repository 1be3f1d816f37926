"""``walkboard complete-tuning``."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.options import LANGUAGE, NAMED_AS, language_of
from walkboard.cli.printing import print_json, print_table

EXAMPLE = "Example: walkboard complete-tuning --organ hall.toml --day-minutes 360"

_SAYS = {
    "check": "check the reference rank",
    "bearings": "set the bearings",
    "octaves": "octaves out from the bearings",
    "rank": "tune",
    "celeste": "set the celeste",
    "mixture": "tune the row",
    "reed": "tune the reeds",
}


def complete_tuning(
    organ: Path = typer.Option(..., "--organ", metavar="ORGAN.toml", help="The description."),
    day_minutes: float = typer.Option(
        360.0, "--day-minutes", help="Minutes for tuning in each day."
    ),
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
    pdf: Path | None = typer.Option(
        None, "--pdf", metavar="FILE.pdf", help="Write it as a sheet to print."
    ),
    book: Path | None = NAMED_AS,
    first_day: str | None = typer.Option(
        None, "--from", metavar="YYYY-MM-DD", help="The first day, for the sheet; default: today."
    ),
    language: str = LANGUAGE,
) -> None:
    """Plan a complete tuning: every pipe, in the usual order, over one or more days."""
    from walkboard.planning.complete import complete_to_json
    from walkboard.planning.complete import complete_tuning as planned
    from walkboard.work.organ_files import load_organ

    described = load_organ(organ)
    found = planned(described, day_minutes)
    if as_json:
        print_json(complete_to_json(found))
        return
    if pdf is not None:
        from walkboard.languages.spoken import speaking
        from walkboard.work.open_book import key_names
        from walkboard.work.print_complete import print_complete

        with speaking(language_of(language)):
            print_complete(described, found, pdf, first_day, key_names(book))
        typer.echo(f"Wrote {pdf}.")
        return
    rows = []
    for step in found.steps:
        rank = described.rank(step.rank)
        keys = "" if not step.first else f"{rank.key_of(step.first)} to {rank.key_of(step.last)}"
        against = described.rank(step.against).name if step.against else ""
        silenced = f"silence {len(step.silence)} other rows" if step.silence else ""
        rows.append(
            [
                str(step.day),
                _SAYS[step.stage.value],
                rank.name,
                keys,
                against,
                f"{step.walk_minutes + step.minutes:.0f}",
                silenced,
            ]
        )
    print_table(["day", "do", "rank", "keys", "against", "min", ""], rows, right="rllllrl")
    for day in range(1, found.days + 1):
        typer.echo(
            f"Day {day}: {found.minutes_of(day):.0f} of {day_minutes:g} minutes; stop there."
        )
    typer.echo(
        f"{found.minutes / 60.0:.1f} hours in all. Tune the reeds when the air is nearest the "
        "event's."
    )
    for note in found.notes:
        typer.echo(note)
