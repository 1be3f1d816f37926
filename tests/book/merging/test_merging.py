"""Two tuners, two copies: what each did to the same thing is kept and shown."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.book.making import (
    DESCRIPTION,
    MORNING,
    PRINCIPAL,
    Clock,
    a_hold,
    a_plan,
    a_reading,
    a_sound,
    a_walk,
)
from walkboard.book import open_book
from walkboard.book.keeping import Book
from walkboard.book.records import Fork, ForkKind, Tick, TickState
from walkboard.errors import BookError
from walkboard.organ.model import PipeRef


@pytest.fixture
def home(new_folder: Callable[[], Path], clock: Clock) -> Iterator[Book]:
    with open_book(new_folder(), clock=clock) as book:
        book.name_device("Office")
        organ = book.add_organ("Harbour Hall", DESCRIPTION).id
        book.report_fault(organ, "cipher", "c3")
        yield book


@pytest.fixture
def away(home: Book, new_folder: Callable[[], Path]) -> Iterator[Book]:
    """A copy taken along, whose clock is slow by a day."""
    slow = Clock(MORNING.replace(month=2, day=28))
    with ExitStack() as stack:
        book = stack.enter_context(open_book(new_folder(), clock=slow))
        book.name_device("Chapel laptop")
        book.merge(home)
        yield book


def both(home: Book, away: Book) -> tuple[Fork, ...]:
    """What is forked when all is in both; they agree."""
    home.merge(away)
    away.merge(home)
    found = home.forks(1)
    assert [(f.kind, [s.device for s in f.sides]) for f in found] == [
        (f.kind, [s.device for s in f.sides]) for f in away.forks(1)
    ]
    return found


def test_two_open_visits_are_both_shown_until_one_is_closed(home: Book, away: Book) -> None:
    home.open_visit(1, "before Easter")
    away.open_visit(1, "a cipher")
    (fork,) = both(home, away)
    assert fork.kind is ForkKind.OPEN_VISITS
    assert {(side.device, side.words) for side in fork.sides} == {
        ("Office", "before Easter"),
        ("Chapel laptop", "a cipher"),
    }
    with pytest.raises(BookError, match="still open"):
        home.open_visit(1, "a third")
    home.close_visit(fork.sides[0].id)
    assert home.forks(1) == ()
    assert both(home, away) == ()
    assert home.visit_in_progress(1) is not None


def test_a_visit_closed_on_both_keeps_both_closings(home: Book, away: Book) -> None:
    visit = home.open_visit(1, "spring").id
    away.merge(home)
    home.close_visit(visit, "all done")
    away.close_visit(away.visits(1)[0].id, "reeds left")
    (fork,) = both(home, away)
    assert fork.kind is ForkKind.CLOSINGS
    assert sorted(side.words for side in fork.sides) == ["all done", "reeds left"]
    newest = next(side for side in fork.sides if side.counts)
    for book in (home, away):
        assert book.visits(1)[0].closing_note == newest.words
        assert book.visits(1)[0].closed_at == newest.noted_at


def test_a_fault_fixed_on_both_keeps_both_fixes(home: Book, away: Book) -> None:
    home.mark_fixed(1, note="spring replaced")
    away.mark_fixed(1, note="pallet cleaned")
    (fork,) = both(home, away)
    assert (fork.kind, fork.about) == (ForkKind.FIXES, "fault 1")
    assert sorted(side.words for side in fork.sides) == ["pallet cleaned", "spring replaced"]
    assert home.faults(1)[0].mended_note == away.faults(1)[0].mended_note


def test_one_organ_described_twice(home: Book, away: Book) -> None:
    home.revise_organ(1, "Harbour Hall", DESCRIPTION + "# office\n")
    away.revise_organ(1, "Harbour Hall", DESCRIPTION + "# chapel\n")
    (fork,) = both(home, away)
    assert fork.kind is ForkKind.DESCRIPTIONS
    versions = [[one.description for one in book.organ_versions(1)] for book in (home, away)]
    assert versions[0] == versions[1]
    assert [one.version for one in home.organ_versions(1)] == [1, 2, 3]
    assert home.organ(1).description == versions[0][-1]
    home.revise_organ(1, "Harbour Hall", DESCRIPTION + "# both\n")
    assert both(home, away) == ()
    assert home.organ(1).version == away.organ(1).version == 4


def test_a_plan_names_its_description_by_the_number_it_has_here(home: Book, away: Book) -> None:
    text = DESCRIPTION + "# chapel\n"
    away.revise_organ(1, "Harbour Hall", text)
    visit = away.open_visit(1, "spring").id
    away.keep_plan(visit, a_plan(), organ_version=2)
    away.close_visit(visit)
    home.revise_organ(1, "Harbour Hall", DESCRIPTION + "# office\n")
    for book in (home, away):
        book.merge(away if book is home else home)
        plan = book.plans(book.visits(1)[0].id)[0]
        described = {one.version: one.description for one in book.organ_versions(1)}
        assert plan.organ_version is not None
        assert described[plan.organ_version] == text


def test_one_recording_imported_and_heard_on_both_counts_once(
    home: Book, away: Book, tmp_path: Path
) -> None:
    visit = home.open_visit(1, "spring").id
    away.merge(home)
    for book, cents in ((home, 1.0), (away, 2.0)):
        walk = a_walk(a_hold(1, a_reading(1, cents=cents)))
        book.keep_recording(visit, a_sound(tmp_path), walk, program_version="1")
    (fork,) = both(home, away)
    assert fork.kind is ForkKind.HEARINGS
    for book in (home, away):
        (one,) = book.recordings(visit)
        assert len(book.hearings(one.id)) == 2
        (reading,) = book.readings(visit)
        every = book.every_reading(visit)
        assert [r.is_current for r in every] == [False, True]
        assert every[0].superseded_by == reading.id
        assert book.check() == ()
    home.withdraw_recording(home.recordings(visit)[0].id)
    assert both(home, away) == ()
    assert home.readings(visit) == away.readings(visit) == ()
    assert len(home.withdrawn_recordings(visit)) == 1


def test_a_tick_sent_to_both_is_one_tick(home: Book, away: Book) -> None:
    visit = home.open_visit(1, "spring").id
    away.merge(home)
    for book in (home, away):
        book.set_tick(Tick("t", visit, PipeRef(PRINCIPAL, 1), TickState.DONE, "", MORNING, "phone"))
    both(home, away)
    for book in (home, away):
        assert [tick.uid for tick in book.ticks(visit)] == ["t"]
        assert book.visit_summaries(1)[visit].pipes_done == 1


def test_two_organs_of_one_name_are_both_kept(home: Book, away: Book) -> None:
    home.add_organ("Mill Chapel", DESCRIPTION)
    away.add_organ("Mill Chapel", DESCRIPTION)
    home.merge(away)
    assert [organ.name for organ in home.organs()].count("Mill Chapel") == 2
    (fork,) = home.forks(2)
    assert fork.kind is ForkKind.NAMES


def test_what_is_noted_after_a_merge_counts_after_it_on_a_slow_clock_too(
    home: Book, away: Book
) -> None:
    home.keep_weight(1, PRINCIPAL, 2.0)
    away.merge(home)  # the clock of this copy is a day behind
    away.keep_weight(1, PRINCIPAL, 3.0)
    assert both(home, away) == ()
    for book in (home, away):
        assert [weight.factor for weight in book.weights(1)] == [3.0]


def test_two_long_series_are_put_together(home: Book, away: Book) -> None:
    for book in (home, away):
        for factor in (2.0, 3.0, 4.0):
            book.keep_weight(1, PRINCIPAL, factor, book.device().name)
    both(home, away)
    series = [
        [(one.words, one.factor) for one in book.weight_versions(1, PRINCIPAL)]
        for book in (home, away)
    ]
    assert series[0] == series[1]
    assert len(series[0]) == 6
    assert len(home.weights(1)) == 1


def test_a_merge_says_when_each_fact_arrived(home: Book, away: Book) -> None:
    home.mark_fixed(1, note="here")
    away.mark_fixed(1, note="there")
    home.merge(away)
    (fork,) = home.forks(1)
    by_device = {side.device: side for side in fork.sides}
    assert by_device["Office"].arrived_at is None
    arrived = by_device["Chapel laptop"].arrived_at
    assert arrived is not None
    assert arrived > by_device["Office"].noted_at > by_device["Chapel laptop"].noted_at


def test_photographs_come_with_their_files(home: Book, away: Book, tmp_path: Path) -> None:
    picture = a_sound(tmp_path, "slide.jpg", b"\xff\xd8\xff so to say")
    away.keep_photograph(1, picture, shows="a loose slide", rights="ours", fault_id=1)
    home.merge(away, recordings=False)
    (photograph,) = home.photographs(1)
    assert photograph.path.read_bytes() == picture.read_bytes()


def test_a_changed_file_is_not_copied(home: Book, away: Book, tmp_path: Path) -> None:
    visit = away.open_visit(1, "spring").id
    kept = away.keep_recording(visit, a_sound(tmp_path), a_walk(), program_version="1")
    away.sound_path(kept.id).write_bytes(b"something else")
    merged = home.merge(away)
    assert ["has changed" in problem.what for problem in merged.problems] == [True]
    assert len(home.recordings(home.visits(1)[0].id)) == 1
    assert ["missing" in problem.what for problem in home.check()] == [True]


@pytest.mark.sqlite
def test_a_book_from_a_backup_counts_on_where_it_was(
    home: Book, away: Book, tmp_path: Path
) -> None:
    backup = tmp_path / "backup"
    home.copy_to(backup)
    home.add_note(home.open_visit(1, "spring").id, "after the backup")
    away.merge(home)
    with open_book(backup, clock=Clock()) as restored:
        restored.merge(away)
        restored.add_note(restored.visits(1)[0].id, "after it came back")
        away.merge(restored)
        notes = [note.words for note in away.visits(1)[0].notes]
        assert notes == ["after the backup", "after it came back"]
        with away._reading() as session:
            found = session.connection().exec_driver_sql(
                "SELECT device_uid, device_sequence FROM note UNION ALL"
                " SELECT device_uid, device_sequence FROM visit"
            )
            numbers = found.fetchall()
        assert len(numbers) == len(set(numbers)) == 3


def test_work_that_a_closing_missed_is_shown_until_the_visit_is_closed_with_it(
    home: Book, away: Book
) -> None:
    """The office closes a visit; in the church, where nobody knows, the tuner goes on."""
    home.open_visit(1, "before Easter")
    away.merge(home)
    tick(home, 1, "office")
    tick(away, 2, "early")
    home.merge(away)
    home.close_visit(1, "done")  # which knows of the ticks of both
    assert both(home, away) == ()

    home.open_visit(1, "after Easter")
    away.merge(home)
    at_church = away.visits(1)[-1].id
    home.close_visit(2, "done")
    for number in (3, 4):
        tick(away, number, f"late {number}", visit_id=at_church)
    away.keep_plan(at_church, a_plan(1), organ_version=1)
    (fork,) = both(home, away)
    assert (fork.kind, fork.about) == (ForkKind.MISSED_WORK, "visit 2")
    closed, work = fork.sides
    assert (closed.device, closed.words, closed.counts) == ("Office", "done", True)
    assert (work.device, work.words) == ("Chapel laptop", "2 ticks, one plan")
    home.add_note(2, "seen")  # a note says nothing of what its author had before him
    assert len(home.forks(1)) == 1
    home.close_visit(2, "done, with the reeds")
    assert both(home, away) == ()
    assert away.visit(at_church).closing_note == "done, with the reeds"
    with pytest.raises(BookError, match="now read-only"):
        home.close_visit(2)


def test_whoever_closes_after_their_own_work_missed_nothing(home: Book, away: Book) -> None:
    home.open_visit(1, "before Easter")
    away.merge(home)
    tick(away, 2, "early")
    away.close_visit(1, "in the church")
    home.close_visit(1, "in the office")
    assert [fork.kind for fork in both(home, away)] == [ForkKind.CLOSINGS]


def tick(book: Book, number: int, uid: str, *, visit_id: int = 1) -> None:
    pipe = PipeRef(PRINCIPAL, number)
    book.set_tick(Tick(uid, visit_id, pipe, TickState.DONE, "", MORNING, "phone"))
