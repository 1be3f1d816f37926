"""Faults: reported by players, found in walks, mended at visits."""

from __future__ import annotations

from typing import TYPE_CHECKING

from walkboard.book.records import FaultKind, KeptFault, KeptOrgan, KeptRecording
from walkboard.errors import InputError
from walkboard.listening.heard import ReadingFlag
from walkboard.organ.model import Organ, PipeRef
from walkboard.scales.keys import Key

if TYPE_CHECKING:
    from walkboard.book.keeping import Book


def report(
    book: Book,
    kept: KeptOrgan,
    organ: Organ,
    kind: str,
    words: str,
    *,
    stop: str | None = None,
    key: str | None = None,
    pipe: PipeRef | None = None,
) -> KeptFault:
    """Keep a fault; the pipe is found from stop and key where they name just one.

    Raises
    ------
    UnknownNameError
        When the organ has not such a stop, rank or key.
    """
    if stop is not None:
        sounding = organ.stop(stop)
        if key is not None and pipe is None:
            pipes = sounding.pipes_at(Key.parse(key))
            if not pipes:
                raise InputError(f"{sounding.name} sounds no pipe at {key}.", mend="Check the key.")
            pipe = pipes[0] if len(pipes) == 1 else None
    if pipe is not None and pipe.number > organ.rank(pipe.rank).pipes:
        raise InputError(f"There is no pipe {pipe}.", mend="Check its number.")
    return book.report_fault(kept.id, kind, words, stop=stop, key=key, pipe=pipe)


def suspected(recording: KeptRecording) -> tuple[tuple[FaultKind, str, Key], ...]:
    """Faults that a walk suggests: kind, stop and key; nothing is kept until someone says so."""
    walk = recording.walk
    stop = walk.drawn[0]
    dead = [(FaultKind.DEAD_NOTE, stop, key) for key in walk.silent_keys]
    off = [
        (FaultKind.OFF_SPEECH, stop, hold.key)
        for hold in walk.holds
        if hold.key is not None and any(ReadingFlag.OCTAVE in r.flags for r in hold.readings)
    ]
    return tuple(sorted([*dead, *off], key=lambda found: found[2]))
