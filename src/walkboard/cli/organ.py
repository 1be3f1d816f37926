"""``walkboard organ`` and ``walkboard targets``."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.printing import number, print_json, print_table
from walkboard.errors import DescriptionError

app = typer.Typer(help="Organ descriptions: check one, see the examples.", no_args_is_help=True)
TARGETS_EXAMPLE = "Example: walkboard targets hall.toml --stop great.principal4 --air 17.2"


@app.command("check", epilog="Example: walkboard organ check hall.toml")
def check(
    organ: Path = typer.Argument(..., metavar="ORGAN.toml", help="The organ description."),
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Read a description; print its census, or every error with line, field and fix."""
    from walkboard.organ.census import census
    from walkboard.work.organ_files import load_organ

    try:
        described = load_organ(organ)
    except DescriptionError as error:
        if as_json:
            problems = [
                {"line": p.line, "field": p.field, "what": p.what, "mend": p.fix}
                for p in error.problems
            ]
            print_json({"format": 1, "file": str(organ), "ok": False, "problems": problems})
        else:
            typer.echo(str(error))
        raise typer.Exit(1) from None
    counted = census(described)
    if as_json:
        print_json({"format": 1, "file": str(organ), "ok": True, **counted.to_json()})
    else:
        typer.echo(counted.text())


@app.command("from", epilog="Example: walkboard organ from stops.txt > organ.toml")
def from_stops(
    stops: Path = typer.Argument(..., metavar="STOPS.txt", help="Text, CSV or XLSX."),
    as_json: bool = typer.Option(False, "--json", help="Print JSON instead of a description."),
) -> None:
    """Turn a stop list into a description; guesses and questions go to stderr."""
    from walkboard.cli.stop_lists import stops_json, tell_guesses
    from walkboard.work.organ_from import organ_from_stops, read_stops

    made = organ_from_stops(read_stops(stops))
    if as_json:
        print_json(stops_json(made, str(stops)))
    else:
        typer.echo(made.toml, nl=False)
        tell_guesses(made)
    if made.organ is None or any(row.question for row in made.rows):
        raise typer.Exit(1)


@app.command("draw", epilog="Example: walkboard organ draw hall.toml")
def draw(
    organ: Path = typer.Argument(..., metavar="ORGAN.toml", help="The organ description."),
) -> None:
    """Draw the layout: divisions, chests, ranks with compass and family, borrowed stops."""
    from walkboard.organ.picture import picture_text
    from walkboard.work.organ_files import load_organ

    typer.echo(picture_text(load_organ(organ)), nl=False)


@app.command("example", epilog="Example: walkboard organ example village > village.toml")
def example(
    which: str = typer.Argument("village", help="village (about 400 pipes) or hall (over 2,000)."),
) -> None:
    """Print one of the two invented organs, as a starting point for your own."""
    from walkboard.errors import UnknownNameError
    from walkboard.organ import examples

    texts = {"village": examples.village, "hall": examples.hall}
    if which not in texts:
        raise UnknownNameError(f"There is no example {which!r}.", fix="Write village or hall.")
    typer.echo(texts[which](), nl=False)


@app.command("schema", epilog="Example: walkboard organ schema > organ.schema.json")
def schema() -> None:
    """Print the JSON Schema of the description, for editors that support it."""
    from walkboard.organ.schema import schema_text

    typer.echo(schema_text(), nl=False)


def targets(
    organ: Path = typer.Argument(..., metavar="ORGAN.toml", help="The organ description."),
    stop: str = typer.Option(..., "--stop", help="Id of the stop."),
    air: float | None = typer.Option(None, "--air", help="Air in the organ [°C]."),
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Print each key's pipes and their target in Hz."""
    from walkboard.work.organ_files import load_organ
    from walkboard.work.targets import targets_of_stop

    described = load_organ(organ)
    rows = targets_of_stop(described, stop, air)
    if as_json:
        print_json(
            {
                "format": 1,
                "organ": described.name,
                "stop": stop,
                "air_celsius": air,
                "keys": [
                    {
                        "key": row.key.name,
                        "key_number": row.key_number,
                        "pipes": [{"pipe": str(pipe), "hz": hz} for pipe, hz in row.pipes],
                    }
                    for row in rows
                ],
            }
        )
        return
    print_table(
        ["key", "", "pipe", "Hz"],
        [
            [row.key.name, row.key.helmholtz, str(pipe), number(hz, ".3f")]
            for row in rows
            for pipe, hz in row.pipes
        ],
        right="lllr",
    )
