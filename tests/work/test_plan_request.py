"""What people ask of a plan, in their words."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from numpy.testing import assert_allclose

from tests.condition.organs import small_organ
from walkboard.book.records import Conditions, KeptEvent, KeptFault, KeptVisit
from walkboard.errors import InputError, UnknownNameError
from walkboard.organ.model import PipeRef
from walkboard.planning.choose.demands import FAULT_MINUTES, Demands
from walkboard.planning.value.risk import RiskyPipes
from walkboard.planning.value.use import EventUse, RegistrationUse
from walkboard.work.plan_request import (
    EventNeeds,
    air_courses,
    request_of,
    use_of,
    with_faults,
)

ORGAN = small_organ()
NOON = datetime(2031, 3, 1, 12, 0, tzinfo=UTC)


def an_event(**more) -> KeptEvent:
    reported = {"stops": (), "air_celsius": None, **more}
    return KeptEvent(
        id=1, organ_id=1, uid="e", starts_at=NOON, title="Recital", kept_at=NOON, **reported
    )


def test_words_become_demands():
    demands = request_of(
        ORGAN,
        60.0,
        must=("great.octave:7",),
        must_not=("great.twelfth",),
        out_of_reach=("swell",),
        within_cents={"great.principal": 2.0},
        tie_cents=0.5,
        leave_risky=True,
    ).demands
    assert demands.must == {PipeRef("great.octave", 7)}
    assert len(demands.must_not) == 61
    assert demands.out_of_reach == {"swell.flute", "swell.viola", "swell.celeste", "swell.oboe"}
    assert demands.within_cents == {"great.principal": 2.0}
    assert (demands.tie_cents, demands.risky) == (0.5, RiskyPipes.LEAVE)


def test_an_events_air_by_division_overrules_its_own():
    event = an_event(air_celsius=19.0, air_by_division={"swell": 21.0})
    request = request_of(ORGAN, 60.0, event=EventNeeds(event))
    assert request.event_air_celsius == {"great": 19.0, "swell": 21.0}
    by_hand = request_of(ORGAN, 60.0, event=EventNeeds(event), event_air_celsius={"": 17.0})
    assert by_hand.event_air_celsius == 17.0
    with pytest.raises(UnknownNameError, match="choir"):
        request_of(ORGAN, 60.0, event_air_celsius={"choir": 17.0})
    assert request_of(ORGAN, 60.0, event=EventNeeds(an_event())).event_air_celsius is None


def test_stops_named_for_an_event_are_a_registration_where_nothing_better_is_known():
    (named,) = use_of(an_event(stops=("great.octave", "great.principal"))).registrations
    assert named.stops == ("great.octave", "great.principal")
    better = EventUse((RegistrationUse(("great.octave",), 90.0),))
    assert use_of(an_event(stops=("great.principal",), use=better)) == better
    assert use_of(an_event()) == EventUse()


def test_an_event_needs_its_stops_within_a_tolerance():
    """Those named for it; otherwise all that its music draws; a demand on one stop is kept."""
    music = EventUse((RegistrationUse(("great.octave", "great.trumpet"), 90.0),))
    named = an_event(stops=("great.principal", "great.trumpet"), use=music)

    def within(event: KeptEvent, cents: float | None, **more: Any) -> Mapping[str, float]:
        return request_of(ORGAN, 60.0, event=EventNeeds(event, cents), **more).demands.within_cents

    asked = within(named, 3.0, within_cents={"great.trumpet": 1.0})
    assert asked == {"great.principal": 3.0, "great.trumpet": 1.0}
    assert within(an_event(use=music), 3.0) == {"great.octave": 3.0, "great.trumpet": 3.0}
    assert within(named, None) == {}


def test_names_that_are_not_there_are_refused():
    with pytest.raises(InputError, match=r"no rank, stop or pipe 'great\.bombarde'"):
        request_of(ORGAN, 60.0, must=("great.bombarde",))


def test_faults_must_be_seen_to_where_they_may():
    def fault(id_: int, pipe: PipeRef | None) -> KeptFault:
        return KeptFault(
            id=id_, uid=None, organ_id=1, kind="off speech", stop=None, key=None, pipe=pipe,
            words="", reported_at=NOON, mended_at=None, mended_in_visit=None, mended_note="",
        )  # fmt: skip

    reported = [
        fault(1, PipeRef("great.octave", 7)),
        fault(2, None),
        fault(3, PipeRef("great.old", 5)),
        fault(4, PipeRef("swell.oboe", 9)),
    ]
    demands = with_faults(ORGAN, Demands(out_of_reach=frozenset({"swell.oboe"})), reported)
    assert demands.must == {PipeRef("great.octave", 7)}
    assert demands.extra_minutes == {PipeRef("great.octave", 7): FAULT_MINUTES}


def test_conditions_noted_along_a_visit_are_the_airs_course():
    """17 °C an hour ago, 18 now: a degree an hour, a little less for the prior."""
    noted = tuple(
        Conditions({"great": 18.0 - hours}, noted_at=NOON - timedelta(hours=hours))
        for hours in (1.0, 0.5, 0.0)
    )
    visit = KeptVisit(1, 1, "", 60.0, NOON, None, noted)
    courses = air_courses(visit, NOON)
    assert courses.keys() == {"great"}
    assert_allclose(courses["great"].slope_celsius_per_hour, 1.0, atol=0.05)
    assert_allclose(courses["great"].now_celsius, 18.0, atol=0.05)
