"""Entry point of ``walkboard``: joins the commands and translates errors, once."""

from __future__ import annotations

import errno
import os
import sys

import typer

from walkboard import __version__
from walkboard.cli import (
    air,
    archive,
    beats,
    calendar,
    complete,
    demo,
    desk,
    events,
    faults,
    guide,
    listen,
    organ,
    outlook,
    people,
    plan,
    rounds,
    sheets,
    survey,
    venue,
    weights,
)
from walkboard.cli.book import commands as book
from walkboard.cli.exit_codes import INTERRUPTED
from walkboard.cli.visit import commands as visit
from walkboard.errors import WalkboardError

app = typer.Typer(
    name="walkboard",
    help="Listens to recordings of a pipe organ walked key by key, and makes a worklist for the "
    "minutes available.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.add_typer(organ.app, name="organ")
app.command("targets", epilog=organ.TARGETS_EXAMPLE)(organ.targets)
app.command("survey-plan", epilog=survey.PLAN_EXAMPLE)(survey.survey_plan)
app.command("play-walk", epilog=survey.PLAY_EXAMPLE)(survey.play_walk)
app.command("listen", epilog=listen.EXAMPLE)(listen.listen)
app.command("beats", epilog=beats.EXAMPLE)(beats.beats)
app.command("plan", epilog=plan.EXAMPLE)(plan.plan)
app.command("complete-tuning", epilog=complete.EXAMPLE)(complete.complete_tuning)
app.add_typer(book.app, name="book")
app.add_typer(visit.app, name="visit")
app.add_typer(faults.app, name="fault")
app.add_typer(events.app, name="event")
events.app.command("take", epilog=calendar.TAKE_EXAMPLE)(calendar.take)
events.app.command("give", epilog=calendar.GIVE_EXAMPLE)(calendar.give)
app.add_typer(weights.app, name="weight")
app.add_typer(sheets.app, name="sheet")
app.add_typer(venue.app, name="venue")
app.add_typer(people.app, name="people")
app.add_typer(air.app, name="air")
app.add_typer(archive.app, name="archive")
app.command("guide", epilog=guide.EXAMPLE)(guide.guide)
app.command("desk", epilog=desk.EXAMPLE)(desk.desk)
app.command("outlook", epilog=outlook.OUTLOOK_EXAMPLE)(outlook.outlook)
app.command("first-keys", epilog=outlook.FIRST_EXAMPLE)(outlook.first_keys)
app.command("next-keys", epilog=outlook.NEXT_EXAMPLE)(outlook.next_keys)
app.command("readiness", epilog=outlook.READINESS_EXAMPLE)(outlook.readiness)
app.command("round", epilog=rounds.EXAMPLE)(rounds.round_of_visits)
app.command("demo", epilog=demo.EXAMPLE)(demo.demo)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"walkboard {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: bool = typer.Option(  # noqa: ARG001 - its callback has used it
        False, "--version", help="Print the version and stop.", callback=_version, is_eager=True
    ),
    by: str = typer.Option(
        "",
        "--by",
        metavar="NAME",
        help="The person of the book whom this command's records name; default: whom 'people here'"
        " names.",
    ),
) -> None:
    """Listens to a pipe organ, finds what has moved, and makes the worklist for a visit."""
    from walkboard.book.rows.acting import Named, record_all_as

    record_all_as(Named(by) if by else None)


def main() -> None:
    """Run the command line; exit 0 done, 1 done but something is wrong, 2 unusable input.

    `walkboard.cli.start` ends it after Ctrl-C.
    """
    # The matrices are small: linear algebra threads cost several times what they save. The setting
    # is read when numpy is first imported, which the commands do late.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        _run()
    except WalkboardError as error:
        sys.stdout.flush()
        print(error, file=sys.stderr)
        sys.exit(2)
    except BrokenPipeError:
        _leave_output()  # the reader (head, less) has stopped: no reason to fail
    except OSError as error:
        if error.errno != errno.ENOSPC:
            raise
        _leave_output()
        print("The output could not be written: no space left.", file=sys.stderr)
        sys.exit(2)


def _run() -> None:
    """Run the command; it succeeds only once its output is written to the last byte."""
    output = sys.stdout
    try:
        app()
    except SystemExit as ended:
        # The library ends the program silently after Ctrl-C and when the reader has stopped.
        if ended.code == INTERRUPTED:
            raise KeyboardInterrupt from None
        if sys.stdout is not output:  # it has replaced stdout, and its stand-in swallows the rest
            raise BrokenPipeError from None
        output.flush()
        raise
    output.flush()


def _leave_output() -> None:
    """Write nothing more, or Python would fail again on exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
