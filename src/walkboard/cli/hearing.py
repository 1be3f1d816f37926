"""``walkboard listen``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from walkboard.cli.printing import number, print_json, print_table, say
from walkboard.cli.progress import Bar

if TYPE_CHECKING:
    from walkboard.survey.heard import HeardWalk

EXAMPLE = (
    "Example: walkboard listen walk.flac --organ hall.toml --drawn great.principal4 --air 17.2"
)


def listen(
    sounds: list[Path] = typer.Argument(
        ..., metavar="SOUND...", help="Recordings of one walk each."
    ),
    organ: Path = typer.Option(..., "--organ", metavar="ORGAN.toml", help="The description."),
    drawn: str = typer.Option(
        ..., "--drawn", metavar="STOP[,STOP...]", help="Ids of the stops drawn."
    ),
    air: float | None = typer.Option(None, "--air", help="Air in the organ [°C]."),
    played: Path | None = typer.Option(
        None,
        "--played",
        metavar="FILE.mid",
        help="What the machine played, where it held the keys.",
    ),
    as_json: bool = typer.Option(False, "--json", help="Print JSON (a list for several sounds)."),
) -> None:
    """Hear every hold of a walk and read every pipe in it."""
    from walkboard.survey.exchange import walk_to_json
    from walkboard.work.describing import load_organ
    from walkboard.work.listening import hear_file
    from walkboard.work.surveying import load_schedule

    described = load_organ(organ)
    stops = [stop.strip() for stop in drawn.split(",") if stop.strip()]
    schedule = None if played is None else load_schedule(played)
    walks = []
    for sound in sounds:
        with Bar(f"Listening to {sound.name}") as bar:
            walks.append(hear_file(sound, described, stops, air, played=schedule, progress=bar))
        for warning in walks[-1].warnings:
            say(f"{sound.name}: {warning}")
    if as_json:
        values = [walk_to_json(walk) for walk in walks]
        print_json(values[0] if len(values) == 1 else values)
        return
    for walk in walks:
        print_walk(walk)


def print_walk(walk: HeardWalk) -> None:
    """Print a heard walk as a table, a reading a line."""
    air = "air not told" if walk.air_celsius is None else f"air {walk.air_celsius:g} °C"
    typer.echo(
        f"{walk.file}: {walk.sound.seconds:.1f} s, {walk.sound.sample_rate} Hz, "
        f"{walk.sound.format}. Drawn: {', '.join(walk.drawn)}; {air}."
    )
    rows = []
    for hold in walk.holds:
        start = [str(hold.n), "?" if hold.key is None else hold.key.name, f"{hold.start_s:.1f}"]
        notes = [flag.value for flag in hold.flags]
        if not hold.readings:
            rows.append([*start, "–", "–", "–", "–", "–", ", ".join(notes)])
        for reading in hold.readings:
            sigma = reading.sigma_cents
            rows.append(
                [
                    *start,
                    str(reading.pipe),
                    number(reading.hz, ".3f"),
                    number(reading.cents, "+.2f"),
                    number(None if sigma is None else 2.0 * sigma, ".2f"),
                    number(reading.level_db, ".1f"),
                    ", ".join([*notes, *(flag.value for flag in reading.flags)]),
                ]
            )
    print_table(
        ["hold", "key", "at s", "pipe", "Hz", "cents", "± (2σ)", "dB", "notes"],
        rows,
        right="rlrlrrrrl",
    )
    if walk.silent_keys:
        typer.echo(f"Not heard: {', '.join(key.name for key in walk.silent_keys)}.")
