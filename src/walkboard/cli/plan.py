"""``walkboard plan``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from walkboard.cli.plan_options import (
    COUPLED,
    EVENT_AIR,
    EXPLAIN,
    LEAVE_RISKY,
    LEAVE_STRAYS,
    MUSIC,
    MUST,
    MUST_NOT,
    ON,
    OUT_OF_REACH,
    PURPOSE,
    REGISTRATION,
    TIE,
    WITHIN,
    pairs,
    request_from_options,
)
from walkboard.cli.printing import number, print_json, print_table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from walkboard.condition.questions import InputQuestion
    from walkboard.planning.plan import Plan

EXAMPLE = (
    "Example: walkboard plan --organ hall.toml --readings principal.json --readings trumpet.json "
    "--minutes 120 --event-air 20"
)


def plan(
    organ: Path = typer.Option(..., "--organ", metavar="ORGAN.toml", help="The description."),
    readings: list[Path] = typer.Option(
        ..., "--readings", metavar="FILE", help="Output of 'listen --json'; may be repeated."
    ),
    more_readings: list[Path] = typer.Argument(None, metavar="[FILE...]", help="More readings."),
    minutes: float = typer.Option(..., "--minutes", help="Minutes for tuning."),
    event_air: list[str] = EVENT_AIR,
    event_stops: list[str] = REGISTRATION,
    music: list[str] = MUSIC,
    on: list[str] = ON,
    must: list[str] = MUST,
    must_not: list[str] = MUST_NOT,
    out_of_reach: list[str] = OUT_OF_REACH,
    within: list[str] = WITHIN,
    tie: float = TIE,
    leave_risky: bool = LEAVE_RISKY,
    leave_strays: bool = LEAVE_STRAYS,
    purpose: str = PURPOSE,
    coupled: list[str] = COUPLED,
    weight: list[str] = typer.Option(
        [], "--weight", metavar="NAME=FACTOR", help="Count a stop, rank or pipe more or less."
    ),
    explain: list[str] = EXPLAIN,
    certify: bool = typer.Option(
        False, "--certify", help="Also prove it against pitches between tenths of a cent."
    ),
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Make a worklist for the minutes available; needs no book."""
    from walkboard.planning.to_json import plan_to_json
    from walkboard.planning.value.weight import WeightChange
    from walkboard.work import plans
    from walkboard.work.organ_files import load_organ
    from walkboard.work.walk_files import load_walks

    described = load_organ(organ)
    walks = load_walks([*readings, *(more_readings or [])])
    request = request_from_options(
        described,
        minutes,
        event_air=event_air,
        must=must,
        must_not=must_not,
        out_of_reach=out_of_reach,
        within=within,
        tie=tie,
        leave_risky=leave_risky,
        leave_strays=leave_strays,
        purpose=purpose,
        coupled=coupled,
        registrations=event_stops,
        music=music,
        on=on,
    )
    changes = [
        WeightChange(name, factor) for name, factor in pairs("--weight", weight, "great.oboe8=0.5")
    ]
    made = plans.from_walks(
        described, walks, request, changes=changes, explain=explain, certify=certify
    )
    between = made.between
    if as_json:
        shown = plan_to_json(made.plan)
        if explain:
            shown["explained"] = list(made.sentences)
        if between is not None:
            shown["bound_between"] = between.bound
        shown["questions"] = [question.text for question in made.questions]
        print_json(shown)
    else:
        print_questions(made.questions)
        print_plan(made.plan)
        if between is not None:
            typer.echo(
                f"At no pitch between the tenths of a cent is less left than {between.bound:.2f} "
                f"(gap {between.gap:.3%})."
            )
        for sentence in made.sentences:
            typer.echo(sentence)


def print_questions(questions: Sequence[InputQuestion]) -> None:
    """Print questions to answer before following a plan."""
    if questions:
        typer.echo("Before you follow this plan:")
        for question in questions:
            typer.echo(f"? {question.text}")
        typer.echo("")


def print_plan(made: Plan) -> None:
    """Print a worklist as a table, with its proof of quality."""
    for reference in made.reference:
        event = reference.event_celsius
        typer.echo(
            f"{reference.division}: tune to {number(reference.shift_cents, '+.1f')} cents "
            f"at {reference.air_celsius:.1f} °C"
            + ("" if event is None else f", reeds for {event:.1f} °C")
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
    typer.echo(_walks(made))
    for note in made.notes:
        typer.echo(note)


def _walks(made: Plan) -> str:
    """The walking time, and whether it is the shortest."""
    shorter = made.walk_minutes - made.walk_bound_minutes
    proved = "no other order of these ranks is better"
    if shorter > 0.05:
        proved = f"a shorter way by up to {shorter:.1f} minutes is not ruled out"
    return f"Walking in the case: {made.walk_minutes:.1f} minutes; {proved}."
