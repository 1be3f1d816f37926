"""A plan with NaN in what it is given is refused at once; most of these once never returned."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from tests.condition.organs import readings, small_organ
from walkboard.condition.assess import assess
from walkboard.errors import InputError
from walkboard.organ.model import PipeRef
from walkboard.planning.air_course import AirCourse, course_of
from walkboard.planning.choose.demands import Demands
from walkboard.planning.request import PlanRequest
from walkboard.planning.value.belief import Belief, PipeForecast
from walkboard.planning.value.use import EventUse, RegistrationUse
from walkboard.planning.what_if import prepare

ORGAN = small_organ()
PIPES = readings(ORGAN, ["great.octave"], lambda _: 2.0, 18.0)[:24]
CONDITION = assess(ORGAN, PIPES, {"great": 18.0})
UNHEARD = PipeRef("great.trumpet", 20)


@pytest.mark.parametrize("field", ["cents", "sigma_cents", "level_db", "air_celsius"])
@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_reading_that_is_no_number_is_refused_by_its_pipe(field: str, value: float) -> None:
    changed: dict[str, Any] = {field: value}
    wrong = replace(PIPES[5], **changed)
    with pytest.raises(InputError, match=r"cannot be|is out of range|is not a number") as refused:
        prepare(ORGAN, CONDITION, [*PIPES[:5], wrong, *PIPES[6:]])
    assert refused.value.where == str(wrong.pipe)
    assert refused.value.fix


@pytest.mark.parametrize(
    "field",
    [
        "shift_cents", "shift_sigma_cents", "stated_celsius", "implied_celsius",
        "thermometer_celsius",
    ],
)  # fmt: skip
def test_a_condition_that_is_no_number_is_refused_by_its_division(field: str) -> None:
    changed: dict[str, Any] = {field: math.nan}
    state = replace(CONDITION.divisions["great"], **changed)
    with pytest.raises(InputError, match=r"cannot be|is out of range|is not a number") as refused:
        prepare(ORGAN, replace(CONDITION, divisions={"great": state}), PIPES)
    assert refused.value.where == "great"


def test_what_a_reed_follows_must_be_a_number() -> None:
    with pytest.raises(InputError, match="a reed follows cannot be nan"):
        prepare(ORGAN, CONDITION, PIPES, reed_follows={"great.trumpet": math.nan})


@pytest.mark.parametrize(
    "made",
    [
        lambda: Belief.normal(math.nan, 1.0),
        lambda: Belief.normal(0.0, math.nan),
        lambda: Belief.normal(math.inf, 1.0),
        lambda: Belief((math.nan, 0.5), (0.0, 1.0), (1.0, 1.0)),
        lambda: PipeForecast(UNHEARD, Belief.normal(0.0, 1.0), math.nan),
        lambda: PipeForecast(UNHEARD, Belief.normal(0.0, 1.0), 18.0, math.nan),
        lambda: AirCourse(math.nan),
        lambda: AirCourse(18.0, math.nan),
        lambda: course_of([(-30.0, 17.0), (0.0, math.nan)]),
    ],
)
def test_forecasts_and_the_air_are_made_of_finite_numbers(made: Callable[[], Any]) -> None:
    with pytest.raises(ValueError, match="finite numbers"):
        made()


@pytest.mark.parametrize(
    ("request_", "message"),
    [
        (PlanRequest(30.0, curve_every_minutes=math.nan), "a point every nan minutes"),
        (PlanRequest(30.0, curve_every_minutes=0.0), "a point every 0 minutes"),
        (PlanRequest(30.0, event_air_celsius={"great": math.nan}), "air cannot be nan"),
        (
            PlanRequest(30.0, use=EventUse((RegistrationUse(("great.octave",), math.nan),))),
            "sound for nan seconds",
        ),
        (
            PlanRequest(
                30.0,
                use=EventUse((RegistrationUse(("great.octave",), 9.0, {"great": {60: math.nan}}),)),
            ),
            "sound for nan seconds",
        ),
        (
            PlanRequest(30.0, demands=Demands(extra_minutes={PIPES[5].pipe: math.nan})),
            "cannot take nan minutes more",
        ),
    ],
)
def test_a_request_that_is_no_number_is_refused(request_: PlanRequest, message: str) -> None:
    with pytest.raises(InputError, match=message):
        prepare(ORGAN, CONDITION, PIPES).plan(request_)
