"""Recordings from files, heard on a known organ."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from walkboard.errors import WalkboardError
from walkboard.organ.model import Organ
from walkboard.plausible import AIR_CELSIUS
from walkboard.survey.hear.before import Remembered
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.hear.walk import Progress, hear_walk
from walkboard.survey.plan.schedule import Schedule
from walkboard.work.organ_files import cannot_read, require_file


def hear_file(
    path: Path,
    organ: Organ,
    drawn: Sequence[str],
    air_celsius: float | None,
    *,
    played: Schedule | None = None,
    alone: Sequence[HeardWalk] = (),
    before: Remembered | None = None,
    tone_hz: float | None = None,
    sure: bool = False,
    progress: Progress | None = None,
) -> HeardWalk:
    """Hear the recording of one walk, with the MIDI file if a machine held the keys.

    `alone` are earlier walks in which ranks of this one sounded without each other, `before` says
    how ranks sounded in earlier recordings. `tone_hz` is the exact frequency of a tone in the
    recording that shows its clock. `sure`: the tuner is sure that these stops were drawn.

    Raises
    ------
    SoundError
        If the file is not a usable recording.
    UnknownNameError
        If the organ has no such stop.
    """
    from walkboard.listening.sound.recording import open_sound

    check_asked(organ, drawn, air_celsius)
    try:
        require_file(path)
        with path.open("rb") as stream:
            sound = open_sound(stream, path.name)
            return hear_walk(
                sound,
                organ,
                drawn,
                air_celsius,
                file=path.name,
                played=played,
                alone=alone,
                before=before,
                tone_hz=tone_hz,
                sure=sure,
                progress=progress,
            )
    except OSError as error:
        raise cannot_read(path, error) from None
    except WalkboardError as error:
        error.where = error.where or str(path)
        raise


def check_asked(organ: Organ, drawn: Sequence[str], air_celsius: float | None) -> None:
    """Raise if a walk cannot be heard whatever its recording contains.

    Raises
    ------
    UnknownNameError
        If the organ has no such stop.
    InputError
        When the air is out of range.
    """
    if air_celsius is not None:
        AIR_CELSIUS.check(air_celsius)
    organ.stops_among(drawn)
