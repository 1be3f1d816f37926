"""Faults: placed where stop and key name one pipe, fixed once, and what a walk suggests."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.survey.organs import SMALL
from walkboard.book.keeping import Book
from walkboard.book.records import FaultKind, KeptFault, KeptRecording
from walkboard.errors import BookError, InputError, UnknownNameError
from walkboard.languages.spoken import speaking
from walkboard.languages.translation import Own, translate
from walkboard.listening.readings import Withheld
from walkboard.listening.types import ReadingFlag, SoundInfo
from walkboard.organ import examples
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Hold
from walkboard.work import faults, open_book

ORGAN: Organ = read_organ(examples.hall())
CHAPEL: Organ = read_organ(SMALL)
DEAD = FaultKind.DEAD_NOTE.value
OCTAVE = next(
    s for s in ORGAN.stops if len(s.plays) == 1 and not ORGAN.rank(s.plays[0].rank).breaks_back
)
CHORUS = next(s for s in ORGAN.stops if len(s.plays) > 1)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with open_book.new(tmp_path / "book") as made:
        made.add_organ(ORGAN.name, examples.hall())
        yield made


def reported(book: Book, **more: object) -> KeptFault:
    return faults.report(book, book.organ(1), ORGAN, DEAD, "", **more)  # type: ignore[arg-type]


def test_stop_and_key_name_the_pipe_where_they_name_just_one(book: Book) -> None:
    kept = reported(book, stop=OCTAVE.id, key="C4")
    (pipe,) = OCTAVE.pipes_at(Key.parse("C4"))
    assert kept.pipe == pipe
    assert reported(book, stop=CHORUS.id, key="C4").pipe is None
    assert reported(book, stop=OCTAVE.id).pipe is None
    named = PipeRef(OCTAVE.plays[0].rank, 1)
    assert reported(book, stop=OCTAVE.id, key="C4", pipe=named).pipe == named


def test_what_the_organ_has_not_is_refused(book: Book) -> None:
    last = ORGAN.rank(OCTAVE.plays[0].rank).pipes
    assert reported(book, pipe=PipeRef(OCTAVE.plays[0].rank, last)).pipe is not None
    with pytest.raises(InputError, match="There is no pipe"):
        reported(book, pipe=PipeRef(OCTAVE.plays[0].rank, last + 1))
    with pytest.raises(InputError, match="sounds no pipe at C9"):
        reported(book, stop=OCTAVE.id, key="C9")
    with pytest.raises(UnknownNameError):
        reported(book, stop="great.nothing")


def test_a_player_who_names_a_key_too_high_is_not_sent_away(book: Book) -> None:
    stated = faults.ConsoleReport(DEAD, "no sound", OCTAVE.id, "C9", "Organist")
    kept = faults.report_from_console(book, book.organ(1), ORGAN, stated)
    assert (kept.words, kept.key, kept.pipe, kept.stop) == ("no sound (C9)", None, None, OCTAVE.id)
    assert kept.reporter == "Organist"
    right = faults.report_from_console(book, book.organ(1), ORGAN, replace(stated, key="C4"))
    assert (right.words, right.key) == ("no sound", "C4")
    general = faults.report_from_console(
        book, book.organ(1), ORGAN, faults.ConsoleReport(DEAD, "x")
    )
    assert (general.stop, general.key) == (None, None)


def test_a_fault_can_be_placed_later(book: Book) -> None:
    kept = reported(book)
    placed = faults.link(book, ORGAN, kept.id, stop=OCTAVE.id, key="D4")
    assert placed.pipe == OCTAVE.pipes_at(Key.parse("D4"))[0]
    assert faults.division_of(ORGAN, placed) == ORGAN.rank(placed.pipe.rank).division
    by_stop = reported(book, stop=CHORUS.id)
    assert faults.division_of(ORGAN, by_stop) == CHORUS.division
    assert faults.division_of(ORGAN, kept) is None


def test_a_phone_that_says_the_same_twice_is_no_error_and_something_else_is(book: Book) -> None:
    kept = reported(book, stop=OCTAVE.id, key="C4")
    fixed = faults.mark_fixed_once(book, kept.id, None, "new spring")
    assert fixed.mended_at is not None
    assert faults.mark_fixed_once(book, kept.id, None, "new spring") == fixed
    with pytest.raises(BookError):
        faults.mark_fixed_once(book, kept.id, None, "something else")


def test_what_is_noted_at_a_pipe_and_taken_back(book: Book) -> None:
    visit = book.open_visit(1, "")
    kept = reported(book, stop=OCTAVE.id, key="C4", uid="first")
    other = reported(book, stop=OCTAVE.id, key="D4", uid="second")
    assert kept.pipe is not None
    assert faults.is_noted(book, 1, DEAD, kept.pipe)
    assert not faults.is_noted(book, 1, DEAD, kept.pipe, but="first")
    assert not faults.is_noted(book, 1, FaultKind.OFF_SPEECH.value, kept.pipe)
    faults.take_back(book, 1, "first", visit.id, "by mistake")
    assert not faults.is_noted(book, 1, DEAD, kept.pipe)
    assert [fault.id for fault in book.open_faults(1)] == [other.id]


def test_only_words_that_nobody_typed_are_translated() -> None:
    ours = (faults.FOUND_AT_PIPE, faults.TAKEN_BACK, faults.found_in("nave.wav"))
    assert not any(isinstance(faults.translatable(words), Own) for words in ours)
    typed = ("Found at the pipe", "It is Great.", "Found in the recording", "")
    assert all(isinstance(faults.translatable(words), Own) for words in typed)
    with speaking("de"):
        assert translate(faults.translatable(ours[0])) == "An der Pfeife gefunden."
        assert translate(faults.translatable("Fault")) == "Fault"


def test_what_a_walk_suggests_names_the_stop_that_it_is_of() -> None:
    """A key at which no stop speaks is of none; one pipe off speech is of the stop that has it."""
    principal, octave = "great.principal8", "great.octave4"
    stops = {stop.id for stop in CHAPEL.stops}
    assert {principal, octave} <= stops
    off = Withheld(pipe=PipeRef(octave, 20), start_s=1.0, end_s=3.0, flags=(ReadingFlag.OCTAVE,))
    good = Withheld(pipe=PipeRef(principal, 20), start_s=1.0, end_s=3.0)
    hold = Hold(1, Key.parse("G3"), 20, 0.5, 3.0, (good, off))
    walk = HeardWalk(
        "w.flac",
        SoundInfo(5.0, 48_000, 1, "FLAC"),
        CHAPEL.name,
        (principal, octave),
        None,
        (hold,),
        (Key.parse("A3"),),
    )
    kept = KeptRecording(1, 1, "", "w.flac", 1, walk, datetime(2026, 5, 4, tzinfo=UTC), "1")
    assert faults.suspected(CHAPEL, kept) == (
        (FaultKind.OFF_SPEECH, octave, Key.parse("G3")),
        (FaultKind.DEAD_NOTE, None, Key.parse("A3")),
    )
    lone = replace(kept, walk=replace(walk, drawn=(octave,), holds=()))
    assert faults.suspected(CHAPEL, lone) == ((FaultKind.DEAD_NOTE, octave, Key.parse("A3")),)
