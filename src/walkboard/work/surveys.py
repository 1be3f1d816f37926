"""A survey planned, printed, written for the machine, and played by it."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from datetime import date
from pathlib import Path
from types import ModuleType
from typing import Any

from walkboard.errors import InputError, UnknownNameError
from walkboard.organ.model import Organ, PipeRef
from walkboard.scales.key_names import Names
from walkboard.sheets.key_sheet import KeySheet, key_sheet
from walkboard.sheets.wording import naming_keys
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.plan.schedule import (
    VELOCITY,
    Schedule,
    midi_of,
    schedule_from_midi,
    schedule_of,
)
from walkboard.survey.plan.walk_plan import SurveyPlan
from walkboard.work.organ_files import cannot_read, read_text
from walkboard.work.write_files import write_file

_NOTE_ON, _NOTE_OFF, _CONTROL, _ALL_NOTES_OFF = 0x90, 0x80, 0xB0, 123  # MIDI 1.0


def pipes_named(organ: Organ, text: str) -> tuple[PipeRef, ...]:
    """The pipes that are named: ``rank:number`` or a whole rank, or a file of such.

    Parameters
    ----------
    organ : Organ
    text : str
        Names between commas, or the name of a file with one or more a line and remarks after #.

    Raises
    ------
    UnknownNameError
        If the organ lacks one of them, or there is no such file.
    """
    if Path(text).is_file():
        lines = read_text(Path(text)).splitlines()
        text = ",".join(line.partition("#")[0] for line in lines)
    names = text.replace(",", " ").split()
    if not names:
        raise InputError("No pipe is named.", fix="Write rank:number, or a rank's id.")
    pipes: list[PipeRef] = []
    for name in names:
        if ":" in name:
            pipe = PipeRef.parse(name)
            rank = organ.rank(pipe.rank)
            if pipe.number > rank.pipes:
                raise UnknownNameError(
                    f"The rank {rank.id} has no pipe {pipe.number}.",
                    fix=f"It has 1 to {rank.pipes}.",
                )
            pipes.append(pipe)
        else:
            pipes += [PipeRef(name, n) for n in range(1, organ.rank(name).pipes + 1)]
    return tuple(dict.fromkeys(pipes))


def pipes_not_read(walks: Iterable[HeardWalk]) -> tuple[PipeRef, ...]:
    """The pipes that sounded in these walks and have a value in none of them.

    Raises
    ------
    InputError
        When every pipe has one.
    """
    sounded = {reading.pipe for walk in walks for reading in walk.readings}
    read = {reading.pipe for walk in walks for reading in walk.measured}
    left = tuple(sorted(sounded - read))
    if not left:
        raise InputError("Every pipe of these walks was read.", fix="There is nothing to walk.")
    return left


def named_key_sheet(
    organ: Organ, plan: SurveyPlan, day: date, names: Names = Names.SCIENTIFIC
) -> KeySheet:
    """The key holder's sheet, with its keys named so."""
    with naming_keys(names):
        return key_sheet(organ, plan, day)


def print_key_sheet(sheet: KeySheet, to: Path) -> Path:
    """Write the key holder's sheet as PDF; InputError when the file cannot be written."""
    from walkboard.sheets.typesetting import render_pdf

    return write_file(render_pdf(sheet), to, what="file")


def write_midi(plan: SurveyPlan, folder: Path, *, channel: int = 1) -> tuple[Path, ...]:
    """Write each walk as a Standard MIDI File, named by its order and keyboard.

    Raises
    ------
    InputError
        When there is no such channel, or a file cannot be written.
    """
    files = [
        (
            folder / f"walk-{n:02}-{walk.division}.mid",
            midi_of(
                schedule_of(walk.keys, plan.pace_of(walk)),
                channel=channel,
                name=f"{n} {walk.division}: {', '.join(walk.drawn)}",
            ),
        )
        for n, walk in enumerate(plan.walks, start=1)
    ]
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"The folder cannot be made: {error.strerror}.",
            where=str(folder),
            fix="Choose another place.",
        ) from None
    return tuple(write_file(data, path, what="file") for path, data in files)


def load_schedule(path: Path) -> Schedule:
    """The keys of a Standard MIDI File; InputError if it is not one."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise cannot_read(path, error) from None
    return schedule_from_midi(data, where=str(path))


def midi_ports() -> tuple[str, ...]:
    """Names of the MIDI outputs; InputError where this machine has no MIDI."""
    out = _midi_out()
    try:
        return tuple(out.get_ports())
    finally:
        out.delete()


def play_walk(
    schedule: Schedule,
    port: str,
    *,
    channel: int = 1,
    now: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> None:
    """Hold the keys of a schedule through a MIDI output; every key is released whatever happens.

    Parameters
    ----------
    schedule : Schedule
    port : str
        The output's name, or a part of it that no other has.
    channel : int
        1 to 16.
    now, sleep : callable
        The clock [s].

    Raises
    ------
    InputError
        When there is no MIDI, no such port or no such channel.
    """
    if not 1 <= channel <= 16:
        raise InputError(f"MIDI has no channel {channel}.", fix="Give 1 to 16.")
    out = _midi_out()
    down: set[int] = set()
    opened = False
    try:
        out.open_port(_number_of(port, out.get_ports()))
        opened = True
        events = [(p.up_s, _NOTE_OFF, p.key.semitone) for p in schedule.presses]
        events += [(p.down_s, _NOTE_ON, p.key.semitone) for p in schedule.presses]
        begun_s = now()
        for at_s, status, note in sorted(events):
            wait_s = begun_s + at_s - now()
            if wait_s > 0.0:
                sleep(wait_s)
            # Marked before it is sent: an interrupt between the two must not leave a key down.
            if status == _NOTE_ON:
                down.add(note)
            out.send_message([status | (channel - 1), note, VELOCITY])
            if status == _NOTE_OFF:
                down.discard(note)
    finally:
        if opened:
            for note in sorted(down):
                out.send_message([_NOTE_OFF | (channel - 1), note, VELOCITY])
            out.send_message([_CONTROL | (channel - 1), _ALL_NOTES_OFF, 0])
            out.close_port()
        out.delete()


def _number_of(port: str, names: list[str]) -> int:
    exact = [n for n, name in enumerate(names) if name == port]
    found = exact or [n for n, name in enumerate(names) if port.lower() in name.lower()]
    if len(found) == 1:
        return found[0]
    what = "is not the name of one MIDI output" if found else "is no MIDI output"
    known = f"There are: {', '.join(names)}." if names else "There are none: connect the console."
    raise UnknownNameError(f"{port!r} {what}.", fix=known)


def _midi_out() -> Any:
    try:
        rtmidi = _rtmidi()
    except ImportError:
        raise InputError(
            "Nothing is installed that sends MIDI.",
            fix="Install the project's extra 'midi', or play the file with another player.",
        ) from None
    try:
        return rtmidi.MidiOut()
    except Exception as error:  # its error classes differ with the system it was built for
        raise InputError(
            f"This machine has no MIDI: {error}",
            fix="Play the file with another player.",
        ) from None


def _rtmidi() -> ModuleType:
    import rtmidi

    module: ModuleType = rtmidi
    return module
