"""``walkboard survey-plan`` and ``walkboard play-walk``."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import typer

from walkboard.cli.options import LANGUAGE, NAMED_AS, language_of
from walkboard.cli.printing import print_json, say
from walkboard.errors import InputError

PLAN_EXAMPLE = "Example: walkboard survey-plan hall.toml --minutes 60 --pdf walks.pdf --midi walks"
PLAY_EXAMPLE = "Example: walkboard play-walk walks/walk-01-great.mid --port console"


def survey_plan(
    organ: Path = typer.Argument(..., metavar="ORGAN.toml", help="The description."),
    minutes: float | None = typer.Option(
        None, "--minutes", help="Minutes available; keys are thinned out evenly until they fit."
    ),
    keys: str | None = typer.Option(
        None, "--keys", help="every=3, or all of some notes as C,F#, or a span as C2-C5."
    ),
    pipes: str | None = typer.Option(
        None, "--pipes", metavar="FILE|PIPE,...", help="Only these: rank:number, or whole ranks."
    ),
    not_read: list[Path] = typer.Option(
        [],
        "--not-read",
        metavar="FILE",
        help="Output of 'listen --json': hold only the pipes that sounded but have no value in "
        "any of these, each alone; may be repeated.",
    ),
    hold: float = typer.Option(4.0, "--hold", help="How long each key is held [s]."),
    alone: float = typer.Option(
        2.0, "--hold-alone", help="How long if only one pipe sounds, if shorter [s]."
    ),
    gap: float = typer.Option(0.3, "--gap", help="From one key to the next [s]."),
    together: list[str] = typer.Option(
        [],
        "--together",
        metavar="RANK+RANK",
        help="Two ranks that may still sound together.",
    ),
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
    pdf: Path | None = typer.Option(None, "--pdf", help="Write the key holder's sheet."),
    book: Path | None = NAMED_AS,
    midi: Path | None = typer.Option(
        None, "--midi", metavar="FOLDER", help="Write each walk as a Standard MIDI File."
    ),
    channel: int = typer.Option(1, "--channel", help="MIDI channel, 1 to 16."),
    language: str = LANGUAGE,
) -> None:
    """Plan which stops to draw together and which keys to walk, in the least time."""
    from walkboard.languages.spoken import speaking
    from walkboard.sheets.key_sheet import key_sheet_text
    from walkboard.survey.plan.key_choice import KeysWanted
    from walkboard.survey.plan.make_survey import plan_survey
    from walkboard.survey.plan.rules import CautiousRules
    from walkboard.survey.plan.to_json import survey_plan_to_json
    from walkboard.survey.plan.walk_plan import Pace
    from walkboard.work import open_book, surveys
    from walkboard.work.organ_files import load_organ
    from walkboard.work.walk_files import load_walks

    if not (0.5 <= hold <= 60.0 and 0.5 <= alone <= 60.0 and 0.0 <= gap <= 60.0):
        raise InputError(
            "No key can be held like that.", fix="Hold 0.5 to 60 seconds, with 0 to 60 between."
        )
    spoken = language_of(language)
    with speaking(spoken):
        names = open_book.key_names(book)
    described = load_organ(organ)
    pairs = [tuple(pair.strip() for pair in words.split("+")) for words in together]
    for pair in pairs:
        if len(pair) != 2:
            raise InputError(f"{'+'.join(pair)!r} is not a pair of ranks.", fix="Write RANK+RANK.")
        for rank in pair:
            described.rank(rank)
    wished = frozenset(frozenset(pair) for pair in pairs)
    wanted = None if pipes is None else surveys.pipes_named(described, pipes)
    rules = CautiousRules(wished=wished)
    if not_read:
        if wanted is not None or pairs:
            raise InputError(
                "--not-read already says which pipes, each alone.",
                fix="Leave out --pipes and --together.",
            )
        wanted, rules = surveys.pipes_not_read(load_walks(not_read)), CautiousRules(most=1)
    plan = plan_survey(
        described,
        choose=KeysWanted() if keys is None else KeysWanted.parse(keys),
        pipes=wanted,
        pace=Pace(hold, gap, alone_s=min(alone, hold)),
        rules=rules,
        minutes=minutes,
    )
    day = datetime.now().astimezone().date()
    sheet = surveys.named_key_sheet(described, plan, day, names)
    if as_json:
        print_json(survey_plan_to_json(plan))
    else:
        typer.echo(key_sheet_text(sheet))
    if pdf is not None:
        with speaking(spoken):
            say(f"Wrote {surveys.print_key_sheet(sheet, pdf)}.")
    if midi is not None:
        written = surveys.write_midi(plan, midi, channel=channel)
        say(f"Wrote {len(written)} files into {midi}.")


def play_walk(
    file: Path | None = typer.Argument(None, metavar="[FILE.mid]", help="The MIDI file to play."),
    port: str | None = typer.Option(
        None, "--port", help="The MIDI output, by name or part of it; default: list them."
    ),
    channel: int = typer.Option(1, "--channel", help="MIDI channel, 1 to 16."),
) -> None:
    """Hold the keys of a walk through MIDI; without a port, list the MIDI outputs."""
    from walkboard.work import surveys

    if port is None or file is None:
        names = surveys.midi_ports()
        typer.echo("\n".join(names) if names else "There is no MIDI output.")
        return
    schedule = surveys.load_schedule(file)
    say(
        f"Playing {len(schedule.presses)} keys in {schedule.seconds:.0f} s; Ctrl-C stops. "
        "Nobody may be inside the case while it plays."
    )
    surveys.play_walk(schedule, port, channel=channel)
