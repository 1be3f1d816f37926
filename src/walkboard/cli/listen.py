"""``walkboard listen``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from walkboard.cli.options import AT_ONCE, SURE
from walkboard.cli.printing import number, print_json, print_table, say
from walkboard.cli.progress import FilesBar

if TYPE_CHECKING:
    from walkboard.organ.model import Organ
    from walkboard.survey.hear.heard_walk import HeardWalk, Reading
    from walkboard.survey.recognise.verdict import Clock

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
        help="The MIDI file, if a machine held the keys.",
    ),
    alone: list[Path] = typer.Option(
        [],
        "--alone",
        metavar="FILE",
        help="Output of 'listen --json' of this visit for ranks heard separately: identifies "
        "unisons and shows which pull each other; may be repeated.",
    ),
    before: list[Path] = typer.Option(
        [],
        "--before",
        metavar="FILE",
        help="Output of 'listen --json' of earlier walks of single stops: shows another stop of "
        "the same pitch; may be repeated.",
    ),
    tone: float | None = typer.Option(
        None,
        "--tone",
        metavar="HZ",
        help="A tone of exactly this frequency sounds alone in the recording for three seconds or "
        "more: the recorder's clock is corrected by it. Not a tuning fork, not mains hum.",
    ),
    sure: bool = SURE,
    at_once: int | None = AT_ONCE,
    as_json: bool = typer.Option(False, "--json", help="Print JSON (a list for several sounds)."),
) -> None:
    """Find every hold of a walk and measure every pipe in it.

    Exits with 1 if a recording is not a walk.
    """
    from walkboard.work.hear_recordings import ToHear, hear_files
    from walkboard.work.organ_files import load_organ, read_text
    from walkboard.work.surveys import load_schedule
    from walkboard.work.walk_files import load_sounds, load_walks

    described = load_organ(organ)  # lists every error of the description, with its place
    description = read_text(organ)
    stops = [stop.strip() for stop in drawn.split(",") if stop.strip()]
    schedule = None if played is None else load_schedule(played)
    earlier = load_walks(alone)
    sounded = load_sounds(described, before)
    walks: list[HeardWalk] = []

    def keep(number: int, walk: HeardWalk) -> None:
        walks.append(walk)
        for sentence in sentences_of(walk):
            say(f"{sounds[number].name}: {sentence}")

    try:
        with FilesBar(listening_title(sounds), [sound.name for sound in sounds]) as bar:
            hear_files(
                [
                    ToHear(
                        sound,
                        description,
                        tuple(stops),
                        air,
                        schedule,
                        tuple(earlier),
                        sounded,
                        tone,
                        sure,
                    )
                    for sound in sounds
                ],
                keep,
                processes=at_once,
                progress=bar.of_file,
            )
    finally:  # print what was heard, even if another recording fails or Ctrl-C is pressed
        _print_walks(walks, as_json=as_json, alone=len(sounds) == 1)
        if not as_json:
            print_celestes(load_organ(organ), [*earlier, *walks])
    if any(walk.heard is not None and not walk.heard.is_walk for walk in walks):
        raise typer.Exit(1)


def sentences_of(walk: HeardWalk) -> list[str]:
    """Remarks on a recording: what was heard in it, then what is odd about the sound."""
    heard = [] if walk.heard is None else [walk.heard.sentence]
    asked = "" if walk.heard is None else walk.heard.question
    return [*heard, *(warning for warning in walk.warnings if warning != asked)]


def listening_title(sounds: Sequence[Path]) -> str:
    """Title of the progress bar."""
    return f"Listening to {sounds[0].name if len(sounds) == 1 else f'{len(sounds)} recordings'}"


def _print_walks(walks: Sequence[HeardWalk], *, as_json: bool, alone: bool) -> None:
    if not walks:
        return
    if as_json:
        from walkboard.survey.hear.to_json import walk_to_json

        values = [walk_to_json(walk) for walk in walks]
        print_json(values[0] if alone else values)
        return
    for walk in walks:
        if walk.holds:
            print_walk(walk)


def two_sigma(reading: Reading) -> float | None:
    """What is printed after ± [cents]."""
    sigma_cents = reading.sigma_cents_or_none
    return None if sigma_cents is None else 2.0 * sigma_cents


def print_celestes(organ: Organ, walks: Sequence[HeardWalk]) -> None:
    """Print how each pipe of a celeste beats with its partner, where both were heard."""
    from walkboard.condition.celestes import celeste_beats
    from walkboard.condition.gather import best_readings

    found = celeste_beats(organ, best_readings(organ, walks)) if walks else ()
    if not found:
        return
    typer.echo("Celestes beside their partners as heard:")
    rows = [
        [
            str(beats.pipe),
            str(beats.partner),
            f"{beats.beats_hz:+.2f}",
            f"{beats.due_hz:+.2f}",
            f"{beats.cents:+.2f}",
            f"{2.0 * beats.sigma_cents:.2f}",
        ]
        for beats in found
    ]
    print_table(["pipe", "partner", "beats/s", "due", "cents off", "± (2σ)"], rows, right="llrrrr")


def reading_notes(reading: Reading) -> list[str]:
    """A reading's flags in words, with what is known of a pipe that could not be separated."""
    from walkboard.listening.readings import Bounded, Measured

    notes = [flag.value for flag in reading.flags]
    if isinstance(reading, Bounded) and reading.bound.either is not None:
        first, second = reading.bound.either.hz
        sure = "" if reading.name_sureness is None else f" ({reading.name_sureness:.0%})"
        notes.append(f"at {first:.2f} Hz{sure}, else at {second:.2f} Hz")
    elif isinstance(reading, Bounded):
        bound = reading.bound
        notes.append(f"within ±{bound.bound_cents:.2f} cent of {bound.near_hz:.2f} Hz")
    elif isinstance(reading, Measured) and reading.name_sureness is not None:
        notes.append(f"name {reading.name_sureness:.1%} sure")
    if reading.beat_hz is not None:
        notes.append(f"beats {reading.beat_hz:.2f}/s")
    return notes


def print_walk(walk: HeardWalk) -> None:
    """Print a heard walk as a table, one reading per line."""
    air = "air not stated" if walk.air_celsius is None else f"air {walk.air_celsius:g} °C"
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
        rows += [
            [
                *start,
                str(reading.pipe),
                number(reading.hz_or_none, ".3f"),
                number(reading.cents_or_none, "+.2f"),
                number(two_sigma(reading), ".2f"),
                number(reading.level_db, ".1f"),
                ", ".join([*notes, *reading_notes(reading)]),
            ]
            for reading in hold.readings
        ]
    print_table(
        ["hold", "key", "at s", "pipe", "Hz", "cents", "± (2σ)", "dB", "notes"],
        rows,
        right="rlrlrrrrl",
    )
    for what, keys in (
        ("Held, and nothing sounded", walk.silent_keys),
        ("Not held", walk.not_held),
        ("No hold, and no telling why", walk.unsure_keys),
    ):
        if keys:
            typer.echo(f"{what}: {', '.join(key.name for key in keys)}.")
    clock = None if walk.heard is None else walk.heard.clock
    if clock is not None:
        typer.echo(of_clock(clock))


def of_clock(clock: Clock) -> str:
    """What the recorder's clock may add, as a sentence."""
    within = f"±{2.0 * clock.sigma_cents:.3g} cent on all pitches alike, none on differences"
    if clock.off_cents is None:
        return f"Recorder's clock: not measured, {within}."
    return (
        f"Recorder's clock: read {clock.off_cents:+.3f} cent by the tone of {clock.tone_hz:g} Hz,"
        f" put right; {within}."
    )
