"""A celeste is tuned to its partner's present pitch, or to its pitch once tuned."""

from __future__ import annotations

import math

import pytest

from walkboard.condition.assess import assess
from walkboard.condition.celestes import beside_partners, celeste_beats
from walkboard.condition.state import PipeCents
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.planning.choose.demands import Demands
from walkboard.planning.plan import Plan
from walkboard.planning.request import PlanRequest
from walkboard.planning.what_if import prepare

ORGAN = read_organ(
    """
format = 1
name = "Example"
temperament = "equal"
pitch = {a4_hz = 440.0, at_celsius = 18.0}
[[division]]
id = "swell"
name = "Swell"
keys = 56
[[rank]]
id = "principal"
division = "swell"
name = "Principal"
family = "open"
tuned_by = "slide"
feet = "8"
pipes = 56
[[rank]]
id = "viola"
division = "swell"
name = "Viola"
family = "open"
tuned_by = "slide"
feet = "8"
pipes = 56
[[rank]]
id = "celeste"
division = "swell"
name = "Voix céleste"
family = "open"
tuned_by = "slide"
feet = "8"
pipes = 56
celeste = {beats = {C3 = 1.5, C6 = 3.0}, partner = "viola"}
"""
)
KEY = 25  # C4
BEATS = 1.5 + (3.0 - 1.5) * 12 / 36  # by hand: evenly per semitone from C3 to C6


def state(viola_cents: float, celeste_cents: float) -> list[PipeCents]:
    """All pipes in tune but the viola and the celeste of C4."""
    off = {PipeRef("viola", KEY): viola_cents, PipeRef("celeste", KEY): celeste_cents}
    return [PipeCents(p, off.get(p, 0.0), 0.05, -25.0, 18.0) for p in ORGAN.pipes()]


def planned(pipes: list[PipeCents], **demands: object) -> Plan:
    ready = prepare(ORGAN, assess(ORGAN, pipes, {}), pipes)
    return ready.plan(PlanRequest(30.0, demands=Demands(**demands)))  # type: ignore[arg-type]


def hz_of(pipe: PipeRef, cents: float) -> float:
    return float(target_hz(ORGAN, pipe, 18.0) * 2.0 ** (cents / 1200.0))


def test_beats_are_those_between_the_two_as_heard():
    (found,) = [b for b in celeste_beats(ORGAN, state(-6.0, -6.0)) if b.pipe.number == KEY]
    partner_hz = 261.6256 * 2.0 ** (-6.0 / 1200.0)  # C4 of the table, A4 = 440 Hz
    own_hz = (261.6256 + BEATS) * 2.0 ** (-6.0 / 1200.0)
    assert found.beats_hz == pytest.approx(own_hz - partner_hz, abs=1e-4)
    assert found.due_hz == pytest.approx(BEATS)
    assert found.cents == pytest.approx(1200.0 * math.log2(own_hz / (partner_hz + BEATS)))


def test_a_celeste_whose_partner_was_not_heard_keeps_its_own_target():
    pipes = [p for p in state(0.0, 7.0) if p.pipe.rank != "viola"]
    assert beside_partners(ORGAN, pipes) == tuple(pipes)


def test_a_celeste_that_moved_with_its_partner_is_left_alone():
    """Both 6 cents flat: they beat as they should, and the partner is not to be tuned."""
    plan = planned(state(-6.0, -6.0), out_of_reach=frozenset({"viola"}))
    assert PipeRef("celeste", KEY) not in {item.pipe for item in plan.items}


def test_a_celeste_is_tuned_to_a_partner_that_stays_flat():
    plan = planned(state(-6.0, 6.0), out_of_reach=frozenset({"viola"}))
    item = next(i for i in plan.items if i.pipe == PipeRef("celeste", KEY))
    assert item.target_hz == pytest.approx(hz_of(PipeRef("viola", KEY), -6.0) + BEATS, abs=1e-3)
    assert item.cents == pytest.approx(12.0, abs=0.1)


def test_where_the_partner_is_tuned_the_celeste_follows_and_comes_after_it():
    plan = planned(state(-14.0, -14.0))
    items = {item.pipe: item for item in plan.items}
    viola, celeste = items[PipeRef("viola", KEY)], items[PipeRef("celeste", KEY)]
    assert celeste.order > viola.order
    assert celeste.target_hz - viola.target_hz == pytest.approx(BEATS, abs=0.01)
    assert celeste.cents == pytest.approx(-14.0, abs=0.3)
