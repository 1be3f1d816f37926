"""Recordings and visits are corrected; the original entries stay in the book."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from tests.book.making import MORNING, PRINCIPAL, VERSION, Clock, a_hold, a_plan, a_sound, a_walk
from walkboard.book import open_book
from walkboard.book.cache.seen import open_seen
from walkboard.book.keeping import Book
from walkboard.book.records import (
    Conditions,
    HearingChange,
    KeptRecording,
    KeptSettling,
    KeptVisit,
)
from walkboard.errors import BookError
from walkboard.organ.model import PipeRef

OCTAVE = replace(a_walk(a_hold(1)), drawn=("great.octave2",), air_celsius=19.0)


@pytest.fixture
def kept(book: Book, visit: KeptVisit, tmp_path: Path) -> KeptRecording:
    return book.keep_recording(visit.id, a_sound(tmp_path), a_walk(), program_version=VERSION)


def test_a_recording_labelled_anew_counts_by_its_new_label(
    book: Book, visit: KeptVisit, kept: KeptRecording
) -> None:
    new = book.relabel_recording(
        kept.id, OCTAVE, program_version=VERSION, words="wrong stop written down"
    )
    assert (new.id, new.walk, new.change) == (kept.id, OCTAVE, HearingChange.RELABELLED)
    assert book.recordings(visit.id) == (new,)
    assert book.recording_airs(visit.id) == {kept.id: 19.0}
    assert [r.walk.drawn for r in book.hearings(kept.id)] == [(PRINCIPAL,), ("great.octave2",)]
    assert len(book.readings(visit.id)) == 1
    assert all(r.superseded_in == new.hearing_id for r in book.every_reading(visit.id)[:3])
    assert new.words == "wrong stop written down"
    assert book.check() == ()


def test_a_label_may_name_an_earlier_description(
    book: Book, visit: KeptVisit, kept: KeptRecording
) -> None:
    book.add_organ("Harbour Hall", "# a wrong one")
    relabelled = book.relabel_recording(kept.id, OCTAVE, program_version=VERSION)
    assert relabelled.organ_version == 2
    back = book.relabel_recording(kept.id, OCTAVE, program_version=VERSION, organ_version=1)
    assert back.organ_version == 1
    with pytest.raises(BookError, match="no description 7"):
        book.relabel_recording(kept.id, OCTAVE, program_version=VERSION, organ_version=7)
    assert book.recordings(visit.id) == (back,)


def test_a_withdrawn_recording_no_longer_counts_but_stays(
    book: Book, visit: KeptVisit, kept: KeptRecording
) -> None:
    gone = book.withdraw_recording(kept.id, "the blower was running down")
    assert gone.is_withdrawn
    assert gone.walk.drawn == (PRINCIPAL,)
    assert book.recordings(visit.id) == ()
    assert book.withdrawn_recordings(visit.id) == (gone,)
    assert book.readings(visit.id) == ()
    assert book.best_readings(visit.id) == {}
    assert book.recording_airs(visit.id) == {}
    assert book.recording_counts(visit.organ_id) == {}
    assert book.sound_path(kept.id).is_file()
    assert len(book.hearings(kept.id)[0].walk.holds) == 3
    assert book.withdraw_recording(kept.id) == gone  # twice changes nothing
    assert book.check() == ()


def test_a_withdrawn_recording_imported_again_counts_again(
    book: Book, visit: KeptVisit, kept: KeptRecording, tmp_path: Path
) -> None:
    book.withdraw_recording(kept.id)
    again = book.keep_recording(visit.id, a_sound(tmp_path), OCTAVE, program_version=VERSION)
    assert again.id == kept.id
    assert book.recordings(visit.id) == (again,)
    assert book.recording_counts(visit.organ_id) == {visit.id: 1}
    book.withdraw_recording(kept.id)
    back = book.take_in_again(kept.id, a_walk(), program_version=VERSION)
    assert book.recordings(visit.id) == (back,)
    assert [r.change for r in book.hearings(kept.id)] == ["", "withdrawn", "", "withdrawn", ""]


def test_the_state_at_closing_stays_readable(
    book: Book, visit: KeptVisit, kept: KeptRecording
) -> None:
    before = book.readings(visit.id)
    closed = book.close_visit(visit.id)
    book.withdraw_recording(kept.id)
    assert book.readings(visit.id) == ()
    assert [r.reading for r in book.readings(visit.id, as_of=closed.closed_at)] == [
        r.reading for r in before
    ]


@pytest.mark.parametrize("how", ["relabel", "withdraw"])
def test_a_plan_made_from_it_no_longer_counts(
    book: Book, visit: KeptVisit, kept: KeptRecording, clock: Clock, how: str
) -> None:
    with open_seen(book.path, clock=clock) as seen:
        plan = seen.keep_plan(visit.id, a_plan())
        assert seen.current_plan(visit.id) == plan
        if how == "relabel":
            changed = book.relabel_recording(kept.id, OCTAVE, program_version=VERSION)
        else:
            changed = book.withdraw_recording(kept.id)
        assert seen.current_plan(visit.id) is None
        with pytest.raises(BookError, match="Plan it again"):
            seen.worklist(visit.id)
        assert [p.outdated_at for p in seen.plans(visit.id)] == [changed.heard_at]
        assert seen.best_readings(visit.id) == book.best_readings(visit.id)
        newer = seen.keep_plan(visit.id, a_plan(1))
        assert seen.current_plan(visit.id) == newer
        # The plan of a closed visit is what was worked by.
        book.withdraw_recording(kept.id)
        book.take_in_again(kept.id, a_walk(), program_version=VERSION)
        book.withdraw_recording(kept.id)
        seen.close_visit(visit.id)
        after = seen.current_plan(visit.id)
        assert after is not None
        assert after.plan == newer.plan


def test_what_a_withdrawn_live_recording_said_of_settling_is_left_out(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    ends = MORNING + timedelta(seconds=271.4)
    live = book.keep_recording(
        visit.id, a_sound(tmp_path), a_walk(), program_version=VERSION, recorded_at=ends
    )
    in_it, later = (
        KeptSettling(visit.id, PipeRef(PRINCIPAL, n), "slide", 3.9, 0.2, 6.5, 0.3, at)
        for n, at in ((1, MORNING + timedelta(seconds=100)), (2, ends + timedelta(seconds=1)))
    )
    book.keep_settlings([in_it, later])
    assert book.settlings() == (in_it, later)
    book.withdraw_recording(live.id)
    assert book.settlings() == (later,)
    assert book.settlings(visit.organ_id) == (later,)


def test_a_visit_is_corrected_and_remembers_how_it_was_opened(
    book: Book, visit: KeptVisit, clock: Clock
) -> None:
    book.correct_visit(visit.id, minutes=90.0, words="a funeral at noon")
    book.close_visit(visit.id)
    after = book.correct_visit(visit.id, purpose="before Easter")  # a closed one too
    assert (after.purpose, after.minutes) == ("before Easter", 90.0)
    assert [(c.purpose, c.minutes, c.words) for c in after.corrections] == [
        ("before the Easter services", 120.0, ""),
        ("before the Easter services", 90.0, "a funeral at noon"),
        ("before Easter", 90.0, ""),
    ]
    assert book.correct_visit(visit.id, minutes=90.0) == after  # says nothing new
    with open_book(book.path, clock=clock) as again:
        assert again.visits(visit.organ_id) == (after,)


@pytest.mark.parametrize("minutes", [-20.0, 0.0, float("nan"), float("inf"), 1e6])
def test_minutes_that_cannot_be_are_refused(book: Book, organ_id: int, minutes: float) -> None:
    with pytest.raises(BookError, match="is out of range"):
        book.open_visit(organ_id, "spring", minutes=minutes)
    assert book.visits(organ_id) == ()
    visit = book.open_visit(organ_id, "spring", minutes=60.0)
    with pytest.raises(BookError, match="is out of range"):
        book.correct_visit(visit.id, minutes=minutes)
    assert book.visit(visit.id).minutes == 60.0


def test_corrected_conditions_take_the_place_of_the_wrong_ones(book: Book, organ_id: int) -> None:
    visit = book.open_visit(organ_id, "spring", conditions=Conditions({"great": 37.0}, 0.5))
    visit = book.note_conditions(visit.id, Conditions({"great": 18.4}))
    first, second = visit.conditions
    assert first.id is not None
    book.close_visit(visit.id)
    after = book.correct_conditions(first.id, Conditions({"great": 17.3}, 0.5))
    assert [c.air_celsius["great"] for c in after.conditions] == [17.3, 18.4]
    assert after.conditions[0].noted_at == first.noted_at
    assert after.conditions[1] == second
    with pytest.raises(BookError, match="already corrected, as conditions 3"):
        book.correct_conditions(first.id, Conditions({"great": 17.0}))
    third = after.conditions[0].id
    assert third is not None
    again = book.correct_conditions(third, Conditions({"great": 17.1}, noted_at=MORNING))
    assert [c.air_celsius["great"] for c in again.conditions] == [17.1, 18.4]
    assert again.conditions[0].noted_at == MORNING
    with pytest.raises(BookError, match="no conditions 99"):
        book.correct_conditions(99, Conditions())


def test_a_clock_that_has_gone_back_closes_no_visit_before_it_was_opened(
    book: Book, visit: KeptVisit, clock: Clock
) -> None:
    clock.now = MORNING - timedelta(days=400)
    closed = book.close_visit(visit.id, "done")
    assert closed.closed_at == visit.opened_at
    assert "clock showed 2030-01-25" in closed.notes[-1].words
    assert closed.closing_note == "done"
