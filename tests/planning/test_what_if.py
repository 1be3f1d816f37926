"""One state of an organ, many questions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.condition.organs import readings, small_organ
from tests.planning.states import a_state
from tests.planning.tasks import highs_least
from walkboard.condition.assess import assess
from walkboard.organ.model import PipeRef
from walkboard.planning.air_course import REST_MINUTES, AirCourse, course_of
from walkboard.planning.between_references import certify
from walkboard.planning.choose.certify import choose
from walkboard.planning.choose.demands import Demands
from walkboard.planning.minutes import in_steps
from walkboard.planning.pitch import division_pitches
from walkboard.planning.request import PlanRequest
from walkboard.planning.value.belief import Belief, PipeForecast
from walkboard.planning.value.pipe_offsets import unheard_pull
from walkboard.planning.value.risk import RiskyPipes
from walkboard.planning.value.use import EventUse, RegistrationUse
from walkboard.planning.value.weight import WeightChange
from walkboard.planning.what_if import prepare
from walkboard.planning.with_walks import choose_and_walk

ORGAN = small_organ()
PIPES = a_state(ORGAN, 31)
CONDITION = assess(ORGAN, PIPES, {})


def moving(standing_badness: float, cents: float) -> float:
    """What moving must save: 1 % of the badness a cent, and 1 % more beyond 0.3 cent."""
    return standing_badness * (0.01 * abs(cents) + 0.01 * (abs(cents) > 0.3 + 1e-9))


def test_questions_in_any_order_are_answered_as_if_asked_alone():
    use = EventUse((RegistrationUse(("great.octave", "great.trumpet"), 60.0),))
    questions = [
        PlanRequest(40.0),
        PlanRequest(40.0, event_air_celsius=22.0),
        PlanRequest(80.0),
        PlanRequest(40.0, use=use),
        PlanRequest(40.0, event_air_celsius={"great": 21.0}),
        PlanRequest(40.0),
    ]
    prepared = prepare(ORGAN, CONDITION, PIPES)
    for question in [*questions, *reversed(questions)]:
        assert prepared.plan(question) == prepare(ORGAN, CONDITION, PIPES).plan(question)


def test_the_walk_of_the_plan_that_is_adopted_is_proved():
    plan = prepare(ORGAN, CONDITION, PIPES).plan(
        PlanRequest(45.0, event_air_celsius=21.0, curve_every_minutes=10.0, prove_order=True)
    )
    assert plan.walk_bound_minutes == pytest.approx(plan.walk_minutes)


def test_an_event_draws_the_work_to_its_stops():
    use = EventUse((RegistrationUse(("swell.viola", "swell.oboe"), 600.0),))
    prepared = prepare(ORGAN, CONDITION, PIPES)

    def swell(question: PlanRequest) -> int:
        return sum(i.pipe.rank.startswith("swell") for i in prepared.plan(question).items)

    assert swell(PlanRequest(40.0, use=use)) > swell(PlanRequest(40.0))


def test_a_weight_changed_to_nothing_takes_a_stop_off_the_list():
    changes = [WeightChange("great.trumpet", 0.0)]
    plan = prepare(ORGAN, CONDITION, PIPES, changes=changes).plan(PlanRequest(120.0))
    plain = prepare(ORGAN, CONDITION, PIPES).plan(PlanRequest(120.0))
    assert "great.trumpet" in {i.pipe.rank for i in plain.items}
    assert "great.trumpet" not in {i.pipe.rank for i in plan.items}


# ------------------------------------------------------------------ the air's course


def test_a_course_of_readings_on_a_line():
    """A degree an hour, read every ten minutes for an hour: the prior of 1 °C/h hardly holds it."""
    noted = [(m - 60.0, 17.0 + m / 60.0) for m in range(0, 61, 10)]
    course = course_of(noted)
    assert_allclose(course.slope_celsius_per_hour, 1.0, atol=0.03)
    assert_allclose(course.now_celsius, 18.0, atol=0.02)
    slope, level = np.polynomial.polynomial.polyfit(
        [m / 60 for m, _ in noted], [c for _, c in noted], 1
    )[::-1]
    assert_allclose(course.slope_celsius_per_hour, slope, atol=0.03)
    assert_allclose(level, 18.0)


def test_ahead_the_air_comes_to_rest():
    course = AirCourse(18.0, 1.2)
    assert_allclose(course.at(6.0), 18.12, atol=0.005)
    assert_allclose(course.at(1e6), 18.0 + 1.2 * REST_MINUTES / 60.0)
    assert_allclose(course.at(-30.0), 17.4)
    assert_allclose(course.at_times(np.array([6.0, -30.0])), [course.at(6.0), course.at(-30.0)])


def test_one_reading_gives_no_course():
    course = course_of([(0.0, 17.5)])
    assert (course.now_celsius, course.slope_celsius_per_hour) == (17.5, 0.0)
    with pytest.raises(ValueError, match="without a reading"):
        course_of([])


def test_flues_late_in_a_warming_visit_get_the_target_of_their_time():
    """1.5 °C an hour: an hour on it is 1.1 °C warmer, 3.2 cents (2.97 a degree: Cramer 1993)."""
    pipes = readings(ORGAN, ["great.principal", "great.octave"], lambda _: 0.0, 18.0, scatter=3.0)
    pipes += readings(ORGAN, ["great.trumpet"], lambda _: 8.0, 18.0)
    condition = assess(ORGAN, pipes, {"great": 18.0})
    course = AirCourse(18.0, 1.5)
    still = prepare(ORGAN, condition, pipes).plan(PlanRequest(150.0))
    moving = prepare(ORGAN, condition, pipes, air={"great": course}).plan(PlanRequest(150.0))
    pairs = [
        (a, b)
        for a, b in zip(still.items, moving.items, strict=True)
        if a.pipe.rank != "great.trumpet"
    ]
    assert len(pairs) > 60
    cents = [1200.0 * np.log2(b.target_hz / a.target_hz) for a, b in pairs]
    clock = sum(a.minutes for a, _ in pairs[:-1]) + 3.0
    assert_allclose(cents[-1], 2.97 * course.change_by(clock), atol=0.15)
    assert "by then" in pairs[-1][1].why
    assert all(b.cents == a.cents for a, b in pairs)
    reeds = [i.target_hz for i in moving.items if i.pipe.rank == "great.trumpet"]
    assert reeds == [i.target_hz for i in still.items if i.pipe.rank == "great.trumpet"]


# ------------------------------------------------------------------ between the grid's references


# HiGHS takes a hundred times as long.
@pytest.mark.parametrize("by_highs", [0, pytest.param(3, marks=pytest.mark.long)])
def test_no_reference_between_the_grids_beats_the_certificate(by_highs):
    """The best choice of pipes at references drawn at random, each solved separately, some of them
    by HiGHS too. With the walks of the plan, for which the certificate is."""
    problem = prepare(ORGAN, CONDITION, PIPES).problem(PlanRequest(60.0))
    outcome = choose_and_walk(ORGAN, problem, in_steps(60.0))
    pitches = division_pitches(ORGAN, CONDITION, None)
    certificate = certify(problem, outcome, in_steps(60.0), pitches)
    # the walks are those of the plan; with them, a choice with another way may be better
    on_grid = choose(outcome.task, in_steps(60.0))
    assert certificate.bound <= on_grid.cost <= outcome.chosen.cost
    assert on_grid.cost - certificate.bound <= 0.001 * float(outcome.task.untouched.min())
    situation = problem.situation
    near = float(outcome.task.references_cents[outcome.chosen.reference])
    drawn = np.random.default_rng(1).uniform(near - 0.3, near + 0.3, 20)
    costs = []
    for reference in drawn:
        badness = situation.cost_at(np.array([reference]))[0]
        pull = unheard_pull(
            situation.layout, pitches, situation.place, situation.weights, np.array([reference])
        )
        gain = (badness - situation.cost_left)[problem.order]
        task = replace(
            outcome.task,
            references_cents=np.array([reference]),
            untouched=np.array(
                [badness.sum() + pull.sum() + moving(problem.standing_badness, reference)]
            ),
            gain=gain[None],
        )
        costs.append(choose(task, in_steps(60.0)).cost)
        if len(costs) <= by_highs:
            assert costs[-1] == pytest.approx(highs_least(task, in_steps(60.0)), abs=1e-6)
    assert min(costs) >= certificate.bound
    assert min(costs) <= outcome.chosen.cost + 0.01


def test_a_belief_is_a_mixture():
    belief = Belief((0.25, 0.75), (8.0, 0.0), (1.0, 2.0))
    rng = np.random.default_rng(2)
    draws = np.where(
        rng.random(400_000) < 0.25, rng.normal(8.0, 1.0, 400_000), rng.normal(0.0, 2.0, 400_000)
    )
    assert_allclose(belief.mean_cents, draws.mean(), atol=0.03)
    assert_allclose(belief.sigma_cents, draws.std(), atol=0.03)
    assert belief.moved(2.0).cents == (10.0, 2.0)
    with pytest.raises(ValueError, match="sum to 1"):
        Belief((0.5,), (0.0,), (1.0,))


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize(
    "demands",
    [
        Demands(),
        Demands(tie_cents=0.5),
        Demands(tie_cents=0.3, within_cents={"great.octave": 2.0}, risky=RiskyPipes.LEAVE),
        Demands(
            must=frozenset({PipeRef("swell.oboe", 9)}), out_of_reach=frozenset({"swell.viola"})
        ),
    ],
)
def test_the_cost_is_that_of_the_plan_as_returned_whatever_was_asked(seed, demands):
    """Counted again pipe by pipe: event, music, forecasts, changed weights, demands and all."""
    heard = a_state(ORGAN, 40 + seed, share_heard=0.7)
    condition = assess(ORGAN, heard, {"great": 18.3})
    there = {p.pipe for p in heard}
    rng = np.random.default_rng(seed)
    forecasts = [
        PipeForecast(pipe, Belief((0.8, 0.2), (rng.normal(), 12.0), (1.5, 6.0)), 18.0)
        for pipe in ORGAN.pipes()
        if pipe not in there and rng.random() < 0.6
    ]
    prepared = prepare(
        ORGAN,
        condition,
        heard,
        forecasts=forecasts,
        changes=[WeightChange("great.trumpet", 2.0), WeightChange("great.octave:30", 0.5)],
    )
    use = EventUse(
        (RegistrationUse(("great.octave", "great.mixture"), 90.0, {"great": {60: 5.0}}),)
    )
    question = PlanRequest(80.0, {"great": 20.0, "swell": 21.5}, use, demands)
    plan = prepared.plan(question)
    above = prepared.above_cents(question, plan)
    done = {item.pipe for item in plan.items}
    left = sum(
        s.badness_left if s.pipe in done else s.badness_at(above[s.rank.division])
        for s in prepared.pipe_offsets(question, done)
    )
    problem = prepared.problem(question, done)
    situation = problem.situation
    pitches = division_pitches(ORGAN, condition, question.event_air_celsius)
    for index, division in enumerate(ORGAN.divisions):
        pull = unheard_pull(
            situation.layout,
            pitches,
            situation.place,
            situation.weights,
            np.array([above[division.id]]),
        )
        left += float(pull[0, index])
        left += moving(problem.standing_badness, above[division.id]) / len(ORGAN.divisions)
    assert_allclose(plan.cost_after, left, rtol=0, atol=1e-9)
    assert 0.0 <= plan.gap < 0.03
    assert len(done) > 10
    if demands.tie_cents:
        assert max(above.values()) - min(above.values()) <= demands.tie_cents + 1e-9
    assert any(i.why.startswith("not heard") for i in plan.items)


def test_a_reed_that_follows_the_air_by_a_quarter_is_set_for_what_it_will_do_itself():
    """6 °C warmer at the event: flues rise by 1200·log₂√(T₂/T₁) (ideal gas), the reed by a quarter
    of that on its own, so it is left three quarters of the way up; nothing else changes."""
    request = PlanRequest(4000.0, event_air_celsius=24.0)
    stays = prepare(ORGAN, CONDITION, PIPES)
    follows = prepare(ORGAN, CONDITION, PIPES, reed_follows={"great.trumpet": 0.25})
    hz = {
        name: {s.pipe: s.target_hz for s in ready.pipe_offsets(request)}
        for name, ready in (("stays", stays), ("follows", follows))
    }
    rise = {}
    today = {s.pipe: s.target_hz for s in stays.pipe_offsets(PlanRequest(4000.0))}
    for pipe, before in today.items():
        if pipe.rank == "great.trumpet":
            rise[pipe] = 1200.0 * np.log2(hz["stays"][pipe] / before)
            left = 1200.0 * np.log2(hz["follows"][pipe] / before)
            assert_allclose(left, 0.75 * rise[pipe], atol=1e-6)
        else:
            assert hz["stays"][pipe] == hz["follows"][pipe]
    air = CONDITION.divisions["great"]
    now = air.stated_celsius if air.thermometer_celsius is None else air.thermometer_celsius
    ideal = 600.0 * np.log2((273.15 + 24.0) / (273.15 + now))
    assert_allclose(list(rise.values()), ideal, rtol=0.05)


def test_a_plan_of_forecasts_alone_warns():
    forecasts = [
        PipeForecast(p.pipe, Belief.normal(p.cents, 1.0), p.air_celsius) for p in PIPES[::3]
    ]
    alone = prepare(ORGAN, CONDITION, (), forecasts=forecasts).plan(PlanRequest(60.0))
    assert any("rests on forecasts alone" in note for note in alone.notes)
    heard = prepare(ORGAN, CONDITION, PIPES).plan(PlanRequest(60.0))
    assert not any("forecasts alone" in note for note in heard.notes)
