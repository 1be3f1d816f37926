"""``walkboard fault``."""

from __future__ import annotations

from pathlib import Path

import typer

from walkboard.cli.options import BOOK, ORGAN
from walkboard.cli.printing import print_json, print_table

app = typer.Typer(help="Faults: dead notes, ciphers, pipes off speech …", no_args_is_help=True)


@app.command(
    "report",
    epilog="Example: walkboard fault report BOOK --kind 'dead note' --stop great.bourdon8 "
    "--key F#3",
)
def report(
    book: Path = BOOK,
    words: str = typer.Argument("", help="In the reporter's own words."),
    kind: str = typer.Option("other", "--kind", help="Kind of fault, as the trade calls it."),
    stop: str | None = typer.Option(None, "--stop", help="Id of the stop."),
    key: str | None = typer.Option(None, "--key", help="The key, as F#3."),
    pipe: str | None = typer.Option(None, "--pipe", help="The pipe, as rank:number."),
    organ: str | None = ORGAN,
) -> None:
    """Store a reported fault."""
    from walkboard.organ.model import PipeRef
    from walkboard.work import faults as fault_work
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        known = {fault.id for fault in opened.open_faults(kept.id)}
        fault = fault_work.report(
            opened,
            kept,
            described,
            kind,
            words,
            stop=stop,
            key=key,
            pipe=None if pipe is None else PipeRef.parse(pipe),
        )
    typer.echo(f"Fault {fault.id} is in the book{' already' if fault.id in known else ''}.")


@app.command("list", epilog="Example: walkboard fault list BOOK --all")
def list_(
    book: Path = BOOK,
    every: bool = typer.Option(False, "--all", help="Include fixed ones."),
    organ: str | None = ORGAN,
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """List the open faults."""
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        kept, _ = open_book.organ_of(opened, organ)
        faults = opened.faults(kept.id) if every else opened.open_faults(kept.id)
    if as_json:
        print_json(
            {
                "format": 1,
                "organ": kept.name,
                "faults": [
                    {
                        "fault": f.id,
                        "kind": f.kind,
                        "stop": f.stop,
                        "key": f.key,
                        "pipe": None if f.pipe is None else str(f.pipe),
                        "words": f.words,
                        "reported_at": f.reported_at.isoformat(),
                        "mended_at": None if f.mended_at is None else f.mended_at.isoformat(),
                        "mended_note": f.mended_note,
                    }
                    for f in faults
                ],
            }
        )
        return
    print_table(
        ["fault", "reported", "kind", "where", "fixed", "words"],
        [
            [
                str(f.id),
                f"{f.reported_at.astimezone():%Y-%m-%d}",
                f.kind,
                " ".join(str(part) for part in (f.stop, f.key, f.pipe) if part is not None) or "–",
                "–" if f.mended_at is None else f"{f.mended_at.astimezone():%Y-%m-%d}",
                f.words,
            ]
            for f in faults
        ],
        right="rlllll",
    )


@app.command("mend", epilog="Example: walkboard fault mend BOOK 3 --note 'pallet spring'")
def mark_fixed(
    book: Path = BOOK,
    fault: int = typer.Argument(..., help="Number of the fault."),
    note: str = typer.Option("", "--note", help="What was done."),
    organ: str | None = ORGAN,
) -> None:
    """Mark a fault as fixed, in the open visit if there is one."""
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        kept, _ = open_book.organ_of(opened, organ)
        visit = opened.visit_in_progress(kept.id)
        opened.mark_fixed(fault, visit_id=None if visit is None else visit.id, note=note)
    typer.echo(f"Fault {fault} is fixed.")
