"""Pipes that pull each other: what they sound like counts, and they are tuned together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy.integrate
from numpy.testing import assert_allclose

from tests.condition.organs import readings, small_organ
from walkboard.condition.assess import assess
from walkboard.condition.pulling import PullingPair
from walkboard.organ.model import PipeRef
from walkboard.physics.locking import beat_near_locking_hz
from walkboard.planning.choose.demands import Demands
from walkboard.planning.plan import Plan
from walkboard.planning.request import PlanRequest
from walkboard.planning.what_if import Prepared, prepare

ORGAN = small_organ()
ONE, OTHER = PipeRef("swell.viola", 25), PipeRef("swell.flute", 25)
RANKS = ["great.principal", "great.octave", "swell.viola", "swell.flute"]


def organ_with(one: float, other: float, kept: float | None) -> Prepared:
    """In tune but for a pair that sits mouth to mouth; None: they do not pull."""
    off = {ONE: one, OTHER: other}
    pipes = readings(ORGAN, RANKS, lambda pipe: off.get(pipe, 0.0), 18.0, scatter=0.0)
    pairs = () if kept is None else (PullingPair(ONE, OTHER, one - other, kept),)
    return prepare(ORGAN, assess(ORGAN, pipes, {}), pipes, pulling=pairs)


def pair_in(plan: Plan) -> dict[PipeRef, float]:
    return {item.pipe: item.cents for item in plan.items if item.pipe in {ONE, OTHER}}


@pytest.mark.parametrize("kept_hz", [0.0, 0.5, 1.1])
def test_what_each_sounds_like_is_what_two_pulling_oscillators_do(kept_hz: float) -> None:
    """Adler's equation for both phases, solved by scipy's integrator over ten seconds."""
    first_hz, second_hz = 262.2, 261.0
    locking_hz = float(np.sqrt((first_hz - second_hz) ** 2 - kept_hz**2)) + 1e-3 * (kept_hz == 0)
    together = beat_near_locking_hz(first_hz - second_hz, locking_hz)
    assert together == pytest.approx(kept_hz, abs=1e-6)

    def rates(_: float, phase: np.ndarray) -> list[float]:
        pull = 0.5 * locking_hz * np.sin(2.0 * np.pi * (phase[1] - phase[0]))
        return [first_hz - 261.6 + pull, second_hz - 261.6 - pull]

    periods = 40.0 / kept_hz if kept_hz else 40.0
    start = scipy.integrate.solve_ivp(rates, (0.0, 40.0), [0.0, 0.1], rtol=1e-8).y[:, -1]
    end = scipy.integrate.solve_ivp(rates, (0.0, periods), start, rtol=1e-8).y[:, -1]
    heard_hz = 261.6 + (end - start) / periods
    pair = PullingPair(ONE, OTHER, 1200.0 * np.log2(first_hz / second_hz), kept_hz / 1.2)
    alone_hz = np.array([first_hz, second_hz])
    ours = alone_hz * 2.0 ** (np.array([pair.drawn_cents[ONE], pair.drawn_cents[OTHER]]) / 1200.0)
    assert_allclose(ours, heard_hz, atol=0.01)


def test_a_pair_in_step_about_its_target_is_left_and_a_loose_one_is_not() -> None:
    """3 cents sharp and 3 flat, in step: together they are in tune, and do not beat."""
    request = PlanRequest(30.0)
    assert pair_in(organ_with(3.0, -3.0, 0.0).plan(request)) == {}
    assert set(pair_in(organ_with(3.0, -3.0, None).plan(request))) == {ONE, OTHER}


def test_a_pair_is_tuned_together_each_to_its_own_target() -> None:
    """One is in tune alone; in step with the other it is 4 cents off, as that is."""
    prepared = organ_with(8.0, 0.0, 0.0)
    plan = prepared.plan(PlanRequest(30.0))
    done = pair_in(plan)
    assert set(done) == {ONE, OTHER}
    assert done[ONE] == pytest.approx(8.0, abs=0.2)  # as it is alone: so it is tuned
    assert done[OTHER] == pytest.approx(0.0, abs=0.2)
    assert any("tune each of the two with the other silent" in note for note in plan.notes)
    why = {item.pipe: item.why for item in plan.items}
    assert f"pulls with {OTHER}" in why[ONE]
    assert set(pair_in(organ_with(8.0, 0.0, None).plan(PlanRequest(30.0)))) == {ONE}


def test_a_stray_that_its_neighbour_draws_in_does_not_stick_out() -> None:
    """15 cents off alone, drawn to 7.5: no longer one of the pipes that go before all others."""
    request = PlanRequest(8.0)
    offsets = {p.pipe: p for p in organ_with(15.0, 0.0, 0.0).pipe_offsets(request)}
    assert offsets[ONE].chance_stray_at(0.0) < 0.05
    assert offsets[ONE].cents == pytest.approx(15.0, abs=0.2)
    loose = {p.pipe: p for p in organ_with(15.0, 0.0, None).pipe_offsets(request)}
    assert loose[ONE].chance_stray_at(0.0) > 0.95


def test_minutes_for_one_of_a_pair_are_spent_on_neither() -> None:
    """The door, two ranks and two pipes do not fit; one alone would, and would do no good."""
    needs = organ_with(8.0, 0.0, 0.0).plan(PlanRequest(60.0)).minutes_used
    short = organ_with(8.0, 0.0, 0.0).plan(PlanRequest(needs - 0.5))
    assert pair_in(short) == {}
    assert set(pair_in(organ_with(8.0, 0.0, None).plan(PlanRequest(needs - 0.5)))) == {ONE}


def test_one_that_may_not_be_touched_leaves_the_other_to_itself() -> None:
    demands = Demands(must_not=frozenset({OTHER}))
    request = replace(PlanRequest(30.0), demands=demands)
    assert set(pair_in(organ_with(8.0, 0.0, 0.0).plan(request))) == {ONE}


def test_what_must_be_done_takes_its_partner_along() -> None:
    demands = Demands(must=frozenset({ONE}))
    plan = organ_with(1.0, 0.0, 0.0).plan(replace(PlanRequest(60.0), demands=demands))
    assert set(pair_in(plan)) == {ONE, OTHER}
