"""``walkboard visit``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from walkboard.cli.asking import (
    EVENT_AIR,
    LEAVE_RISKY,
    MUST,
    MUST_NOT,
    OUT_OF_REACH,
    TIE,
    WITHIN,
    asked_of,
)
from walkboard.cli.hearing import listening_title
from walkboard.cli.options import AT_ONCE, BOOK, ORGAN, VISIT
from walkboard.cli.printing import number, print_json, print_table, say
from walkboard.cli.progress import FilesBar
from walkboard.errors import InputError

if TYPE_CHECKING:
    from walkboard.book.records import KeptRecording
    from walkboard.organ.model import Organ
    from walkboard.work.visiting import Tried

app = typer.Typer(help="A visit, from arrival to closing.", no_args_is_help=True)
AIR = typer.Option(
    [], "--air", metavar="[DIVISION=]C", help="Air [°C] of a division, or of all; may be repeated."
)
WIND = typer.Option(
    [], "--wind", metavar="[DIVISION=]MM", help="Wind [mm of water] of a division, or of all."
)
HUMIDITY = typer.Option(None, "--humidity", metavar="PERCENT", help="Relative humidity [%].")


def _by_division(organ: Organ, given: Sequence[str], option: str) -> Mapping[str, float]:
    values: dict[str, float] = {}
    for text in given:
        division, equals, figure = text.rpartition("=")
        try:
            value = float(figure)
        except ValueError:
            raise InputError(
                f"{option} {text!r} is not understood.",
                mend=f"Write {option} great=17.6, or {option} 17.6 for all.",
            ) from None
        names = [division] if equals else [d.id for d in organ.divisions]
        values.update(dict.fromkeys(names, value))
    return values


@app.command(
    "open",
    epilog="Example: walkboard visit open BOOK --purpose 'before the recital' --minutes 120 "
    "--air great=17.6 --air swell=18.4 --humidity 52",
)
def open_(
    book: Path = BOOK,
    purpose: str = typer.Option("", "--purpose", help="What the visit is for."),
    minutes: float | None = typer.Option(None, "--minutes", help="Minutes for tuning."),
    air: list[str] = AIR,
    humidity: float | None = HUMIDITY,
    wind: list[str] = WIND,
    organ: str | None = ORGAN,
) -> None:
    """Open a visit with its conditions on arrival."""
    from walkboard.work import keeping, visiting

    with keeping.opened(book) as opened:
        kept, described = keeping.organ_of(opened, organ)
        conditions = visiting.checked_conditions(
            described,
            _by_division(described, air, "--air"),
            None if humidity is None else humidity / 100.0,
            _by_division(described, wind, "--wind"),
        )
        visit = opened.open_visit(kept.id, purpose, minutes=minutes, conditions=conditions)
    typer.echo(f"Visit {visit.id} to {kept.name} is open.")


@app.command("conditions", epilog="Example: walkboard visit conditions BOOK --air great=18.1")
def conditions(
    book: Path = BOOK,
    air: list[str] = AIR,
    humidity: float | None = HUMIDITY,
    wind: list[str] = WIND,
    organ: str | None = ORGAN,
) -> None:
    """Note air, humidity or wind again; what was noted before stays."""
    from walkboard.work import keeping, visiting

    with keeping.opened(book) as opened:
        kept, described = keeping.organ_of(opened, organ)
        visit = keeping.visit_at_work(opened, kept)
        noted = visiting.checked_conditions(
            described,
            _by_division(described, air, "--air"),
            None if humidity is None else humidity / 100.0,
            _by_division(described, wind, "--wind"),
        )
        opened.note_conditions(visit.id, noted)
    typer.echo(f"Noted for visit {visit.id}.")


@app.command(
    "take", epilog="Example: walkboard visit take BOOK principal.flac --drawn great.principal8"
)
def take(
    book: Path = BOOK,
    sounds: list[Path] = typer.Argument(
        ..., metavar="SOUND...", help="Recordings of one walk each."
    ),
    drawn: str = typer.Option(
        ..., "--drawn", metavar="STOP[,STOP...]", help="Ids of the stops drawn."
    ),
    air: float | None = typer.Option(
        None, "--air-now", help="Air of these pipes [°C], where it differs from what was noted."
    ),
    organ: str | None = ORGAN,
    at_once: int | None = AT_ONCE,
) -> None:
    """Take in recordings: hear them, keep them and their readings."""
    from walkboard.work import faulting, keeping, visiting

    stops = [stop.strip() for stop in drawn.split(",") if stop.strip()]
    with keeping.opened(book) as opened:
        kept, _ = keeping.organ_of(opened, organ)
        visit = keeping.visit_at_work(opened, kept)

        def tell(recording: KeptRecording) -> None:
            walk = recording.walk
            read = sum(r.cents is not None for hold in walk.holds for r in hold.readings)
            typer.echo(f"Kept {walk.file}: {len(walk.holds)} holds, {read} readings.")
            for warning in walk.warnings:
                say(f"{walk.file}: {warning}")
            for kind, stop, key in faulting.suspected(recording):
                typer.echo(
                    f"  {key}: {kind.value}? Note it: walkboard fault report {book} "
                    f"--kind '{kind.value}' --stop {stop} --key '{key}'"
                )

        with FilesBar(listening_title(sounds), [sound.name for sound in sounds]) as bar:
            visiting.take_in(
                opened,
                kept,
                visit,
                sounds,
                stops,
                taken=tell,
                air_celsius=air,
                processes=at_once,
                progress=bar.of_file,
            )


@app.command("readings", epilog="Example: walkboard visit readings BOOK --json")
def readings(
    book: Path = BOOK,
    visit: int | None = VISIT,
    organ: str | None = ORGAN,
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Show where each pipe stands by the visit's recordings."""
    from walkboard.work import keeping

    with keeping.opened(book) as opened:
        kept, _ = keeping.organ_of(opened, organ)
        meant = keeping.visit_of(opened, kept, visit)
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
                        "hz": found.reading.hz,
                        "cents": found.reading.cents,
                        "sigma_cents": found.reading.sigma_cents,
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
                number(found.reading.hz, ".3f"),
                number(found.reading.cents, "+.2f"),
                number(
                    None if found.reading.sigma_cents is None else 2 * found.reading.sigma_cents,
                    ".2f",
                ),
                files[found.recording_id],
                f"{found.reading.start_s:.1f}",
                ", ".join(flag.value for flag in found.reading.flags),
            ]
            for pipe, found in best.items()
        ],
        right="lrrrlrl",
    )


@app.command("state", epilog="Example: walkboard visit state BOOK")
def state(
    book: Path = BOOK,
    visit: int | None = VISIT,
    organ: str | None = ORGAN,
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Show each division's shift, the air that it implies, and the temperament heard."""
    from walkboard.condition.exchange import condition_to_json
    from walkboard.work import keeping, visiting

    with keeping.opened(book) as opened:
        kept, described = keeping.organ_of(opened, organ)
        meant = keeping.visit_of(opened, kept, visit)
        found = visiting.condition_of(opened, described, meant)
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
            typer.echo(f"The temperament cannot be told yet; likeliest: {likely}.")


@app.command(
    "plan",
    epilog="Example: walkboard visit plan BOOK --minutes 120 --event-air 20 "
    "--within great.trumpet8=3 --out-of-reach pedal",
)
def plan(
    book: Path = BOOK,
    minutes: float | None = typer.Option(None, "--minutes", help="Minutes left; else the visit's."),
    event: str | None = typer.Option(
        None, "--event", metavar="UID", help="The event of the calendar that the visit is for."
    ),
    event_within: float | None = typer.Option(
        None, "--event-within", metavar="CENTS", help="How near their pitch it needs its stops."
    ),
    event_air: list[str] = EVENT_AIR,
    must: list[str] = MUST,
    must_not: list[str] = MUST_NOT,
    out_of_reach: list[str] = OUT_OF_REACH,
    within: list[str] = WITHIN,
    tie: float = TIE,
    leave_risky: bool = LEAVE_RISKY,
    faults: bool = typer.Option(
        False, "--faults", help="See to every pipe with a standing fault in any case."
    ),
    only_try: bool = typer.Option(
        False, "--try", help="Show what the plan would be, and keep nothing."
    ),
    organ: str | None = ORGAN,
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Make the worklist and keep it; a new plan supersedes the last."""
    from walkboard.cli.choosing import print_plan
    from walkboard.planning.exchange import plan_to_json
    from walkboard.work import keeping, visiting
    from walkboard.work.asking import event_named

    with keeping.opened(book) as opened:
        kept, described = keeping.organ_of(opened, organ)
        visit = keeping.visit_at_work(opened, kept)
        asked = asked_of(
            described,
            event_air=event_air,
            must=must,
            must_not=must_not,
            out_of_reach=out_of_reach,
            within=within,
            tie=tie,
            leave_risky=leave_risky,
        )
        if event is not None:
            asked = asked.for_event(event_named(opened, kept.id, event), event_within)
        elif event_within is not None:
            raise InputError(
                "Nobody says which event needs its stops.", mend="Give --event UID too."
            )
        if only_try:
            tried = visiting.try_plan(opened, described, visit, minutes, asked, faults_too=faults)
            made = tried.plan
        else:
            made = visiting.plan_visit(
                opened, described, visit, minutes, None, asked=asked, faults_too=faults
            ).plan
    if as_json:
        print_json({**plan_to_json(made), "kept": not only_try})
        return
    print_plan(made)
    if only_try:
        _print_tried(tried)


def _print_tried(tried: Tried) -> None:
    if tried.standing is not None:
        parts = [
            f"{count} pipe{'' if count == 1 else 's'} {word}"
            for count, word in ((tried.more, "more"), (tried.fewer, "fewer"))
            if count
        ]
        typer.echo(
            f"Against the plan that stands: {', '.join(parts) or 'the same pipes'}; badness left "
            f"{tried.plan.cost_after:.1f} in place of {tried.standing.cost_after:.1f}."
        )
    typer.echo("Nothing was kept.")


@app.command(
    "tick", epilog="Example: walkboard visit tick BOOK great.trumpet8:18 great.trumpet8:19"
)
def tick(
    book: Path = BOOK,
    pipes: list[str] = typer.Argument(..., metavar="PIPE...", help="As rank:number."),
    state: str = typer.Option("done", "--state", help="done, skipped or open (undo)."),
    note: str = typer.Option("", "--note", help="A few words."),
    organ: str | None = ORGAN,
) -> None:
    """Tick pipes of the worklist."""
    from walkboard.book.records import TickState
    from walkboard.organ.model import PipeRef
    from walkboard.work import keeping, visiting

    if state not in {s.value for s in TickState}:
        raise InputError(f"A pipe cannot be {state!r}.", mend="Say done, skipped or open.")
    refs = [PipeRef.parse(pipe) for pipe in pipes]
    with keeping.opened(book) as opened:
        kept, described = keeping.organ_of(opened, organ)
        visit = keeping.visit_at_work(opened, kept)
        for ref in refs:
            visiting.tick(opened, described, visit, ref, state=TickState(state), note=note)
            typer.echo(f"{ref}: {state}.")


@app.command("note", epilog="Example: walkboard visit note BOOK 'Swell box left open'")
def note(
    book: Path = BOOK,
    words: str = typer.Argument(..., help="The note."),
    visit: int | None = VISIT,
    organ: str | None = ORGAN,
) -> None:
    """Add a note to a visit, open or closed."""
    from walkboard.work import keeping

    with keeping.opened(book) as opened:
        kept, _ = keeping.organ_of(opened, organ)
        meant = keeping.visit_of(opened, kept, visit)
        opened.add_note(meant.id, words)
    typer.echo(f"Noted for visit {meant.id}.")


@app.command("close", epilog="Example: walkboard visit close BOOK --note 'Reeds want cleaning'")
def close(
    book: Path = BOOK,
    note: str = typer.Option("", "--note", help="The tuner's closing words."),
    organ: str | None = ORGAN,
) -> None:
    """Close the visit for good; it can then be read, printed and noted on."""
    from walkboard.work import keeping

    with keeping.opened(book) as opened:
        kept, _ = keeping.organ_of(opened, organ)
        visit = keeping.visit_at_work(opened, kept)
        opened.close_visit(visit.id, note)
    typer.echo(f"Visit {visit.id} is closed.")


@app.command("list", epilog="Example: walkboard visit list BOOK")
def list_(book: Path = BOOK, organ: str | None = ORGAN) -> None:
    """List the visits to an organ."""
    from walkboard.work import keeping

    with keeping.opened(book) as opened:
        kept, _ = keeping.organ_of(opened, organ)
        visits = opened.visits(kept.id)
    print_table(
        ["visit", "opened", "closed", "purpose"],
        [
            [
                str(v.id),
                f"{v.opened_at.astimezone():%Y-%m-%d %H:%M}",
                "open" if v.closed_at is None else f"{v.closed_at.astimezone():%Y-%m-%d %H:%M}",
                v.purpose,
            ]
            for v in visits
        ],
        right="rlll",
    )
