"""What a plan must do and must not, from readings to a worklist."""

from __future__ import annotations

import numpy as np
import pytest

from tests.condition.organs import small_organ
from tests.planning.states import a_state
from walkboard.condition.assess import assess
from walkboard.errors import InputError, NotEnoughMinutesError, UnknownNameError
from walkboard.organ.model import PipeRef
from walkboard.planning.choose.demands import (
    Demands,
    pipes_named,
    pipes_of_stop,
    ranks_named,
)
from walkboard.planning.choose.problem import SURE
from walkboard.planning.pitch import division_pitches
from walkboard.planning.plan import Plan
from walkboard.planning.request import PlanRequest
from walkboard.planning.value.belief import Belief, PipeForecast
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.risk import RiskyPipes, risk_of
from walkboard.planning.value.weight import places_named
from walkboard.planning.what_if import Prepared, prepare

ORGAN = small_organ()
PIPES = a_state(ORGAN, 12)
CONDITION = assess(ORGAN, PIPES, {})


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return prepare(ORGAN, CONDITION, PIPES)


def planned(plan: Plan) -> set[PipeRef]:
    return {item.pipe for item in plan.items}


def test_what_must_be_done_is_done_and_costs_no_less(prepared):
    free = prepared.plan(PlanRequest(60.0))
    idle = next(
        p.pipe for p in PIPES if p.pipe not in planned(free) and p.pipe.rank == "great.octave"
    )
    bound = prepared.plan(PlanRequest(60.0, demands=Demands(must=frozenset({idle}))))
    assert idle in planned(bound)
    assert bound.cost_after >= free.cost_after - 1e-9
    assert 0.0 <= bound.gap < 0.03
    assert bound.minutes_used <= 60.0


def test_what_must_not_be_touched_and_what_is_out_of_reach_is_left(prepared):
    free = prepared.plan(PlanRequest(60.0))
    barred = free.items[0].pipe
    demands = Demands(must_not=frozenset({barred}), out_of_reach=frozenset({"great.trumpet"}))
    plan = prepared.plan(PlanRequest(60.0, demands=demands))
    assert barred not in planned(plan)
    assert "great.trumpet" not in {pipe.rank for pipe in planned(plan)}
    assert "great.trumpet" in {pipe.rank for pipe in planned(free)}
    assert plan.cost_after > free.cost_after


def test_a_stop_that_the_event_needs_is_within_its_tolerance(prepared):
    """Every pipe of the Principal is within 1.5 cents of its division's pitch, or is tuned."""
    demands = Demands(within_cents={"great.principal": 1.5})
    plan = prepared.plan(PlanRequest(90.0, demands=demands))
    pitches = division_pitches(ORGAN, CONDITION, None)
    (great,) = [r for r in plan.reference if r.division == "great"]
    reference = great.shift_cents - pitches["great"].above_cents
    stands = {s.pipe: s.cents - reference for s in prepared.pipe_offsets(PlanRequest(90.0))}
    left = [p for p in pipes_of_stop(ORGAN, "great.principal") if p not in planned(plan)]
    assert len(left) > 10
    assert max(abs(stands[p]) for p in left) < 1.5
    without = prepared.plan(PlanRequest(90.0))
    off = [p for p in pipes_of_stop(ORGAN, "great.principal") if p not in planned(without)]
    assert max(abs(stands[p]) for p in off) > 1.5


def test_the_missing_minutes_reported_are_enough(prepared):
    demands = Demands(within_cents={"great.principal": 0.5, "great.trumpet": 1.0})
    with pytest.raises(NotEnoughMinutesError, match="minutes more than there are") as caught:
        prepared.plan(PlanRequest(20.0, demands=demands))
    missing = caught.value.missing_minutes
    assert missing > 10.0
    plan = prepared.plan(PlanRequest(20.0 + missing, demands=demands))
    assert 20.0 + missing - plan.minutes_used < 0.051
    with pytest.raises(NotEnoughMinutesError):
        prepared.plan(PlanRequest(20.0 + missing - 0.1, demands=demands))


def test_the_curve_begins_where_what_must_be_done_fits(prepared):
    demands = Demands(within_cents={"great.principal": 1.5})
    plan = prepared.plan(PlanRequest(90.0, demands=demands, curve_every_minutes=10.0))
    assert plan.curve[0].minutes > 0.0
    costs = [point.cost for point in plan.curve]
    assert np.all(np.diff(costs) <= 1e-9)


def test_a_stop_not_heard_in_full_is_reported():
    plan = prepare(ORGAN, CONDITION, [p for p in PIPES if p.pipe.number > 3]).plan(
        PlanRequest(200.0, demands=Demands(within_cents={"great.principal": 2.0, "great.old": 0.2}))
    )
    assert any(
        "great.principal" in n and "3 of its 61 pipes were not heard" in n for n in plan.notes
    )
    assert any("great.old" in n and "not to be tuned" in n for n in plan.notes)


def test_a_fault_on_an_unheard_pipe_is_on_the_list_with_its_minutes():
    pipe = PipeRef("great.octave", 20)
    known = [p for p in PIPES if p.pipe != pipe]
    demands = Demands(must=frozenset({pipe}), extra_minutes={pipe: 5.0})
    quick = prepare(ORGAN, CONDITION, known).plan(PlanRequest(30.0, demands=demands))
    assert pipe in planned(quick)
    item = next(i for i in quick.items if i.pipe == pipe)
    assert "not heard" in item.why
    inner = sum(i.minutes for i in quick.items)
    assert quick.minutes_used - inner > 5.0


def test_risky_pipes_are_counted_or_left(prepared):
    off = {s.pipe: s for s in prepared.pipe_offsets(PlanRequest(400.0))}
    risky = {pipe for pipe, s in off.items() if s.tunable and s.risk.is_risky}
    assert risky
    counted = prepared.plan(PlanRequest(400.0))
    left = prepared.plan(PlanRequest(400.0, demands=Demands(risky=RiskyPipes.LEAVE)))
    assert planned(counted) & risky
    assert not planned(left) & risky
    said = [i.why for i in counted.items if i.pipe in risky]
    assert all("go gently" in why or "look before moving" in why for why in said)


@pytest.mark.parametrize(
    ("tuned_by", "cents", "is_risky"),
    [("slide", 20.0, False), ("cone", 5.0, False), ("cone", -14.0, True), ("slide", 35.0, True)],
)
def test_what_is_risky(tuned_by, cents, is_risky):
    """Repeated coning stresses pipes (builders' posts); what is far off has more wrong with it."""
    rank = next(r for r in ORGAN.ranks if r.tuned_by.value == tuned_by)
    assert risk_of(rank.tuned_by, cents).is_risky is is_risky


def test_divisions_tied_within_half_a_cent(prepared):
    whole = prepared.plan(PlanRequest(60.0))
    tied = prepared.plan(PlanRequest(60.0, demands=Demands(tie_cents=0.5)))
    pitches = division_pitches(ORGAN, CONDITION, None)
    apart = [r.shift_cents - pitches[r.division].above_cents for r in tied.reference]
    assert max(apart) - min(apart) <= 0.5 + 1e-9
    assert tied.cost_after <= whole.cost_after + 1e-9
    assert 0.0 <= tied.gap < 0.03


@pytest.mark.parametrize(
    ("demands", "error", "message"),
    [
        (Demands(must=frozenset({PipeRef("great.old", 3)})), InputError, "its rank is historic"),
        (Demands(out_of_reach=frozenset({"great.none"})), UnknownNameError, "great.none"),
        (Demands(within_cents={"great.octave": 0.0}), InputError, "within 0 cents"),
        (Demands(tie_cents=9.0), InputError, "within 9 cents"),
        (Demands(must=frozenset({PipeRef("great.octave", 99)})), InputError, "61 pipes"),
        (
            Demands(
                must=frozenset({PipeRef("great.octave", 3)}),
                must_not=frozenset({PipeRef("great.octave", 3)}),
            ),
            InputError,
            "must not be touched",
        ),
    ],
)
def test_what_cannot_be_is_refused(prepared, demands, error, message):
    with pytest.raises(error, match=message):
        prepared.plan(PlanRequest(60.0, demands=demands))


def test_names_of_pipes_and_ranks():
    assert pipes_named(ORGAN, ["great.octave:3"]) == {PipeRef("great.octave", 3)}
    assert len(pipes_named(ORGAN, ["great.octave"])) == 61
    assert ranks_named(ORGAN, ["swell"]) == {
        "swell.flute",
        "swell.viola",
        "swell.celeste",
        "swell.oboe",
    }
    with pytest.raises(InputError, match="no rank, stop or pipe 'great'"):
        pipes_named(ORGAN, ["great"])
    with pytest.raises(InputError, match="no rank, chest or division 'choir'"):
        ranks_named(ORGAN, ["choir"])


# ------------------------------------------------------------------ forecasts


def test_a_forecast_of_one_normal_is_a_reading():
    pipe = next(p for p in PIPES if p.pipe == PipeRef("great.octave", 20))
    rest = [p for p in PIPES if p.pipe != pipe.pipe]
    belief = Belief.normal(pipe.cents, pipe.sigma_cents)
    forecast = PipeForecast(pipe.pipe, belief, pipe.air_celsius, pipe.level_db)
    read = prepare(ORGAN, CONDITION, PIPES).plan(PlanRequest(60.0))
    forecasted = prepare(ORGAN, CONDITION, rest, forecasts=[forecast]).plan(PlanRequest(60.0))
    assert forecasted.cost_after == pytest.approx(read.cost_after, abs=1e-9)


def test_a_chance_of_having_slipped_makes_a_pipe_worth_a_look():
    """One in three 20 cents off: it costs a third of such a pipe, and more than one surely good."""
    pipe = PipeRef("great.octave", 30)
    rest = [p for p in PIPES if p.pipe != pipe]
    costs = {}
    for name, belief in {
        "good": Belief.normal(0.0, 0.1),
        "slipped": Belief.normal(20.0, 0.1),
        "perhaps": Belief((2 / 3, 1 / 3), (0.0, 20.0), (0.1, 0.1)),
    }.items():
        prepared = prepare(ORGAN, CONDITION, rest, forecasts=[PipeForecast(pipe, belief, 18.0)])
        (offset,) = [s for s in prepared.pipe_offsets(PlanRequest(60.0)) if s.pipe == pipe]
        costs[name] = offset.badness_at(offset.cents - belief.mean_cents)
    assert costs["perhaps"] == pytest.approx(2 / 3 * costs["good"] + costs["slipped"] / 3, rel=1e-9)


def test_a_tolerance_asks_for_what_is_not_surely_kept():
    pipe = PipeRef("great.principal", 30)
    rest = [p for p in PIPES if p.pipe.rank != "great.principal"]
    demands = Demands(within_cents={"great.principal": 3.0})
    for chance, asked in ((SURE - 0.1, True), (SURE + 0.1, False)):
        belief = Belief((chance, 1.0 - chance), (0.0, 25.0), (0.1, 0.1)).moved(
            division_pitches(ORGAN, CONDITION, None)["great"].above_cents
        )
        prepared = prepare(ORGAN, CONDITION, rest, forecasts=[PipeForecast(pipe, belief, 18.0)])
        problem = prepared.problem(PlanRequest(60.0, demands=demands))
        middle = len(problem.untouched) // 2
        index = [problem.situation.known[i].pipe for i in problem.order].index(pipe)
        must = False if problem.must is None else bool(problem.must[middle, index])
        assert must is asked


@pytest.mark.parametrize("slack", [0.0, 0.5, 2.0, 6.0])
def test_hardly_enough_minutes_are_used_for_what_must_be_done(prepared, slack):
    """The certificate holds also where the walks of a freer choice would not fit."""
    demands = Demands(within_cents={"great.principal": 1.0, "swell.oboe": 3.0})
    with pytest.raises(NotEnoughMinutesError) as caught:
        prepared.plan(PlanRequest(5.0, demands=demands))
    minutes = 5.0 + caught.value.missing_minutes + slack
    plan = prepared.plan(PlanRequest(minutes, demands=demands))
    assert plan.minutes_used <= minutes + 1e-9
    assert plan.cost_bound <= plan.cost_after + 1e-9
    if not slack:
        with pytest.raises(NotEnoughMinutesError, match=r"needs 0\.1 minutes more"):
            prepared.plan(PlanRequest(minutes - 0.05, demands=demands))


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("great.octva", "great.octave"),
        ("great.octva:13", "great.octave:13"),
        ("Trompet", "trumpet"),
    ],
)
def test_a_misspelt_name_is_answered_with_the_one_meant(typed: str, meant: str) -> None:
    with pytest.raises(InputError) as refused:
        pipes_named(ORGAN, [typed])
    assert "Did you mean" in refused.value.fix
    assert meant in refused.value.fix
    with pytest.raises(InputError) as refused:
        places_named(Layout.of(ORGAN), typed)
    assert meant in refused.value.fix


def test_a_misspelt_chest_or_division_is_answered_too() -> None:
    with pytest.raises(InputError, match="no rank, chest or division") as refused:
        ranks_named(ORGAN, ["swel"])
    assert refused.value.fix == "Did you mean swell?"
