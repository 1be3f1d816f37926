"""One rank of several constructions: each pipe is treated as it is built, not as its rank."""

from __future__ import annotations

import numpy as np
import pytest

from tests.sheets.visits import facts
from walkboard.condition.assess import assess
from walkboard.condition.drift.filter import OrganDrift
from walkboard.condition.drift.kinds import USUAL_HABITS, DriftKind
from walkboard.condition.state import PipeCents
from walkboard.organ.model import PipeRef, TunedBy
from walkboard.organ.reading import read_organ
from walkboard.planning.minutes import BY_TUNING, RECHECK_MINUTES
from walkboard.planning.plan import Plan
from walkboard.planning.request import PlanRequest
from walkboard.planning.route.order import reference_rank
from walkboard.planning.value.company import Registration, company_of
from walkboard.planning.value.layout import Layout
from walkboard.planning.what_if import prepare
from walkboard.sheets.cautions import Topic, cautions_for
from walkboard.sheets.values import Work
from walkboard.sheets.worklist import worklist_sheet

ORGAN = read_organ(
    """
format = 1
name = "Example"
temperament = "equal"
pitch = {a4_hz = 440.0, at_celsius = 18.0}
[[division]]
id = "great"
name = "Great"
keys = 56
[[rank]]
id = "flute"
division = "great"
name = "Flute"
family = "stopped"
tuned_by = "stopper"
feet = "8"
pipes = 56
parts = [{from = "C3", family = "open", tuned_by = "cone"}]
[[rank]]
id = "octave"
division = "great"
name = "Octave"
family = "stopped"
tuned_by = "stopper"
feet = "4"
pipes = 56
parts = [{from = "F2", family = "open", tuned_by = "slide"}]
"""
)
FLUTE = ORGAN.rank("flute")
STOPPED, OPEN = PipeRef("flute", 6), PipeRef("flute", 30)


@pytest.fixture(scope="module")
def plan() -> Plan:
    off = {STOPPED: 15.0, OPEN: 15.0}
    pipes = [PipeCents(p, off.get(p, 0.0), 0.05, -25.0, 18.0) for p in ORGAN.pipes()]
    return prepare(ORGAN, assess(ORGAN, pipes, {}), pipes).plan(PlanRequest(30.0))


def test_each_pipe_takes_the_minutes_of_its_own_device(plan: Plan) -> None:
    minutes = {item.pipe: item.minutes for item in plan.items}
    # The stopper is moved by hand, which warms the pipes beside it.
    assert minutes[STOPPED] == pytest.approx(BY_TUNING[TunedBy.STOPPER] + RECHECK_MINUTES)
    assert minutes[OPEN] == pytest.approx(BY_TUNING[TunedBy.CONE])


def test_the_sheet_says_which_pipes_are_tuned_by_what(plan: Plan) -> None:
    (group,) = worklist_sheet(ORGAN, facts(ORGAN), Work(plan)).groups
    assert "F2: tuned by stopper" in group.device
    assert "F4: tuned by cone" in group.device
    assert "stopper" in group.rows[0].hand
    assert "close the top" in group.rows[1].hand
    # 15 cents are much for a cone and nothing unusual for a stopper
    assert group.rows[0].note == ""
    assert "cone" in group.rows[1].note


def test_cautions_are_those_of_every_part() -> None:
    topics = {caution.topic for caution in cautions_for([FLUTE], ORGAN.divisions)}
    assert {Topic.CONING, Topic.LEAD} <= topics


def test_a_principal_with_a_stopped_bass_can_be_the_reference() -> None:
    assert reference_rank(ORGAN) == ORGAN.rank("octave")


def test_the_open_pipes_beat_more_with_the_octave_than_the_stopped() -> None:
    layout = Layout.of(ORGAN)
    everything = Registration(np.ones(len(layout.semitone)))
    depth = company_of(layout, np.zeros(len(layout.semitone)), everything).depth
    second = depth[:, 1]  # what of its loudness beats at its second partial, with the Octave
    assert second[layout.place(STOPPED)] < 0.5 * second[layout.place(OPEN)]


def test_each_pipe_drifts_as_its_kind() -> None:
    drift = OrganDrift(ORGAN, USUAL_HABITS)
    rank = drift.ranks[0]
    before = np.diagonal(rank.covariance)[: rank.pipes].copy()
    rank.pass_time(1.0)
    wander = np.diagonal(rank.covariance)[: rank.pipes] - before
    stopped, cone = USUAL_HABITS[DriftKind.STOPPED], USUAL_HABITS[DriftKind.CONE]
    assert wander[5] == pytest.approx(stopped.wander_cents**2)
    assert wander[29] == pytest.approx(cone.wander_cents**2)
    assert rank.slip_cents[[5, 29]].tolist() == [stopped.slip_cents, cone.slip_cents]
