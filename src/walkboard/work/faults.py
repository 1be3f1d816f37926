"""Faults: reported by players, found in walks, fixed at visits."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from walkboard.book.records import FaultKind, KeptFault, KeptOrgan, KeptRecording
from walkboard.errors import InputError
from walkboard.languages.translation import Own
from walkboard.listening.types import ReadingFlag
from walkboard.organ.model import Organ, PipeRef
from walkboard.scales.keys import Key
from walkboard.sheets.keyholder import full_stop_words
from walkboard.sheets.wording import rank_words

if TYPE_CHECKING:
    from walkboard.book.keeping import Book


# Words of faults that nobody typed. The book holds them in English, whichever language was spoken
# when they were noted; they are translated where they are read.
FOUND_AT_PIPE = "Found at the pipe."
TAKEN_BACK = "Noted by mistake, taken back."
_FOUND_IN = re.compile(r"Found in the recording .+\.")


def found_in(file: str) -> str:
    """The words of a fault that a recording shows."""
    return f"Found in the recording {file}."


def translatable(words: str) -> str:
    """Words of a fault as the book holds them: those that somebody typed are never translated."""
    ours = words in {FOUND_AT_PIPE, TAKEN_BACK} or _FOUND_IN.fullmatch(words)
    return words if ours else Own(words)


@dataclass(frozen=True, slots=True)
class ConsoleReport:
    """What a player fills in at the console; fields may be empty."""

    kind: str
    words: str = ""
    stop: str = ""
    key: str = ""
    name: str = ""
    uid: str | None = None


def place_words(organ: Organ, fault: KeptFault, name_key: Callable[[Key], str]) -> str:
    """A fault's place as text; empty if unknown.

    What an older description had and the newest no longer has is shown by its id.
    """
    stops = {stop.id: stop for stop in organ.stops}
    ranks = {rank.id: rank for rank in organ.ranks}
    found = []
    if fault.stop is not None:
        known = stops.get(fault.stop)
        found.append(fault.stop if known is None else full_stop_words(organ, known))
    if fault.key is not None:
        found.append(name_key(Key.parse(fault.key)))
    if fault.pipe is not None and not _names_one_pipe(organ, fault):
        rank = ranks.get(fault.pipe.rank)
        if rank is None or fault.pipe.number > rank.pipes:
            pipe = f"{fault.pipe.rank} {fault.pipe.number}"
        else:
            pipe = f"{rank_words(organ, rank)} {name_key(rank.key_of(fault.pipe.number))}"
        found.append(pipe if not found else f"({pipe})")
    return " ".join(found)


def _names_one_pipe(organ: Organ, fault: KeptFault) -> bool:
    """Whether stop and key say already which pipe it is."""
    if fault.stop is None or fault.key is None or fault.stop not in {s.id for s in organ.stops}:
        return False
    return organ.stop(fault.stop).pipes_at(Key.parse(fault.key)) == (fault.pipe,)


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
    uid: str | None = None,
    reporter: str = "",
) -> KeptFault:
    """Store a fault; the pipe is found from stop and key if they name just one.

    Raises
    ------
    UnknownNameError
        If the organ has no such stop, rank or key.
    """
    pipe = _placed(organ, stop, key, pipe)
    return book.report_fault(
        kept.id, kind, words, stop=stop, key=key, pipe=pipe, uid=uid, reporter=reporter
    )


def report_from_console(
    book: Book,
    kept: KeptOrgan,
    organ: Organ,
    stated: ConsoleReport,
) -> KeptFault:
    """Store a player's report; a key the stop does not have goes into the text and is not refused.

    Raises
    ------
    UnknownNameError
        If the kind is unknown, or the organ has no such stop.
    """
    stop, key, words = stated.stop or None, stated.key or None, stated.words
    if stop is not None and key is not None and not organ.stop(stop).pipes_at(Key.parse(key)):
        words = f"{words} ({key})".strip()
        key = None
    return report(
        book,
        kept,
        organ,
        stated.kind,
        words,
        stop=stop,
        key=key,
        uid=stated.uid,
        reporter=stated.name,
    )


def link(
    book: Book,
    organ: Organ,
    fault_id: int,
    *,
    stop: str | None = None,
    key: str | None = None,
    pipe: PipeRef | None = None,
) -> KeptFault:
    """Link a fault to something else; the pipe is found from stop and key as in `report`.

    Raises
    ------
    UnknownNameError
        If the organ has no such stop, rank or key.
    """
    pipe = _placed(organ, stop, key, pipe)
    return book.link_fault(fault_id, stop=stop, key=key, pipe=pipe)


def mark_fixed_once(book: Book, fault_id: int, visit_id: int | None, note: str) -> KeptFault:
    """Mark a fault as fixed; doing it twice, as from a phone that was asleep, is not an error."""
    fault = book.fault(fault_id)
    if fault.mended_at is not None and (fault.mended_in_visit, fault.mended_note) == (
        visit_id,
        note,
    ):
        return fault
    return book.mark_fixed(fault_id, visit_id=visit_id, note=note)


def is_noted(book: Book, organ_id: int, kind: str, pipe: PipeRef, *, but: str = "") -> bool:
    """Whether a pipe has an open fault of this kind, other than the one with uid `but`."""
    return any(
        (fault.pipe, fault.kind) == (pipe, kind) and fault.uid != but
        for fault in book.open_faults(organ_id)
    )


def take_back(book: Book, organ_id: int, uid: str, visit_id: int, note: str) -> None:
    """Take back a fault noted by mistake; one that is not open is left unchanged."""
    for fault in book.open_faults(organ_id):
        if fault.uid == uid:
            mark_fixed_once(book, fault.id, visit_id, note)


def division_of(organ: Organ, fault: KeptFault) -> str | None:
    """The division of a fault, if known; from its pipe first."""
    ranks = {rank.id: rank.division for rank in organ.ranks}
    stops = {stop.id: stop.division for stop in organ.stops}
    if fault.pipe is not None and fault.pipe.rank in ranks:
        return ranks[fault.pipe.rank]
    return None if fault.stop is None else stops.get(fault.stop)


def _placed(
    organ: Organ, stop: str | None, key: str | None, pipe: PipeRef | None
) -> PipeRef | None:
    """The pipe meant, if it was named or stop and key name just one."""
    if stop is not None:
        sounding = organ.stop(stop)
        if key is not None and pipe is None:
            pipes = sounding.pipes_at(Key.parse(key))
            if not pipes:
                raise InputError(f"{sounding.name} sounds no pipe at {key}.", fix="Check the key.")
            pipe = pipes[0] if len(pipes) == 1 else None
    if pipe is not None and pipe.number > organ.rank(pipe.rank).pipes:
        raise InputError(f"There is no pipe {pipe}.", fix="Check its number.")
    return pipe


def suspected(
    organ: Organ, recording: KeptRecording
) -> tuple[tuple[FaultKind, str | None, Key], ...]:
    """Faults suggested by a walk: kind, stop and key; nothing is stored until someone confirms.

    A key at which none of several stops sounds is a fault of no single stop.
    """
    walk = recording.walk
    stops = organ.stops_among(walk.drawn)
    lone = stops[0].id if len(stops) == 1 else None
    stop_of = {plays.rank: stop.id for stop in stops for plays in stop.plays}
    dead = [(FaultKind.DEAD_NOTE, lone, key) for key in walk.silent_keys]
    off = {
        (FaultKind.OFF_SPEECH, stop_of.get(reading.pipe.rank), hold.key)
        for hold in walk.holds
        for reading in hold.readings
        if hold.key is not None and ReadingFlag.OCTAVE in reading.flags
    }
    return tuple(sorted([*dead, *off], key=lambda found: (found[2], found[0], found[1] or "")))
