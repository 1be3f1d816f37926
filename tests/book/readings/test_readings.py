"""Which reading of a pipe counts."""

from dataclasses import replace
from pathlib import Path

import pytest

from tests.book.making import (
    PRINCIPAL,
    VERSION,
    a_hold,
    a_reading,
    a_sound,
    a_walk,
)
from tests.readings import measured
from walkboard.book.keeping import Book
from walkboard.book.records import KeptRecording, KeptVisit, Tick
from walkboard.errors import BookError
from walkboard.organ.model import PipeRef
from walkboard.survey.hear.heard_walk import Reading

PIPE = PipeRef(PRINCIPAL, 1)


@pytest.fixture
def take_in(book: Book, visit: KeptVisit, tmp_path: Path):
    def take_in(name: str, *readings: Reading) -> KeptRecording:
        source = a_sound(tmp_path, f"{name}.flac", name.encode())
        return book.keep_recording(
            visit.id, source, a_walk(a_hold(1, *readings)), program_version=VERSION
        )

    return take_in


def best_cents(book: Book, visit: KeptVisit) -> float | None:
    return book.best_readings(visit.id)[PIPE].reading.cents_or_none


def test_of_several_holds_the_surest_counts(book: Book, visit: KeptVisit, take_in) -> None:
    take_in("alone", a_reading(cents=1.0, sigma=0.05))
    take_in("in a registration", a_reading(cents=1.4, sigma=0.40))
    assert best_cents(book, visit) == 1.0


def test_of_equally_sure_ones_the_newest_counts(book: Book, visit: KeptVisit, take_in) -> None:
    take_in("first", a_reading(cents=1.0, sigma=0.05))
    take_in("second", a_reading(cents=1.4, sigma=0.05))
    assert best_cents(book, visit) == 1.4


def test_a_reading_without_value_counts_only_where_there_is_no_other(
    book: Book, visit: KeptVisit, take_in
) -> None:
    take_in("dead", a_reading(cents=None))
    assert best_cents(book, visit) is None
    take_in("alive", a_reading(cents=2.0, sigma=3.0))
    take_in("dead again", a_reading(cents=None), a_reading(cents=None))
    assert best_cents(book, visit) == 2.0


def test_readings_from_before_the_tuning_no_longer_count(
    book: Book, visit: KeptVisit, take_in
) -> None:
    take_in("before", a_reading(cents=-9.0, sigma=0.02))
    book.set_tick(Tick("t1", visit.id, PIPE, "done", "", book._now()))
    assert best_cents(book, visit) == -9.0  # nothing newer was heard
    take_in("after", a_reading(cents=0.1, sigma=0.3))
    assert best_cents(book, visit) == 0.1
    book.set_tick(Tick("t2", visit.id, PIPE, "open", "it was its neighbour", book._now()))
    assert best_cents(book, visit) == -9.0


def test_the_time_of_recording_counts_not_that_of_taking_in(
    book: Book, visit: KeptVisit, take_in, tmp_path: Path
) -> None:
    take_in("before", a_reading(cents=-9.0, sigma=0.02))
    recorded_at = book._now()
    book.set_tick(Tick("t1", visit.id, PIPE, "done", "", book._now()))
    late = a_walk(a_hold(1, a_reading(cents=-8.9, sigma=0.01)))
    book.keep_recording(
        visit.id,
        a_sound(tmp_path, "late.flac", b"late"),
        late,
        program_version=VERSION,
        recorded_at=recorded_at,
    )
    take_in("after", a_reading(cents=0.2, sigma=0.3))
    assert best_cents(book, visit) == 0.2


def test_superseded_readings_do_not_count(book: Book, visit: KeptVisit, take_in) -> None:
    kept = take_in("walk", a_reading(cents=5.0, sigma=0.01))
    newer = a_walk(a_hold(1, a_reading(cents=4.0, sigma=0.2)))
    book.take_in_again(kept.id, newer, program_version="0.2.0")
    assert best_cents(book, visit) == 4.0


def test_a_pipe_over_all_visits(book: Book, visit: KeptVisit, tmp_path: Path) -> None:
    cents = []
    for year in range(3):
        at_year = visit if year == 0 else book.open_visit(visit.organ_id, f"year {year}")
        walk = a_walk(a_hold(1, a_reading(1, cents=float(year))), a_hold(2))
        source = a_sound(tmp_path, "walk.flac", bytes([year]))
        kept = book.keep_recording(at_year.id, source, walk, program_version=VERSION)
        newer = replace(walk, warnings=("heard again",))
        book.take_in_again(kept.id, newer, program_version="0.2.0")
        book.close_visit(at_year.id)
        cents.append(float(year))
    other = book.add_organ("Village Church", "format = 1")

    found = book.readings_of_pipe(visit.organ_id, PIPE)
    assert [measured(r.reading).cents for r in found] == cents
    assert [r.program_version for r in found] == ["0.2.0"] * 3
    assert sorted({r.visit_id for r in found}) == [r.visit_id for r in found]
    assert len(book.every_reading_of_pipe(visit.organ_id, PIPE)) == 6
    assert book.readings_of_pipe(other.id, PIPE) == ()
    with pytest.raises(BookError, match="There is no organ 9"):
        book.readings_of_pipe(9, PIPE)


def test_a_reading_knows_where_it_comes_from(book: Book, visit: KeptVisit, take_in) -> None:
    kept = take_in("walk", a_reading(1))
    (reading,) = book.readings(visit.id)
    assert (reading.recording_id, reading.hearing_id) == (kept.id, kept.hearing_id)
    assert (reading.visit_id, reading.hold, reading.program_version) == (visit.id, 1, VERSION)
    assert reading.key == a_hold(1).key
    assert reading.sounded_at == kept.kept_at
    assert (reading.reading.start_s, reading.reading.end_s) == (4.5, 7.1)
