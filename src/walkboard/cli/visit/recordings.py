"""``walkboard visit``: its recordings, and corrections of them."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.options import BOOK, ORGAN, SURE, VISIT
from walkboard.cli.printing import number, print_json, print_table, say
from walkboard.cli.progress import FilesBar

RECORDING = typer.Argument(
    ..., metavar="RECORDING", help="Its number; 'walkboard visit recordings' lists them."
)
WHY = typer.Option("", "--why", help="The reason; it stays in the book.")


def recordings(
    book: Path = BOOK,
    visit: int | None = VISIT,
    organ: str | None = ORGAN,
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """List a visit's recordings with their labels, including withdrawn ones."""
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        kept, _ = open_book.organ_of(opened, organ)
        meant = open_book.visit_of(opened, kept, visit)
        found = sorted(
            [*opened.recordings(meant.id), *opened.withdrawn_recordings(meant.id)],
            key=lambda recording: recording.id,
        )
    if as_json:
        print_json(
            {
                "format": 1,
                "visit": meant.id,
                "organ": kept.name,
                "recordings": [
                    {
                        "recording": r.id,
                        "file": r.file_name,
                        "drawn": list(r.walk.drawn),
                        "air_celsius": r.walk.air_celsius,
                        "description": r.organ_version,
                        "holds": len(r.walk.holds),
                        "change": r.change.value,
                        "why": r.words,
                    }
                    for r in found
                ],
            }
        )
        return
    print_table(
        ["recording", "file", "drawn", "air", "holds", "label", "why"],
        [
            [
                str(r.id),
                r.file_name,
                ", ".join(r.walk.drawn),
                number(r.walk.air_celsius, ".1f"),
                str(len(r.walk.holds)),
                r.change.value or "as taken in",
                r.words,
            ]
            for r in found
        ],
        right="rllrrll",
    )
    if not found:
        say(f"Visit {meant.id} has no recording.")


def relabel(
    book: Path = BOOK,
    recording: int = RECORDING,
    drawn: str = typer.Option(
        "", "--drawn", metavar="STOP[,STOP...]", help="Ids of the stops drawn. Default: as before."
    ),
    air: float | None = typer.Option(
        None, "--air-now", help="Air of these pipes [°C]. Default: as before."
    ),
    description: int | None = typer.Option(
        None,
        "--description",
        metavar="N",
        help="Version of the organ's description. Default: newest.",
    ),
    sure: bool = SURE,
    why: str = WHY,
) -> None:
    """Change what was recorded, and hear it again; the old label stays in the book."""
    from walkboard.work import open_book, second_thoughts

    stops = [stop.strip() for stop in drawn.split(",") if stop.strip()]
    with open_book.opened(book) as opened:
        name = opened.recording(recording).file_name
        with FilesBar("Listening again", [name]) as bar:
            new = second_thoughts.relabel(
                opened,
                recording,
                drawn=stops or None,
                air_celsius=air,
                organ_version=description,
                sure=sure,
                words=why,
                progress=bar.of_file,
            )
    typer.echo(
        f"Recording {recording} is now {', '.join(new.walk.drawn)}:"
        f" {len(new.walk.holds)} holds, {len(new.walk.measured)} readings."
    )
    for warning in new.walk.warnings:
        say(f"{name}: {warning}")
    say("A plan made before no longer counts: walkboard visit plan BOOK")


def withdraw(book: Path = BOOK, recording: int = RECORDING, why: str = WHY) -> None:
    """Withdraw a recording: it no longer counts but stays in the book."""
    from walkboard.work import open_book, second_thoughts

    with open_book.opened(book) as opened:
        second_thoughts.withdraw(opened, recording, why)
    typer.echo(f"Recording {recording} is withdrawn.")
    say("A plan made before no longer counts: walkboard visit plan BOOK")
