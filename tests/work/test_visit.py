"""A visit: what was noted, what counts, and which pipes are known."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from numpy.testing import assert_allclose

from tests.work.chapel import heard_rank
from walkboard.book.keeping import Book
from walkboard.book.records import Conditions, KeptVisit, Tick, TickState
from walkboard.errors import BookError, InputError, SoundError, UnknownNameError
from walkboard.organ.model import Organ, PipeRef
from walkboard.survey.recognise.verdict import Heard
from walkboard.work import open_book, visit
from walkboard.work.before_planning import reed_follows
from walkboard.work.pipe_offsets import latest_air, pipe_cents_of_visit, visit_facts
from walkboard.work.planned_pipes import known_pipes, organ_to_plan
from walkboard.work.plans import Difference, minutes_of
from walkboard.work.second_thoughts import correct_conditions

NOON = datetime(2031, 3, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def organ(book: Book) -> Organ:
    return organ_to_plan(book, book.visits(1)[0])


def a_visit(*noted: Conditions, minutes: float | None = None) -> KeptVisit:
    return KeptVisit(1, 1, "", minutes, NOON, None, noted)


def test_what_was_noted_last_of_each_thing_counts() -> None:
    air = latest_air(
        a_visit(
            Conditions({"great": 18.0, "swell": 17.0}, 0.5, {"great": 80.0}),
            Conditions({"great": 19.0}, None, {"swell": 90.0}),
        )
    )
    assert air.celsius == {"great": 19.0, "swell": 17.0}
    assert air.humidity == 0.5
    assert air.wind_mm == {"great": 80.0, "swell": 90.0}
    assert latest_air(a_visit(Conditions({}, 0.5), Conditions({}, 0.4))).humidity == 0.4


@pytest.mark.parametrize(
    ("air", "humidity", "wind", "message"),
    [
        ({"great": 71.0}, None, {}, "71 °C is out of range"),
        ({"great": 18.0}, 55.0, {}, "out of range"),
        ({"great": 18.0}, None, {"great": 5000.0}, "out of range"),
    ],
)
def test_conditions_that_cannot_be_are_refused(organ, air, humidity, wind, message) -> None:
    with pytest.raises(InputError, match=message):
        visit.checked_conditions(organ, air, humidity, wind)


@pytest.mark.parametrize(("air", "wind"), [({"choir": 18.0}, {}), ({}, {"choir": 80.0})])
def test_conditions_of_a_division_that_is_not_there_are_refused(organ, air, wind) -> None:
    with pytest.raises(UnknownNameError, match="choir"):
        visit.checked_conditions(organ, air, None, wind)


def test_what_is_not_corrected_stays_as_it_was_noted(book: Book, organ: Organ) -> None:
    book.note_conditions(1, Conditions({"great": 19.0}, 0.5, {"great": 80.0}))
    corrected = correct_conditions(
        book, organ, book.visit(1), air_celsius={"great": 20.0}, humidity=None, wind_mm={}
    )
    assert latest_air(corrected).celsius == {"great": 20.0}
    assert (latest_air(corrected).humidity, latest_air(corrected).wind_mm) == (0.5, {"great": 80.0})
    first = correct_conditions(
        book, organ, book.visit(1), air_celsius={}, humidity=0.6, wind_mm={"great": 75.0}, which=1
    )
    assert [dict(c.air_celsius) for c in first.conditions] == [{"great": 18.0}, {"great": 20.0}]
    assert first.conditions[0].humidity == 0.6
    assert first.conditions[0].wind_mm == {"great": 75.0}
    for which in (0, 3):
        with pytest.raises(InputError, match=f"no conditions {which}"):
            correct_conditions(
                book, organ, book.visit(1), air_celsius={}, humidity=0.6, wind_mm={}, which=which
            )


def test_only_pipes_that_are_there_are_ticked(book: Book, organ: Organ) -> None:
    now = book.visit(1)
    last = PipeRef("great.octave4", 54)
    made = visit.tick(book, organ, now, last, state=TickState.DONE, note="worn top")
    assert (made.pipe, made.state, made.note) == (last, "done", "worn top")
    with pytest.raises(InputError, match=r"no great\.octave4:55"):
        visit.tick(book, organ, now, PipeRef("great.octave4", 55), state=TickState.DONE, note="")
    with pytest.raises(UnknownNameError, match=r"great\.none"):
        visit.tick(book, organ, now, PipeRef("great.none", 1), state=TickState.DONE, note="")


def test_a_pipe_that_was_tuned_since_it_was_heard_is_not_known(book: Book, organ: Organ) -> None:
    """A skipped or reopened one is, and one that was ticked before the recording was made."""
    before = pipe_cents_of_visit(book, organ, book.visit(1))
    assert [str(p.pipe) for p in before[:2]] == ["great.principal8:1", "great.principal8:2"]
    assert before[0].air_celsius == 18.0
    for number, state in ((1, "done"), (2, "skipped"), (3, "open")):
        pipe = PipeRef("great.principal8", number)
        book.set_tick(Tick(f"t{number}", 1, pipe, state, "", open_book.now()))
    early = open_book.now() - timedelta(days=1)
    book.set_tick(Tick("t4", 1, PipeRef("great.principal8", 4), "done", "", early))
    after = pipe_cents_of_visit(book, organ, book.visit(1))
    gone = {str(p.pipe) for p in before} - {str(p.pipe) for p in after}
    assert gone == {"great.principal8:1"}


def test_the_newest_description_counts_for_a_visit_opened_under_an_older_one(
    book: Book, organ: Organ
) -> None:
    """The pitch is written down as 442 Hz: the same pipes are 7.85 cents flat of it."""
    before = known_pipes(book, book.visit(1))
    text = book.organ(1).description
    assert "a4_hz = 440.0" in text
    book.revise_organ(1, organ.name, text.replace("a4_hz = 440.0", "a4_hz = 442.0"))
    after = known_pipes(book, book.visit(1))
    assert_allclose(
        [a.cents - b.cents for a, b in zip(after, before, strict=True)], -7.851, atol=0.002
    )
    assert organ_to_plan(book, book.visit(1)).pitch.a4_hz == 442.0


def test_a_first_visit_shows_nothing_of_what_reeds_follow(book: Book, organ: Organ) -> None:
    assert reed_follows(book, book.visit(1), organ) == {}


def test_a_closed_visit_takes_in_nothing(book: Book) -> None:
    book.close_visit(1, "")
    with pytest.raises(BookError, match="Visit 1 is closed"):
        visit.take_in(book, book.organ(1), book.visit(1), [], ["x"], taken=lambda _: None)


def test_what_is_no_walk_is_not_kept(organ: Organ) -> None:
    walk = heard_rank(organ, "great.octave4", [])
    silent = replace(walk, heard=Heard("Nothing sounds in this recording."))
    with pytest.raises(SoundError, match="Nothing sounds"):
        visit.refuse_nothing_heard(silent)
    visit.refuse_nothing_heard(walk)  # readings taken another way have no verdict


def test_a_visits_minutes_are_its_own_unless_others_are_given(book: Book) -> None:
    assert minutes_of(a_visit(minutes=60.0), None) == 60.0
    assert minutes_of(a_visit(minutes=60.0), 45.0) == 45.0
    with pytest.raises(InputError, match="minutes are not known"):
        minutes_of(a_visit(), None)
    with pytest.raises(InputError, match="out of range"):
        minutes_of(a_visit(), -1.0)
    facts = visit_facts(book, book.visit(1))
    assert (facts.minutes, facts.event_air_celsius) == (60.0, None)
    assert facts.air_celsius == {"great": 18.0}


def test_two_plans_differ_by_the_pipes_that_only_one_has() -> None:
    class One:
        def __init__(self, *pipes: int) -> None:
            self.items = [type("Item", (), {"pipe": pipe}) for pipe in pipes]

    found = Difference.between(One(1, 2, 3, 4), One(1, 5))  # type: ignore[arg-type]
    assert (found.more, found.fewer) == (3, 1)
