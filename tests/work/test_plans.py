"""Plans: tried at a visit, kept, the same from the command line and from the page."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from tests.commands import Run
from tests.condition.organs import readings, small_organ
from tests.work.chapel import EVENT_CELSIUS, chapel_book
from walkboard.book.cache.seen import SeenBook
from walkboard.book.records import FaultKind, TickState
from walkboard.condition.assess import assess
from walkboard.errors import InputError, NotEnoughMinutesError
from walkboard.organ.model import PipeRef
from walkboard.planning.request import PlanRequest
from walkboard.planning.what_if import prepare
from walkboard.work import visit as visit_work
from walkboard.work.before_planning import asked_before
from walkboard.work.open_book import now
from walkboard.work.plan_request import EventNeeds, request_of
from walkboard.work.plans import curve, kept, prepared, tried
from walkboard.work.snapshot import condition, opened_to_see, organ_at, pipe_cents


@pytest.fixture
def book(tmp_path: Path) -> Iterator[SeenBook]:
    chapel_book(tmp_path / "book")
    with opened_to_see(tmp_path / "book") as opened:
        yield opened


def test_a_try_is_the_plan_that_would_be_made(book: SeenBook) -> None:
    visit = book.visits(1)[0]
    made = prepare(
        organ_at(book, visit), condition(book, visit), tuple(pipe_cents(book, visit).values())
    ).plan(PlanRequest(20.0, prove_order=True))
    one = tried(book, visit, PlanRequest(20.0))
    assert {i.pipe for i in one.items} == {i.pipe for i in made.items}
    assert one.cost_after == pytest.approx(made.cost_after)
    assert book.current_plan(visit.id) is None


def test_more_minutes_never_leave_more(book: SeenBook) -> None:
    visit = book.visits(1)[0]
    points = curve(book, visit, PlanRequest(20.0), 120.0)
    costs = [point.cost for point in points]
    assert costs == sorted(costs, reverse=True)
    assert costs[0] > costs[-1]
    assert points[0].minutes == 0.0
    assert (
        curve(book, visit, PlanRequest(90.0), 120.0) is points
    )  # the request's own minutes do not matter


def test_what_is_out_of_reach_is_not_planned(book: SeenBook) -> None:
    visit = book.visits(1)[0]
    out = request_of(organ_at(book, visit), 60.0, out_of_reach=["great.trumpet8"])
    assert {i.pipe.rank for i in tried(book, visit, PlanRequest(60.0)).items} > {
        i.pipe.rank for i in tried(book, visit, out).items
    }


def test_a_pipe_with_a_fault_is_seen_to_whatever_it_costs(book: SeenBook) -> None:
    visit = book.visits(1)[0]
    pipe = PipeRef("great.octave4", 20)
    assert pipe not in {i.pipe for i in tried(book, visit, PlanRequest(15.0)).items}
    book.report_fault(1, FaultKind.SLOW_SPEECH, "late", pipe=pipe)
    organ, faults = organ_at(book, visit), book.open_faults(1)
    asked = request_of(organ, 15.0, faults=faults)
    assert pipe in {i.pipe for i in tried(book, visit, asked).items}
    with pytest.raises(NotEnoughMinutesError):
        tried(book, visit, request_of(organ, 2.0, faults=faults))


def test_reeds_are_set_to_the_air_of_the_event(book: SeenBook) -> None:
    visit = book.visits(1)[0]
    book.keep_event(
        1, uid="x@tarnhaven", starts_at=now() + timedelta(days=2), title="Recital",
        air_celsius=EVENT_CELSIUS,
    )  # fmt: skip
    (event,) = book.events(1)
    organ = organ_at(book, visit)
    by_event = tried(book, visit, request_of(organ, 60.0, event=EventNeeds(event)))
    by_hand = tried(book, visit, request_of(organ, 60.0, event_air_celsius={"": EVENT_CELSIUS}))
    assert [i.target_hz for i in by_event.items] == [i.target_hz for i in by_hand.items]
    today = {i.pipe: i.target_hz for i in tried(book, visit, PlanRequest(60.0)).items}
    both = [i for i in by_event.items if i.pipe in today and i.pipe.rank == "great.trumpet8"]
    assert both
    assert all(reed.target_hz > today[reed.pipe] for reed in both)


def test_a_tuned_pipe_is_planned_no_more(book: SeenBook) -> None:
    visit = book.visits(1)[0]
    first = kept(book, visit, PlanRequest(30.0))
    ready = prepared(book, visit)
    assert prepared(book, visit) is ready
    pipe = first.plan.items[0].pipe
    organ = organ_at(book, visit)
    visit_work.tick(book, organ, visit, pipe, state=TickState.DONE, note="")
    assert prepared(book, visit) is not ready
    assert pipe not in {i.pipe for i in tried(book, visit, PlanRequest(30.0)).items}


def test_the_kept_plan_has_its_curve_and_supersedes_the_last(book: SeenBook) -> None:
    visit = book.visits(1)[0]
    kept(book, visit, PlanRequest(30.0))
    newest = kept(book, visit, PlanRequest(15.0, event_air_celsius=EVENT_CELSIUS))
    current = book.current_plan(visit.id)
    assert current is not None
    assert current.id == newest.id
    assert (current.plan.minutes, current.event_air_celsius) == (15.0, EVENT_CELSIUS)
    assert len(current.plan.curve) > 2


def test_minutes_that_no_visit_has_are_refused(book: SeenBook) -> None:
    with pytest.raises(InputError, match="cannot last -5 minutes"):
        tried(book, book.visits(1)[0], PlanRequest(-5.0))


def test_without_readings_there_is_no_plan(tmp_path: Path) -> None:
    chapel_book(tmp_path / "book", is_heard=False)
    with (
        opened_to_see(tmp_path / "book") as book,
        pytest.raises(InputError, match="no usable reading to plan with"),
    ):
        tried(book, book.visits(1)[0], PlanRequest(60.0))


def test_pipes_are_named_as_the_organ_names_them(book: SeenBook) -> None:
    visit = book.visits(1)[0]
    assert PipeRef("great.trumpet8", 30) in pipe_cents(book, visit)


def test_a_rank_made_historic_during_the_visit_is_planned_nowhere(
    book: SeenBook, tmp_path: Path, run: Run
) -> None:
    """The newest description counts for the command line and for the page, and the plan says so."""
    visit = book.visits(1)[0]
    before = kept(book, visit, PlanRequest(60.0))
    assert before.organ_version == 1
    assert "great.trumpet8" in {i.pipe.rank for i in before.plan.items}
    organ = book.organ(1)
    trumpet = 'name = "Trumpet"'
    assert trumpet in organ.description
    changed = organ.description.replace(trumpet, f"{trumpet}\nhistoric = true")
    book.revise_organ(1, organ.name, changed)
    by_page = kept(book, visit, PlanRequest(60.0))
    assert "great.trumpet8" not in {i.pipe.rank for i in by_page.plan.items}
    assert by_page.organ_version == 2
    by_command = run("visit", "plan", tmp_path / "book", "--minutes", "60", "--json").json
    assert [i["pipe"] for i in by_command["items"]] == [str(i.pipe) for i in by_page.plan.items]
    assert [i["target_hz"] for i in by_command["items"]] == [
        i.target_hz for i in by_page.plan.items
    ]
    assert book.plans(visit.id)[-1].organ_version == 2


def test_a_question_about_coupled_divisions_is_answered_in_the_request() -> None:
    organ = small_organ()
    pipes = readings(
        organ,
        ["great.principal", "great.octave", "swell.viola"],
        lambda pipe: 6.0 if pipe.rank.startswith("swell") else 0.0,
        18.0,
    )
    condition = assess(organ, pipes, {})
    (asked,) = asked_before(organ, (), condition, PlanRequest(60.0))
    assert "Swell is 6.0 cents above Great" in asked.text
    answered = PlanRequest(60.0, coupled=frozenset(asked.divisions))
    assert asked_before(organ, (), condition, answered) == ()
