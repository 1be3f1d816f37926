"""``walkboard visit``: what was heard, and what it says about the organ."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from walkboard.cli.listen import listening_title, of_clock, two_sigma
from walkboard.cli.options import AT_ONCE, BOOK, ORGAN, SURE, VISIT
from walkboard.cli.printing import number, print_json, print_table, say
from walkboard.cli.progress import FilesBar

if TYPE_CHECKING:
    from walkboard.book.records import KeptRecording


def take(
    book: Path = BOOK,
    sounds: list[Path] = typer.Argument(
        ..., metavar="SOUND...", help="Recordings of one walk each."
    ),
    drawn: str = typer.Option(
        ..., "--drawn", metavar="STOP[,STOP...]", help="Ids of the stops drawn."
    ),
    air: float | None = typer.Option(
        None, "--air-now", help="Air of these pipes [°C], if it differs from the air noted."
    ),
    sure: bool = SURE,
    organ: str | None = ORGAN,
    at_once: int | None = AT_ONCE,
) -> None:
    """Import recordings: hear them and store them with their readings."""
    from walkboard.work import faults, open_book
    from walkboard.work import visit as visit_work

    stops = [stop.strip() for stop in drawn.split(",") if stop.strip()]
    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        visit = open_book.visit_at_work(opened, kept)

        def tell(recording: KeptRecording) -> None:
            walk = recording.walk
            typer.echo(
                f"Stored {walk.file}: {len(walk.holds)} holds, {len(walk.measured)} readings."
            )
            for warning in walk.warnings:
                say(f"{walk.file}: {warning}")
            if walk.heard is not None and walk.heard.clock is not None:
                say(f"{walk.file}: {of_clock(walk.heard.clock)}")
            for kind, stop, key in faults.suspected(described, recording):
                of_stop = "" if stop is None else f" --stop {stop}"
                typer.echo(
                    f"  {key}: {kind.value}? Note it: walkboard fault report {book} "
                    f"--kind '{kind.value}'{of_stop} --key '{key}'"
                )

        with FilesBar(listening_title(sounds), [sound.name for sound in sounds]) as bar:
            visit_work.take_in(
                opened,
                kept,
                visit,
                sounds,
                stops,
                taken=tell,
                air_celsius=air,
                sure=sure,
                processes=at_once,
                progress=bar.of_file,
            )


def readings(
    book: Path = BOOK,
    visit: int | None = VISIT,
    organ: str | None = ORGAN,
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Show how far off each pipe is, from the visit's recordings."""
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        kept, _ = open_book.organ_of(opened, organ)
        meant = open_book.visit_of(opened, kept, visit)
        best = opened.best_readings(meant.id)
        files = {r.id: r.file_name for r in opened.recordings(meant.id)}
    if as_json:
        print_json(
            {
                "format": 1,
                "visit": meant.id,
                "organ": kept.name,
                "readings": [
                    {
                        "pipe": str(pipe),
                        "hz": found.reading.hz_or_none,
                        "cents": found.reading.cents_or_none,
                        "sigma_cents": found.reading.sigma_cents_or_none,
                        "level_db": found.reading.level_db,
                        "flags": [flag.value for flag in found.reading.flags],
                        "recording": files[found.recording_id],
                        "start_s": found.reading.start_s,
                        "end_s": found.reading.end_s,
                        "program_version": found.program_version,
                    }
                    for pipe, found in best.items()
                ],
            }
        )
        return
    print_table(
        ["pipe", "Hz", "cents", "± (2σ)", "recording", "at s", "notes"],
        [
            [
                str(pipe),
                number(found.reading.hz_or_none, ".3f"),
                number(found.reading.cents_or_none, "+.2f"),
                number(two_sigma(found.reading), ".2f"),
                files[found.recording_id],
                f"{found.reading.start_s:.1f}",
                ", ".join(flag.value for flag in found.reading.flags),
            ]
            for pipe, found in best.items()
        ],
        right="lrrrlrl",
    )


def state(
    book: Path = BOOK,
    visit: int | None = VISIT,
    organ: str | None = ORGAN,
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Show each division's shift, the air it implies, and the temperament heard."""
    from walkboard.condition.to_json import condition_to_json
    from walkboard.work import open_book
    from walkboard.work import visit as visit_work

    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        meant = open_book.visit_of(opened, kept, visit)
        found = visit_work.condition_of(opened, described, meant)
    if as_json:
        print_json({"format": 1, "visit": meant.id, "organ": kept.name, **condition_to_json(found)})
        return
    print_table(
        [
            "division",
            "flues",
            "shift",
            "±",
            "implied °C",
            "±",
            "thermometer",
            "agrees",
            "reeds",
            "shift",
        ],
        [
            [
                d.division,
                str(d.flues),
                number(d.shift_cents, "+.1f"),
                number(d.shift_sigma_cents, ".1f"),
                number(d.implied_celsius, ".1f"),
                number(d.implied_sigma_celsius, ".1f"),
                number(d.thermometer_celsius, ".1f"),
                "–" if d.agrees is None else ("yes" if d.agrees else "no"),
                str(d.reeds),
                number(d.reed_shift_cents, "+.1f"),
            ]
            for d in found.divisions.values()
        ],
        right="lrrrrrrlrr",
    )
    if found.temperament is not None:
        claimed = found.temperament.claimed
        if claimed is not None:
            typer.echo(
                f"Temperament heard: {' = '.join(claimed.names)} ({claimed.probability:.0%})."
            )
        else:
            likely = ", ".join(
                f"{c.names[0]} {c.probability:.0%}" for c in found.temperament.candidates[:4]
            )
            typer.echo(f"The temperament is not certain yet; most likely: {likely}.")
