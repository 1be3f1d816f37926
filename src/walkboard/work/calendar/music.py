"""Reads an event's music: Standard MIDI Files, with the stops drawn for them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.planning.value.use import Note, RegistrationUse, from_notes
from walkboard.survey.plan.midi_file import midi_messages

_MOST_BYTES = 20_000_000
_MOST_SECONDS = 6.0 * 3600.0


def read_music(
    path: Path,
    organ: Organ,
    drawn: Sequence[str],
    divisions: Mapping[int, str] | None = None,
) -> RegistrationUse:
    """What a Standard MIDI File exposes with some stops drawn.

    Parameters
    ----------
    path : Path
        Type 0 or 1; tempo changes are followed (the MIDI Association's Standard MIDI Files 1.0).
    organ : Organ
    drawn : sequence of str
        Ids of the stops, drawn from beginning to end.
    divisions : mapping of channel (from 1) to division id, optional
        The keyboard of each channel. Not needed if all stops belong to one division.

    Raises
    ------
    InputError
        If it is not a MIDI file, the channels' divisions are not given, or nothing sounds.
    UnknownNameError
        If the organ has no such stop or division.
    """
    if not drawn:
        raise InputError("No stop is drawn for the music.", where=str(path), fix="Name them.")
    own = {stop.division for stop in organ.stops_among(drawn)}
    division_of = dict(divisions or {})
    for division in division_of.values():
        organ.division(division)
    notes = _notes(path)
    if len(own) == 1 and not division_of:
        (only,) = own
        division_of = dict.fromkeys(notes, only)
    missing = sorted(set(notes) - set(division_of))
    if missing:
        channels = ", ".join(str(channel) for channel in missing)
        raise InputError(
            f"The stops are of several divisions, and nobody says where channel {channels} is "
            "played.",
            where=str(path),
            fix="Say it for each channel, as --on 1=great; a channel left out of the music is "
            "none.",
        )
    played = [
        Note(division_of[channel], semitone, start_s, end_s)
        for channel, found in notes.items()
        for semitone, start_s, end_s in found
    ]
    return from_notes(organ, drawn, played, path.name)


def _notes(path: Path) -> dict[int, list[tuple[int, float, float]]]:
    """Notes by channel from 1: key, beginning and end in seconds."""
    found: dict[int, list[tuple[int, float, float]]] = {}
    held: dict[tuple[int, int], float] = {}
    now_s = 0.0
    for message in _messages(path):
        now_s += message.time
        if now_s > _MOST_SECONDS:
            raise InputError(
                "The music is longer than six hours.",
                where=str(path),
                fix="Check that its tempo is right.",
            )
        if message.type not in {"note_on", "note_off"}:
            continue
        place = message.channel + 1, message.note
        begun = held.pop(place, None)
        if begun is not None and now_s > begun:
            found.setdefault(place[0], []).append((place[1], begun, now_s))
        if message.type == "note_on" and message.velocity > 0:
            held[place] = now_s
    for (channel, note), begun in held.items():  # notes never ended
        if now_s > begun:
            found.setdefault(channel, []).append((note, begun, now_s))
    if not found:
        raise InputError("The music has no notes.", where=str(path), fix="Choose another file.")
    return found


def _messages(path: Path) -> list[Any]:
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise InputError(
                "The file is too large for music.", where=str(path), fix="Take another file."
            )
        if not path.is_file():
            raise OSError("it is not a file")
        data = path.read_bytes()
    except OSError as error:
        raise InputError(
            f"The music cannot be read ({error.strerror or error}).",
            where=str(path),
            fix="Give a Standard MIDI File, type 0 or 1.",
        ) from error
    return midi_messages(data, where=str(path))
