"""``walkboard plan``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from walkboard.cli.printing import number, print_json, print_table

if TYPE_CHECKING:
    from walkboard.planning.plan import Plan

EXAMPLE = (
    "Example: walkboard plan --organ hall.toml --readings principal.json --readings trumpet.json "
    "--minutes 120 --event-air 20"
)


def plan(
    organ: Path = typer.Option(..., "--organ", metavar="ORGAN.toml", help="The description."),
    readings: list[Path] = typer.Option(
        ..., "--readings", metavar="FILE", help="What 'listen --json' printed; may be repeated."
    ),
    more_readings: list[Path] = typer.Argument(None, metavar="[FILE...]", help="Further readings."),
    minutes: float = typer.Option(..., "--minutes", help="Minutes for tuning."),
    event_air: float | None = typer.Option(
        None, "--event-air", help="Air at the event that the visit is for [°C]."
    ),
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Make the worklist for the minutes there are; needs no book."""
    from walkboard.planning.exchange import plan_to_json
    from walkboard.work.choosing import load_walks, plan_from_walks
    from walkboard.work.describing import load_organ

    described = load_organ(organ)
    walks = load_walks([*readings, *(more_readings or [])])
    _, made = plan_from_walks(described, walks, minutes, event_air)
    if as_json:
        print_json(plan_to_json(made))
    else:
        print_plan(made)


def print_plan(made: Plan) -> None:
    """Print a worklist as a table, with its certificate."""
    for reference in made.reference:
        typer.echo(
            f"{reference.division}: tune to {number(reference.shift_cents, '+.1f')} cents "
            f"at {reference.air_celsius:.1f} °C"
        )
    print_table(
        ["", "pipe", "cents", "target Hz", "move", "min", "why"],
        [
            [
                str(item.order),
                str(item.pipe),
                number(item.cents, "+.1f"),
                number(item.target_hz, ".2f"),
                item.move,
                number(item.minutes, ".2f"),
                item.why,
            ]
            for item in made.items
        ],
        right="rlrrlrl",
    )
    typer.echo(
        f"{len(made.items)} pipes in {made.minutes_used:.1f} of {made.minutes:g} minutes. "
        f"Badness {made.cost_before:.1f} before, {made.cost_after:.1f} after; "
        f"no plan of these minutes leaves less than {made.cost_bound:.1f} "
        f"(gap {made.gap:.2%})."
    )
