"""The plan of a visit, from readings to a worklist."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.condition.organs import readings, small_organ
from tests.planning.states import a_state
from walkboard.condition.assess import assess
from walkboard.condition.state import PipeCents
from walkboard.errors import InputError
from walkboard.organ.examples import hall, village
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.planning.minutes import RANK_MINUTES
from walkboard.planning.pitch import division_pitches
from walkboard.planning.plan import Plan
from walkboard.planning.request import PlanRequest
from walkboard.planning.route.ways import Ways
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.pipe_offsets import pipe_offsets, unheard_pull
from walkboard.planning.value.weight import weigh
from walkboard.planning.what_if import prepare

SMALL = small_organ()
HALL = read_organ(hall())
VILLAGE = read_organ(village())


def plan_of(
    organ: Organ,
    pipes: Sequence[PipeCents],
    minutes: float,
    thermometers: Mapping[str, float] | None = None,
    event_air_celsius: float | Mapping[str, float] | None = None,
) -> Plan:
    condition = assess(organ, pipes, thermometers or {})
    return prepare(organ, condition, pipes).plan(adopted(minutes, event_air_celsius))


def adopted(minutes: float, event: float | Mapping[str, float] | None = None) -> PlanRequest:
    return PlanRequest(minutes, event, curve_every_minutes=10.0, prove_order=True)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("event", [None, 22.0])
def test_the_cost_is_that_of_the_plan_as_returned(seed, event):
    """Counted again, pipe by pipe, from the worklist and the reference."""
    pipes = a_state(SMALL, seed, share_heard=0.6)
    condition = assess(SMALL, pipes, {"great": 18.4})
    plan = prepare(SMALL, condition, pipes).plan(adopted(90.0, event))
    pitches = division_pitches(SMALL, condition, event)
    great = next(r for r in plan.reference if r.division == "great")
    reference = great.shift_cents - pitches["great"].above_cents
    done = {item.pipe for item in plan.items}
    left = sum(
        s.badness_left if s.pipe in done else s.badness_at(reference)
        for s in pipe_offsets(SMALL, pitches, pipes, done)
    )
    layout = Layout.of(SMALL)
    place = np.array([layout.place(p.pipe) for p in pipes])
    weights = weigh(layout, pipes)
    left += float(unheard_pull(layout, pitches, place, weights, np.array([reference])).sum())
    assert_allclose(plan.cost_after, left, rtol=0, atol=1e-9)
    assert len(done) == len(plan.items) > 10


@pytest.mark.parametrize(("organ", "minutes"), [(HALL, 150.0), (VILLAGE, 60.0)])
def test_the_minutes_are_those_of_the_work_in_its_order(organ, minutes):
    """Pipes, a set-up for every rank, panels for every chest, and every walk as it is walked."""
    plan = plan_of(organ, a_state(organ, 4), minutes)
    total = sum(item.minutes for item in plan.items)
    ranks = [organ.rank(item.pipe.rank) for item in plan.items]
    total += RANK_MINUTES * len({rank.id for rank in ranks})
    panels = {chest.id: chest.minutes for chest in organ.chests}
    total += sum(panels[chest] for chest in {rank.chest for rank in ranks})
    ways = Ways(organ)
    total += ways.minutes(None, ranks[0].chest)
    total += sum(ways.minutes(a.chest, b.chest) for a, b in pairwise(ranks) if a.chest != b.chest)
    assert_allclose(plan.minutes_used, total, rtol=0, atol=1e-6)
    assert plan.minutes_used <= minutes


def test_a_concert_hall_is_planned_to_a_few_hundredths_walks_and_all():
    plan = plan_of(HALL, a_state(HALL, 5), 120.0, event_air_celsius=21.0)
    assert 0.0 <= plan.gap <= 0.03
    assert plan.cost_bound <= plan.cost_after < plan.cost_before
    assert [item.order for item in plan.items] == list(range(1, len(plan.items) + 1))


def test_the_curve_only_falls_and_passes_through_the_plan():
    plan = plan_of(SMALL, a_state(SMALL, 6), 45.0)
    minutes, costs = zip(*[(p.minutes, p.cost) for p in plan.curve], strict=True)
    assert minutes[0] == 0.0
    assert {0.0, 10.0, 20.0, 30.0, 40.0, 45.0, 50.0, 60.0} == set(minutes)
    assert list(minutes) == sorted(minutes)
    assert np.all(np.diff(costs) <= 1e-9)
    assert_allclose(costs[0], plan.cost_before)
    assert_allclose(costs[minutes.index(45.0)], plan.cost_after)


def test_the_curve_ends_where_nothing_is_left_to_gain():
    plan = plan_of(SMALL, a_state(SMALL, 6, share_heard=0.1), 1000.0)
    assert plan.curve[-1].minutes == 1000.0
    assert_allclose(plan.curve[-2].cost, plan.curve[-1].cost)
    assert plan.minutes_used < 1000.0


def test_the_targets_are_the_organs_own_with_the_reference_on_top():
    """Great flues 4 cents sharp of 440 at 18 °C by a thermometer that says 18: they stay there."""
    flues = ["great.principal", "great.octave", "great.twelfth", "great.mixture"]
    pipes = readings(SMALL, flues, lambda p: 4.0 + 20.0 * (p.number == 20), 18.0)
    plan = plan_of(SMALL, pipes, 60.0, {"great": 18.0})
    (reference,) = plan.reference
    assert reference.air_celsius == 18.0
    assert_allclose(reference.shift_cents, 4.0, rtol=0, atol=0.4)
    for item in plan.items:
        nominal = target_hz(SMALL, item.pipe, 18.0)
        assert_allclose(
            1200.0 * np.log2(item.target_hz / nominal), reference.shift_cents, rtol=0, atol=1e-9
        )
    worst = {item.pipe for item in plan.items if item.cents > 15.0}
    assert worst == {PipeRef(rank, 20) for rank in flues}
    assert all(item.move == ("flatter" if item.cents > 0 else "sharper") for item in plan.items)


def test_reeds_are_set_for_the_event():
    """18 °C today, 22 at the event: the flues will be 11.8 cents sharper, the reeds will not.

    2.96 cents a degree at 18 to 22 °C: Cramer 1993, JASA 93:2510.
    """
    pipes = readings(SMALL, ["great.principal", "great.octave"], lambda _: 0.0, 18.0)
    pipes += readings(SMALL, ["great.trumpet"], lambda _: 1.0, 18.0)
    today = plan_of(SMALL, pipes, 200.0, {"great": 18.0})
    event = plan_of(SMALL, pipes, 200.0, {"great": 18.0}, event_air_celsius=22.0)
    reed = PipeRef("great.trumpet", 30)
    at_event = next(item for item in event.items if item.pipe == reed)
    nominal = target_hz(SMALL, reed, 18.0) * 2.0 ** (event.reference[0].shift_cents / 1200.0)
    assert_allclose(1200.0 * np.log2(at_event.target_hz / nominal), 4 * 2.96, rtol=0, atol=0.1)
    assert_allclose(at_event.cents, 1.0 - 4 * 2.96, rtol=0, atol=2.0)
    assert at_event.move == "sharper"
    assert "flat of where the flues will be at 22.0 °C" in at_event.why
    assert "of them today" in at_event.why
    reeds_today = [item for item in today.items if item.pipe.rank == "great.trumpet"]
    assert all("will stand" not in item.why for item in reeds_today)
    flues = [item for item in event.items if item.pipe.rank != "great.trumpet"]
    assert all("will stand" not in item.why for item in flues)


def test_the_events_air_may_differ_by_division():
    pipes = a_state(SMALL, 8)
    condition = assess(SMALL, pipes, {})
    pitches = division_pitches(SMALL, condition, {"swell": 23.0})
    assert pitches["swell"].event_celsius == 23.0
    assert pitches["great"].event_celsius == pitches["great"].air_celsius


def test_a_historic_rank_is_never_planned():
    def cents(pipe):
        return 25.0 if pipe.rank == "great.old" else 0.0

    ranks = ["great.principal", "great.octave", "great.twelfth", "great.old"]
    pipes = readings(SMALL, ranks, cents, 18.0)
    plan = plan_of(SMALL, pipes, 500.0)
    assert "great.old" not in {item.pipe.rank for item in plan.items}
    assert plan.cost_after > 20.0  # it is heard all the same, and counted


def test_one_rank_of_reeds_does_not_move_the_organ_to_its_pitch():
    """Only the Trumpet was walked, 7 cents flat: the flues that nobody heard stay the reference."""
    pipes = readings(SMALL, ["great.trumpet"], lambda _: -7.0, 18.0)
    plan = plan_of(SMALL, pipes, 120.0)
    assert abs(plan.reference[0].shift_cents) < 0.5
    assert np.mean([item.cents for item in plan.items]) < -5.0
    assert len(plan.items) > 50


def test_a_division_without_flues_heard_goes_with_the_others():
    """The Swell's Oboe is set to Swell flues that are as far off as the Great's."""
    pipes = readings(SMALL, ["great.principal", "great.octave"], lambda _: 5.0, 18.0)
    pipes += readings(SMALL, ["swell.oboe"], lambda _: 0.0, 18.0)
    plan = plan_of(SMALL, pipes, 200.0, {"great": 18.0, "swell": 18.0})
    shift = {r.division: r.shift_cents for r in plan.reference}
    assert_allclose(shift["swell"], shift["great"])
    assert_allclose(shift["great"], 5.0, rtol=0, atol=1.0)


def test_without_a_thermometer_a_shift_is_attributed_to_the_air():
    pipes = readings(SMALL, ["great.principal", "great.octave"], lambda _: 6.0, 18.0)
    (reference,) = plan_of(SMALL, pipes, 30.0).reference
    assert_allclose(reference.air_celsius, 20.0, rtol=0, atol=0.4)
    assert abs(reference.shift_cents) < 0.3


def test_a_pipe_left_alone_costs_no_minutes():
    pipes = readings(SMALL, ["great.principal", "great.octave"], lambda _: 0.0, 18.0, scatter=0.01)
    plan = plan_of(SMALL, pipes, 60.0)
    assert plan.items == ()
    assert plan.minutes_used == 0.0


def test_no_minutes_give_an_empty_worklist():
    pipes = a_state(SMALL, 9)
    plan = plan_of(SMALL, pipes, 0.0)
    assert plan.items == ()
    assert plan.cost_after == plan.cost_before == plan.curve[0].cost
    assert plan.gap == 0.0


def test_of_two_readings_of_one_pipe_one_is_planned():
    pipes = readings(SMALL, ["great.octave"], lambda p: 9.0 * (p.number == 7), 18.0)
    rough = replace(pipes[6], cents=30.0, sigma_cents=2.0)
    plan = plan_of(SMALL, [*pipes, rough], 120.0)
    planned = [item for item in plan.items if item.pipe.number == 7]
    assert len(planned) == 1
    assert_allclose(planned[0].cents, 9.0, rtol=0, atol=1.5)


@pytest.mark.parametrize(
    ("minutes", "event", "message"),
    [
        (-1.0, None, "cannot last -1 minutes"),
        (float("nan"), None, "cannot last nan minutes"),
        (60.0, 68.0, "cannot be 68 °C"),
        (60.0, {"great": -40.0}, "cannot be -40 °C"),
    ],
)
def test_what_cannot_be_is_refused(minutes, event, message):
    pipes = readings(SMALL, ["great.octave"], lambda _: 0.0, 18.0)
    with pytest.raises(InputError, match=message):
        plan_of(SMALL, pipes, minutes, event_air_celsius=event)


def test_no_readings_are_refused():
    with pytest.raises(InputError, match="no reading to plan with"):
        prepare(SMALL, assess(SMALL, [], {}), [])


def test_an_organ_that_may_not_be_touched_gets_an_empty_worklist():
    pipes = readings(SMALL, ["great.old"], lambda p: 12.0 * (p.number % 7 == 0), 18.0)
    plan = plan_of(SMALL, pipes, 60.0)
    assert plan.items == ()
    assert plan.cost_after == plan.cost_before > 0.0


def test_one_pipe_is_enough_for_a_plan():
    pipe = readings(SMALL, ["great.octave"], lambda _: 14.0, 18.0)[30]
    plan = plan_of(SMALL, [pipe], 10.0)
    (item,) = plan.items
    assert item.move == "flatter"
    assert_allclose(item.cents, 14.0, rtol=0, atol=1.5)
