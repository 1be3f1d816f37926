"""Surveys planned: every pipe read, nothing forbidden drawn together, and the hall's figures."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from numpy.testing import assert_allclose

from tests.strategies import organs
from walkboard.errors import NotEnoughMinutesError, UnknownNameError
from walkboard.organ import examples
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.scales.keys import Key
from walkboard.survey.plan.key_choice import KeysWanted
from walkboard.survey.plan.make_survey import plan_survey
from walkboard.survey.plan.rules import CautiousRules, voices_of
from walkboard.survey.plan.to_json import survey_plan_to_json
from walkboard.survey.plan.walk_plan import Doubt, Pace, SurveyPlan

VILLAGE = read_organ(examples.village())
RULES = CautiousRules()


@pytest.fixture(scope="module")
def hall() -> Organ:
    return read_organ(examples.hall())


@pytest.fixture(scope="module")
def hall_plan(hall) -> SurveyPlan:
    return plan_survey(hall)


def assert_sound(organ: Organ, plan: SurveyPlan) -> None:
    """Every wanted pipe is read where it sounds, and no hold sounds what cannot be separated."""
    read: set[PipeRef] = set()
    for walk in plan.walks:
        division = organ.division(walk.division)
        assert all(organ.stop(stop).division == walk.division for stop in walk.drawn)
        assert all(division.lowest <= key <= division.highest for key in walk.keys)
        assert list(walk.keys) == sorted(set(walk.keys))
        sounding = set()
        for key in walk.keys:
            stops = [stop for stop in walk.drawn if organ.stop(stop).pipes_at(key)]
            pipes = organ.sounding(walk.drawn, key)
            sounding |= set(pipes)
            if len(stops) > 1:
                assert RULES.why_not(voices_of(organ, pipes)) is None
        assert set(walk.reads) <= sounding
        assert not read & set(walk.reads)
        read |= set(walk.reads)
    assert read == set(plan.wanted)


@settings(max_examples=25)
@given(organs())
def test_every_pipe_is_read_and_nothing_forbidden_is_drawn(organ):
    plan = plan_survey(organ)
    assert_sound(organ, plan)
    assert set(plan.wanted) | set(plan.unheard) == set(organ.pipes())
    assert not set(plan.wanted) & set(plan.unheard)
    assert plan.bound_minutes is not None
    assert plan.bound_minutes <= plan.minutes + 1e-9
    # stop by stop reads the same pipes, and is one of the plans that the solver may choose
    sounding = [(stop, organ.keys_of([stop.id])) for stop in organ.stops]
    assert plan.minutes <= plan.pace.minutes(len(sounding), sum(len(k) for _, k in sounding)) + 1e-9


def test_the_hall_is_read_in_less_than_half_the_time_of_rank_by_rank(hall, hall_plan):
    assert_sound(hall, hall_plan)
    assert len(hall_plan.wanted) == 2534
    assert hall_plan.unheard == ()
    assert_allclose(hall_plan.by_rank_minutes, 46 * 0.3 + 2534 * 4.3 / 60, atol=0.01)
    assert hall_plan.minutes < 0.45 * hall_plan.by_rank_minutes
    assert hall_plan.gap is not None
    assert hall_plan.gap < 0.02


def test_a_celeste_and_a_tuba_are_drawn_alone(hall_plan):
    for walk in hall_plan.walks:
        if {"swell.celeste8", "solo.tuba8"} & set(walk.drawn):
            assert len(walk.drawn) == 1


def test_what_one_stop_alone_sounds_too_much_of_is_said(hall_plan):
    doubtful = [walk for walk in hall_plan.walks if walk.doubts]
    assert doubtful
    for walk in doubtful:
        assert any("above" in doubt.why for doubt in walk.doubts)


def test_json_writes_the_keys_of_a_doubt_as_it_writes_all_keys(hall_plan):
    doubt = Doubt("two pipes of one pitch", Key.parse("C#2"), Key.parse("F#3"))
    walk = replace(hall_plan.walks[0], doubts=(doubt,))
    (written,) = survey_plan_to_json(replace(hall_plan, walks=(walk,)))["walks"]
    assert written["doubts"] == ["two pipes of one pitch at C#2–F#3"]


def test_a_borrowed_pipe_is_read_once(hall, hall_plan):
    borrowed = [p for p in hall.pipes() if p.rank == "great.principal16"]
    read = [p for walk in hall_plan.walks for p in walk.reads if p.rank == "great.principal16"]
    assert sorted(read) == borrowed


def test_chosen_keys_alone_are_held():
    plan = plan_survey(VILLAGE, choose=KeysWanted.parse("C,F#"))
    assert_sound(VILLAGE, plan)
    assert {key.pitch_class for walk in plan.walks for key in walk.keys} == {0, 6}
    assert {pipe.rank for pipe in plan.wanted} == {rank.id for rank in VILLAGE.ranks}


def test_named_pipes_alone_are_read_and_their_neighbours_not_held():
    named = [PipeRef("great.open8", 5), PipeRef("great.fifteenth2", 5), PipeRef("swell.oboe8", 1)]
    plan = plan_survey(VILLAGE, pipes=named)
    assert_sound(VILLAGE, plan)
    assert set(plan.wanted) == set(named)
    assert plan.holds == 2


def test_a_pipe_that_the_organ_has_not_is_refused():
    with pytest.raises(UnknownNameError, match="no pipe 99"):
        plan_survey(VILLAGE, pipes=[PipeRef("great.open8", 99)])


def test_too_few_minutes_thin_out_the_keys_and_keep_every_rank():
    whole = plan_survey(VILLAGE)
    plan = plan_survey(VILLAGE, minutes=10.0)
    assert_sound(VILLAGE, plan)
    assert plan.minutes <= 10.0 < whole.minutes
    assert plan.every == 2
    assert {pipe.rank for pipe in plan.wanted} == {pipe.rank for pipe in whole.wanted}
    assert set(plan.wanted) | set(plan.left_out) == set(whole.wanted)


def test_minutes_that_hold_not_even_the_cs_are_too_few():
    with pytest.raises(NotEnoughMinutesError, match="minutes more"):
        plan_survey(VILLAGE, minutes=2.0)


def test_longer_holds_take_longer_by_just_that():
    usual, long = plan_survey(VILLAGE), plan_survey(VILLAGE, pace=Pace(8.0))
    assert_allclose(long.minutes - usual.minutes, usual.holds * 4.0 / 60.0, rtol=1e-6)


def test_where_one_pipe_sounds_at_a_time_the_keys_are_held_shorter():
    usual, quick = plan_survey(VILLAGE), plan_survey(VILLAGE, pace=Pace(alone_s=1.0))
    assert_sound(VILLAGE, quick)
    for walk in quick.walks:
        one = all(len(VILLAGE.sounding(walk.drawn, key)) == 1 for key in walk.keys)
        assert quick.pace_of(walk).hold_s == (1.0 if one else 4.0)
    assert any(walk.alone for walk in quick.walks)
    # No more than the usual plan with its walks of one pipe held shorter, and proven the least.
    shorter_s = 3.0 * sum(len(walk.keys) for walk in usual.walks if walk.alone)
    assert quick.minutes <= usual.minutes - shorter_s / 60.0 + 1e-9
    assert quick.bound_minutes == pytest.approx(quick.minutes, rel=1e-4)


def test_drawing_a_stop_alone_is_worth_it_only_where_it_is_held_much_shorter():
    """At half a second a rank alone takes less than two ranks at 4 s, the setting counted."""
    quick = plan_survey(VILLAGE, pace=Pace(alone_s=0.5))
    usual = plan_survey(VILLAGE)
    assert sum(w.alone for w in quick.walks) > sum(w.alone for w in usual.walks)
    assert quick.bound_minutes is not None
    assert quick.bound_minutes <= quick.minutes + 1e-9
    assert quick.minutes < usual.minutes


def test_the_exchanged_plan_holds_what_the_plan_holds():
    plan = plan_survey(VILLAGE)
    given_away = survey_plan_to_json(plan)
    assert given_away["format"] == 1
    assert [walk["drawn"] for walk in given_away["walks"]] == [list(w.drawn) for w in plan.walks]
    assert sum(len(walk["keys"]) for walk in given_away["walks"]) == given_away["holds"]
    assert {walk["hold_s"] for walk in given_away["walks"]} == {4.0}
