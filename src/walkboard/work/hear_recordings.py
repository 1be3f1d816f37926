"""Hears several recordings in parallel and stores each as soon as possible.

Light to import: the listener is loaded when hearing starts.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from walkboard.errors import InputError, SoundError, WalkboardError
from walkboard.work.processes import Progress, ProgressOfEach, finished, usable_cores

if TYPE_CHECKING:
    from walkboard.survey.hear.heard_walk import HeardWalk
    from walkboard.survey.plan.schedule import Schedule
    from walkboard.survey.recognise.rank_sound import RankSound

Keep: TypeAlias = "Callable[[int, HeardWalk], None]"
"""Called with a recording's number, from 0, and what was heard in it."""


@dataclass(frozen=True, eq=False)
class ToHear:
    """One recording and everything needed to hear it; sent to another process.

    Attributes
    ----------
    path : Path
    description : str
        The organ's description as text: an organ itself is not sent to another process.
    drawn : tuple of str
    air_celsius : float or None
    played, alone, before, tone_hz, sure : see `walkboard.work.hear_recording.hear_file`
    """

    path: Path
    description: str
    drawn: tuple[str, ...]
    air_celsius: float | None
    played: Schedule | None = None
    alone: tuple[HeardWalk, ...] = ()
    before: Mapping[str, RankSound] = field(default_factory=dict)
    tone_hz: float | None = None
    sure: bool = False


def hear_walk_file(progress: Progress | None, asked: ToHear) -> HeardWalk:
    """Hear one recording.

    Raises
    ------
    InputError
        As `walkboard.work.hear_recording.hear_file`, and if the description has errors.
    """
    from walkboard.organ.reading import read_organ
    from walkboard.work.hear_recording import hear_file

    return hear_file(
        asked.path,
        read_organ(asked.description),
        asked.drawn,
        asked.air_celsius,
        played=asked.played,
        alone=asked.alone,
        before=asked.before,
        tone_hz=asked.tone_hz,
        sure=asked.sure,
        progress=progress,
    )


def hear_files(
    recordings: Sequence[ToHear],
    keep: Keep,
    *,
    processes: int | None = None,
    progress: ProgressOfEach | None = None,
) -> None:
    """Hear recordings; the results do not depend on how many run in parallel.

    Parameters
    ----------
    recordings : sequence of ToHear
    keep : callable
        Called with each walk in the order of the recordings. If one cannot be heard, the others
        still are; on Ctrl-C it gets all heard so far.
    processes : int, optional
        Number in parallel; default: one per core. A single recording is heard in this process.
    progress : callable, optional

    Raises
    ------
    InputError
        At the end, naming every file that failed.
    """
    from walkboard.organ.reading import read_organ
    from walkboard.work.hear_recording import check_asked

    # Errors common to all files are raised first.
    for description, drawn, air_celsius in dict.fromkeys(
        (r.description, r.drawn, r.air_celsius) for r in recordings
    ):
        check_asked(read_organ(description), drawn, air_celsius)
    failed: dict[int, WalkboardError] = {}
    at_once = min(usable_cores() if processes is None else processes, len(recordings))
    if at_once > 1:
        _hear_at_once(recordings, at_once, keep, failed, progress)
    else:
        for number, asked in enumerate(recordings):
            report = None if progress is None else partial(progress, number)
            try:
                walk = hear_walk_file(report, asked)
            except WalkboardError as error:
                failed[number] = error
            else:
                _hand_over(number, walk, keep, failed)
    _raise(failed, len(recordings))


def _hear_at_once(
    recordings: Sequence[ToHear],
    processes: int,
    keep: Keep,
    failed: dict[int, WalkboardError],
    progress: ProgressOfEach | None,
) -> None:
    from concurrent.futures.process import BrokenProcessPool

    heard: dict[int, HeardWalk] = {}
    due = 0
    try:
        for number, future in finished(
            hear_walk_file, recordings, processes=processes, progress=progress
        ):
            try:
                heard[number] = future.result()
            except WalkboardError as error:
                failed[number] = error
            except BrokenProcessPool:
                failed[number] = InputError(
                    "The work broke off.",
                    where=str(recordings[number].path),
                    fix="Hear it on its own; it may be too large for this machine's memory.",
                )
            while due in heard or due in failed:
                if due in heard:
                    _hand_over(due, heard.pop(due), keep, failed)
                due += 1
    except KeyboardInterrupt:
        for number in sorted(heard):
            keep(number, heard.pop(number))
        raise


def _hand_over(number: int, walk: HeardWalk, keep: Keep, failed: dict[int, WalkboardError]) -> None:
    """Pass on a walk to be stored; a refused one does not stop the others."""
    try:
        keep(number, walk)
    except SoundError as refused:
        refused.where = refused.where or walk.file
        failed[number] = refused


def _raise(failed: dict[int, WalkboardError], of: int) -> None:
    if len(failed) == 1:
        raise next(iter(failed.values()))
    if failed:
        each = "".join(f"\n  {failed[number]}" for number in sorted(failed))
        raise InputError(f"{len(failed)} of {of} recordings could not be heard:{each}")
