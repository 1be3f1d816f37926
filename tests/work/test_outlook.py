"""What a visit of the book is to the drift model, and how events are taken."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.condition.organs import small_organ
from tests.survey.organs import SMALL
from walkboard.book.keeping import Book
from walkboard.book.records import Conditions, KeptEvent, Tick
from walkboard.errors import BookError, InputError
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.planning.request import PlanRequest
from walkboard.work import open_book, plans
from walkboard.work.outlook import followed, listening_for, occasion_of, past_visit, usual_minutes
from walkboard.work.plan_request import event_airs, event_named

NOON = datetime(2031, 3, 1, 12, 0, tzinfo=UTC)


def done(book: Book, pipe: PipeRef, after_s: float = 0.0) -> None:
    at = open_book.now() + timedelta(seconds=after_s)
    book.set_tick(Tick(f"tick-{pipe}", 1, pipe, "done", "", at))


def test_a_tuned_pipe_arrived_as_first_heard_and_was_left_at_its_target(book: Book) -> None:
    organ = read_organ(book.organ(1).description)
    plan = plans.kept(book, book.visit(1), PlanRequest(60.0)).plan
    item = plan.items[0]
    before = past_visit(book, organ, book.visit(1))
    done(book, item.pipe)
    after = past_visit(book, organ, book.visit(1))
    assert before.left == {}
    assert after.heard == before.heard  # its reading was made on arrival
    (left,) = after.left.values()
    assert abs(left) < 3.0  # near the description's pitch, where the plan put its reference
    assert (after.at, after.air_celsius) == (book.visit(1).opened_at.date(), {"great": 18.0})


def test_a_tuned_pipe_heard_again_was_left_where_it_was_found(book: Book) -> None:
    organ = read_organ(book.organ(1).description)
    pipe = PipeRef("great.octave4", 1)
    done(book, pipe, after_s=-3600.0)
    book.correct_conditions(book.visit(1).conditions[0].id or 0, Conditions({"great": 20.0}))
    found = past_visit(book, organ, book.visit(1))
    assert pipe not in {p.pipe for p in found.heard}
    reading = next(r.reading for r in book.readings(1) if r.reading.pipe == pipe)
    # read at 18 °C: at 20 °C the target is 5.9 cents higher, and the pipe has risen with it
    assert reading.cents_or_none is not None
    assert found.left[pipe] == pytest.approx(reading.cents_or_none - 5.9, abs=0.05)


def test_a_tuned_pipe_of_no_plan_that_nobody_heard_again_was_left_somewhere(book: Book) -> None:
    organ = read_organ(book.organ(1).description)
    done(book, PipeRef("great.twelfth", 5))
    assert past_visit(book, organ, book.visit(1)).left == {}


def test_of_few_visits_nothing_is_learned_and_those_before_one_can_be_followed(book: Book) -> None:
    kept = book.organ(1)
    organ = read_organ(kept.description)
    assert len(followed(book, kept, organ).visits) == 1
    assert followed(book, kept, organ, before=book.visit(1)).visits == ()
    with pytest.raises(InputError, match="no minutes"):
        listening_for(book, kept, organ, book.visit(1), minutes=0.0)


def test_a_visit_is_usually_as_long_as_the_last_one_stated(book: Book) -> None:
    kept = book.organ(1)
    assert usual_minutes(book, kept) == 60.0
    book.close_visit(1)
    book.open_visit(1, "", minutes=90.0)
    book.close_visit(2)
    book.open_visit(1, "")
    assert usual_minutes(book, kept) == 90.0


def test_three_hours_are_usual_where_nothing_was_stated(tmp_path: Path) -> None:
    with open_book.new(tmp_path / "book") as made:
        kept = made.add_organ("Invented chapel", SMALL)
        assert usual_minutes(made, kept) == 180.0


def an_event(**more: Any) -> KeptEvent:
    fields: dict[str, Any] = {"stops": (), "air_celsius": None, **more}
    return KeptEvent(
        id=1, organ_id=1, uid="e", starts_at=NOON, title="Recital", kept_at=NOON, **fields
    )


def test_an_event_has_the_air_stated_else_the_organs_own() -> None:
    organ = small_organ()
    assert occasion_of(organ, an_event()).air_celsius == {"great": 18.0, "swell": 18.0}
    warm = an_event(air_celsius=21.0, air_by_division={"swell": 23.0})
    assert occasion_of(organ, warm).air_celsius == {"great": 21.0, "swell": 23.0}
    assert event_airs(warm) == {"": 21.0, "swell": 23.0}
    assert event_airs(an_event()) == {}


def test_stops_that_the_organ_no_longer_has_are_no_trouble() -> None:
    organ = small_organ()
    found = occasion_of(organ, an_event(stops=("great.octave", "great.gone")))
    assert found.stops == ("great.octave",)
    assert (found.at, found.title) == (date(2031, 3, 1), "Recital")


def test_an_event_is_found_by_its_uid_unless_it_is_called_off(book: Book) -> None:
    with pytest.raises(BookError, match="no event 'e'"):
        event_named(book, 1, "e")
