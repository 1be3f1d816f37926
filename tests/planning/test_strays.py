"""Strays are not left for small gains, and the reference stays unless moving it pays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.condition.organs import small_organ
from walkboard.condition.assess import assess
from walkboard.condition.state import PipeCents
from walkboard.planning.choose.certify import must_steps
from walkboard.planning.choose.demands import Demands
from walkboard.planning.choose.problem import Problem, strays_fit, with_strays
from walkboard.planning.minutes import in_steps
from walkboard.planning.request import PlanRequest
from walkboard.planning.route.ways import Visit
from walkboard.planning.value.cost import (
    LIMITS,
    badness,
    chance_stray,
    expected_badness,
    heard_badness,
)
from walkboard.planning.value.use import EventUse, RegistrationUse
from walkboard.planning.value.weight import WeightChange
from walkboard.planning.what_if import Prepared, prepare

ORGAN = small_organ()
STRAYS = {("great.twelfth", 30): 14.0, ("swell.viola", 20): -18.0, ("great.octave", 25): 12.0}


def standing(strays: dict[tuple[str, int], float], off_cents: float = 0.0) -> list[PipeCents]:
    """Trebles a cent or two off everywhere, and a few strays."""
    rng = np.random.default_rng(8)
    return [
        PipeCents(
            pipe,
            off_cents + strays.get((pipe.rank, pipe.number), float(rng.normal(0.0, 1.3))),
            0.1,
            -25.0,
            18.0,
        )
        for pipe in ORGAN.pipes()
        if ORGAN.rank(pipe.rank).family.is_flue
    ]


def prepared(
    strays: dict[tuple[str, int], float], changes: list[WeightChange] | None = None
) -> Prepared:
    pipes = standing(strays)
    return prepare(ORGAN, assess(ORGAN, pipes, {}), pipes, changes=changes or [])


def tuned(plan) -> set[tuple[str, int]]:
    return {(item.pipe.rank, item.pipe.number) for item in plan.items}


@pytest.mark.parametrize("minutes", [25.0, 40.0, 90.0])
def test_no_stray_in_the_played_range_is_left_where_they_all_fit(minutes):
    assert set(STRAYS) <= tuned(prepared(STRAYS).plan(PlanRequest(minutes)))


def test_in_fewer_minutes_they_are_weighed():
    """Three strays in three ranks on two chests do not fit in 8 minutes; a plan is made still."""
    plan = prepared(STRAYS).plan(PlanRequest(8.0))
    assert len(plan.items) > 0
    assert not set(STRAYS) <= tuned(plan)


def test_a_stray_beyond_the_played_range_is_no_must():
    top = {("great.twelfth", 60): 14.0}
    ready = prepared(top)
    assert set(top) <= tuned(ready.plan(PlanRequest(400.0)))
    assert not set(top) <= tuned(ready.plan(PlanRequest(25.0)))


def test_the_tuner_may_ask_that_strays_are_weighed_like_all_others():
    ready = prepared(STRAYS)
    freely = ready.plan(PlanRequest(25.0, demands=Demands(leave_strays=True)))
    firmly = ready.plan(PlanRequest(25.0))
    assert freely.cost_after <= firmly.cost_after + 1e-9


def test_a_stray_that_the_tuner_left_out_of_the_cost_is_left():
    changes = [WeightChange("swell.viola:20", 0.0)]
    plan = prepared(STRAYS, changes).plan(PlanRequest(90.0))
    assert ("swell.viola", 20) not in tuned(plan)


def test_an_event_needs_no_stray_of_a_stop_that_it_does_not_draw():
    use = EventUse((RegistrationUse(("great.octave", "great.principal"), 600.0),))
    ready = prepared(STRAYS)
    assert ("swell.viola", 20) in tuned(ready.plan(PlanRequest(25.0)))
    assert ("swell.viola", 20) not in tuned(ready.plan(PlanRequest(25.0, use=use)))


def test_a_plan_of_everything_keeps_the_organs_pitch():
    """With every rank asked for every reference costs the same, and the organ stays."""
    pipes = standing({}, off_cents=2.0)
    ready = prepare(ORGAN, assess(ORGAN, pipes, {}), pipes)
    everything = Demands(
        must=frozenset(p.pipe for p in pipes if not ORGAN.rank(p.pipe.rank).historic)
    )
    request = PlanRequest(4000.0, demands=everything)
    plan = ready.plan(request)
    assert set(ready.above_cents(request, plan).values()) == {0.0}
    assert plan.notes == ()


def test_a_reference_that_is_moved_says_what_that_buys():
    """A historic rank that must not be touched is 3 cents sharp, and the tuner says that it is
    all that matters: everything else goes to it."""
    pipes = [
        PipeCents(p.pipe, p.cents + 3.0 * (p.pipe.rank == "great.old"), 0.1, -25.0, 18.0)
        for p in standing({})
    ]
    others = [r.id for r in ORGAN.ranks if r.id != "great.old"]
    changes = [WeightChange("great.old", 10.0), *(WeightChange(name, 0.2) for name in others)]
    ready = prepare(ORGAN, assess(ORGAN, pipes, {}), pipes, changes=changes)
    request = PlanRequest(60.0)
    plan = ready.plan(request)
    moved = ready.above_cents(request, plan)["great"]
    assert moved > 1.0
    (note,) = plan.notes
    assert note.startswith(f"All is tuned {moved:+.1f} cents from the organ's present pitch: that")
    assert float(note.split("leaves ")[1].split()[0]) > 0.0


def test_among_scattered_neighbours_a_small_gain_in_the_treble_is_smaller():
    """By numerical mean over the neighbours' pitches, drawn 200,000 times."""
    rng = np.random.default_rng(2)
    hz, off = 2000.0, 0.8
    neighbours = LIMITS.neighbours_cents * rng.standard_normal(200_000)
    drawn = badness(off + neighbours, hz).mean()
    assert heard_badness(off, 0.0, hz) == pytest.approx(drawn, abs=0.003)
    alone = expected_badness(off, 0.0, hz) - expected_badness(0.0, 0.3, hz)
    among = heard_badness(off, 0.0, hz) - heard_badness(0.0, 0.3, hz)
    assert among < 0.75 * alone


def test_the_chance_of_sticking_out_is_that_of_drawing_it():
    rng = np.random.default_rng(3)
    cents = 9.0 + 2.0 * rng.standard_normal(400_000)
    edge = LIMITS.stray_edge_cents * rng.standard_normal(400_000)
    drawn = np.mean(np.abs(cents) + edge > LIMITS.stray_cents)
    assert chance_stray(9.0, 2.0) == pytest.approx(drawn, abs=0.003)
    assert chance_stray(-9.0, 2.0) == pytest.approx(chance_stray(9.0, 2.0))


def test_a_stray_in_the_middle_is_worth_more_than_any_treble_a_cent_off():
    stray = LIMITS.stray_badness * chance_stray(12.0, 0.1)
    trebles = heard_badness(1.0, 0.1, np.array([1500.0, 3000.0, 6000.0]))
    assert stray + heard_badness(12.0, 0.1, 262.0) > trebles.max()


def test_a_reading_just_inside_the_limit_does_not_leave_a_stray():
    """Heard at 9.9 with a σ of 0.1 it may well be 10.05 off: it is tuned like one at 10.1."""
    nearly = {("great.twelfth", 30): 9.9, ("swell.viola", 20): -9.9}
    assert set(nearly) <= tuned(prepared(nearly).plan(PlanRequest(40.0)))
    surely_inside = {("great.twelfth", 30): 9.4, ("swell.viola", 20): -9.4}
    assert not set(surely_inside) <= tuned(prepared(surely_inside).plan(PlanRequest(12.0)))


@pytest.mark.parametrize(("minutes", "fits"), [(60.0, 45.0), (120.0, 100.0), (240.0, 220.0)])
def test_strays_leave_a_quarter_of_the_visit_or_twenty_minutes_for_the_rest(minutes, fits):
    """Work of so many minutes and no more comes first, whatever it gains."""
    problem = prepared(STRAYS).problem(PlanRequest(minutes))
    firmly = with_strays(problem)
    assert firmly.must is not None
    must = firmly.must[0]
    asked = np.where(must, 1, firmly.steps)
    set_ups = must_steps(replace(firmly, steps=asked).task(no_walks(firmly)))[0] - must.sum()
    for beyond, is_enough in ((0, True), (must.sum(), False)):
        each = (in_steps(fits) - set_ups + beyond) / must.sum()
        steps = np.where(must, 0, firmly.steps)
        steps[must] = np.floor(each)
        steps[np.flatnonzero(must)[0]] += in_steps(fits) - set_ups + beyond - steps[must].sum()
        assert strays_fit(replace(firmly, steps=steps), in_steps(minutes)) is is_enough


def no_walks(problem: Problem) -> dict[Visit, float]:
    return {problem.visit_of(rank.id): 0.0 for rank in problem.ranks_once()}
