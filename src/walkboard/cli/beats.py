"""``walkboard beats``."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.printing import print_json, print_table

EXAMPLE = (
    "Example: walkboard beats walk.json --organ hall.toml --drawn great.open8,great.principal4 "
    "--chord C4,E4,G4"
)


def beats(
    readings: list[Path] = typer.Argument(
        ..., metavar="FILE...", help="What 'listen --json' printed."
    ),
    organ: Path = typer.Option(..., "--organ", metavar="ORGAN.toml", help="The description."),
    drawn: str = typer.Option(
        ..., "--drawn", metavar="STOP[,STOP...]", help="Ids of the stops drawn."
    ),
    chord: str | None = typer.Option(
        None, "--chord", metavar="KEY,KEY...", help="Keys held together; default: each key alone."
    ),
    most: int = typer.Option(12, "--most", min=1, help="How many to list."),
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """List the worst beats of a registration or a chord, from readings of its pipes."""
    from walkboard.work.beats import beats_to_json, worst_of_files
    from walkboard.work.organ_files import load_organ

    stops = [stop.strip() for stop in drawn.split(",") if stop.strip()]
    keys = None if chord is None else [key.strip() for key in chord.split(",") if key.strip()]
    found = worst_of_files(load_organ(organ), readings, stops, keys, most=most)
    if as_json:
        print_json(beats_to_json(found))
        return
    if not found:
        typer.echo("No two of the measured pipes beat more than their targets do.")
        return
    rows = [
        [
            beat.key,
            f"{beat.first} ({beat.first_partial})",
            f"{beat.second} ({beat.second_partial})",
            f"{beat.at_hz:.0f}",
            f"{beat.per_second:.2f}",
            f"{beat.due_per_second:.2f}",
            "–" if beat.heard_per_second is None else f"{beat.heard_per_second:.2f}",
            f"{beat.level_db:.0f}",
        ]
        for beat in found
    ]
    print_table(
        ["keys", "pipe (partial)", "and (partial)", "at Hz", "beats/s", "due", "heard", "dB"],
        rows,
        right="lllrrrrr",
    )
