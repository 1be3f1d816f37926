"""``walkboard demo``."""

from __future__ import annotations

import os
import shlex
import shutil
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from walkboard.cli import desk
from walkboard.cli.printing import number, print_table
from walkboard.cli.progress import Bar

if TYPE_CHECKING:
    from walkboard.demo.flow import Demo

EXAMPLE = "Example: walkboard demo --folder build/demo"


def demo(
    folder: Path = typer.Option(Path("build/demo"), "--folder", help="Where to build it."),
    seed: int | None = typer.Option(
        None, "--seed", help="A different seed gives a different hall."
    ),
    serve: bool | None = typer.Option(
        None,
        "--serve/--no-serve",
        help="Open the desk on its book at the end; default: only in a terminal.",
    ),
) -> None:
    """Build an invented hall and its book, record and hear ten walks, plan, print, show it all."""
    from walkboard.demo import flow

    begun_s = time.monotonic()
    with Bar("Walks recorded and heard") as bar:
        made = flow.build(
            folder, seed=flow.SEED if seed is None else seed, say=typer.echo, progress=bar
        )
    _print(made, time.monotonic() - begun_s)
    if sys.stdout.isatty() if serve is None else serve:
        from walkboard.desk.server.serving import serve as serve_desk

        typer.echo("")
        serve_desk(made.book, tell=desk.say_where)
    else:
        typer.echo(f"Open its pages: {to_paste('desk', made.book)}")


def to_paste(command: str, book: Path) -> str:
    """A command on a book as it can be pasted into the shell that the user is in."""
    return f"{own_command()} {command} {shlex.quote(str(book))}"


def own_command() -> str:
    """What to type to start this program from the current folder.

    `make demo` runs it from ``.venv/bin``, which is not on the path.
    """
    started = Path(sys.argv[0])
    on_path = shutil.which("walkboard")
    if on_path is not None and started.exists() and Path(on_path).samefile(started):
        return "walkboard"
    if started.name != "walkboard":  # python -m, or a test
        return "walkboard"
    return shlex.quote(os.path.relpath(started))


def _print(made: Demo, took_s: float) -> None:
    import numpy as np

    typer.echo("\nWhat was heard, against the truth that only the synthesiser knows:\n")
    rows = []
    for c in made.comparisons:
        size = np.abs(c.errors_cents)
        within = np.abs(c.errors_sigma) <= 2.0
        rows.append(
            [
                c.file,
                f"{c.named} of {c.sounding}",
                str(c.false),
                str(size.size),
                number(float(np.median(size)), ".4f") if size.size else "–",
                number(float(np.quantile(size, 0.95)), ".4f") if size.size else "–",
                f"{within.mean():.0%}" if size.size else "–",
                f"{len(c.reported)} of {len(c.planted)}" if c.planted else "none put in",
            ]
        )
    print_table(
        ["recording", "holds named", "false", "read", "median", "95 %", "in 2σ", "faults found"],
        rows,
        right="lrrrrrrl",
    )
    typer.echo("\n(median and 95 %: error in cents of the readings against the true mean pitch)")
    for c in made.comparisons:
        for missed in sorted(set(c.planted) - set(c.reported)):
            typer.echo(f"Not found: {missed} in {c.file}.")
    plan = made.plan
    typer.echo(
        f"\nThe worklist has {len(plan.items)} pipes for {plan.minutes_used:.0f} of "
        f"{plan.minutes:g} minutes: badness {plan.cost_before:.1f} before, "
        f"{plan.cost_after:.1f} after, proven within {plan.gap:.2%} of the best."
    )
    typer.echo(
        f"{made.sound_seconds / 60:.0f} minutes of sound were rendered, heard, planned and printed "
        f"in {took_s:.0f} s.\n"
    )
    print_table(
        ["", ""],
        [
            ["the organ's description", str(made.description)],
            ["the recordings, each with its readings as JSON", str(made.recordings)],
            ["the tuning book", str(made.book)],
            ["the worklist", str(made.worklist)],
            ["the visit report", str(made.report)],
        ],
    )
    typer.echo(f"\nLook further: {to_paste('visit readings', made.book)}")
