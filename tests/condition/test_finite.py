"""Readings with NaN, infinity or impossible air are refused at once, with the pipe's name."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from tests.condition.organs import readings, small_organ
from walkboard.condition.assess import assess, division_states
from walkboard.condition.finite import check_condition, check_shares
from walkboard.condition.state import Condition
from walkboard.errors import InputError

ORGAN = small_organ()
PIPES = readings(ORGAN, ["great.octave"], lambda _: 2.0, 18.0)[:24]

NOT_KNOWN: dict[str, Any] = dict.fromkeys(
    ("shift_cents", "shift_sigma_cents", "implied_celsius", "thermometer_celsius")
)
WRONG = [
    ("cents", math.nan, "A reading cannot be nan cents"),
    ("cents", math.inf, "A reading cannot be inf cents"),
    ("sigma_cents", math.nan, "uncertainty cannot be nan cents"),
    ("sigma_cents", math.inf, "uncertainty cannot be inf cents"),
    ("sigma_cents", -0.1, "uncertainty cannot be -0.1 cents"),
    ("level_db", math.nan, "level cannot be nan dB"),
    ("level_db", -math.inf, "level cannot be -inf dB"),
    ("air_celsius", math.nan, "nan °C is out of range"),
    ("air_celsius", 291.15, "291.15 °C is out of range"),
]


@pytest.mark.parametrize("judge", [assess, division_states])
@pytest.mark.parametrize(("field", "value", "message"), WRONG)
def test_a_reading_that_cannot_be_is_refused_by_its_pipe(
    judge: Callable[..., object], field: str, value: float, message: str
) -> None:
    changed: dict[str, Any] = {field: value}
    wrong = replace(PIPES[5], **changed)
    with pytest.raises(InputError, match=message) as refused:
        judge(ORGAN, [*PIPES[:5], wrong, *PIPES[6:]], {})
    assert refused.value.where == str(wrong.pipe)
    assert refused.value.fix


def test_a_surer_reading_of_the_same_pipe_does_not_hide_it() -> None:
    rough = replace(PIPES[5], cents=math.nan, sigma_cents=9.0)
    with pytest.raises(InputError, match="nan cents"):
        assess(ORGAN, [*PIPES, rough], {})


@pytest.mark.parametrize("celsius", [math.nan, math.inf, 64.0])
def test_a_thermometer_that_cannot_be_is_refused(celsius: float) -> None:
    with pytest.raises(InputError, match=r"The thermometer at great of .* is out of range"):
        assess(ORGAN, PIPES, {"great": celsius})


def test_an_unknown_level_and_a_reading_without_uncertainty_are_accepted() -> None:
    pipes = [replace(p, level_db=None, sigma_cents=0.0) for p in PIPES]
    assert assess(ORGAN, pipes, {}).divisions["great"].shift_cents == pytest.approx(2.0, abs=0.6)


@pytest.mark.parametrize(
    ("field", "value"),
    [("shift_cents", math.nan), ("shift_sigma_cents", math.inf), ("stated_celsius", math.nan),
     ("implied_celsius", math.inf), ("thermometer_celsius", 99.0)],
)  # fmt: skip
def test_a_condition_that_cannot_be_is_refused_by_its_division(field: str, value: float) -> None:
    good = assess(ORGAN, PIPES, {"great": 18.0})
    check_condition(good)
    check_condition(Condition({"great": replace(good.divisions["great"], **NOT_KNOWN)}, None))
    changed: dict[str, Any] = {field: value}
    wrong = Condition({"great": replace(good.divisions["great"], **changed)}, None)
    with pytest.raises(InputError) as refused:
        check_condition(wrong)
    assert refused.value.where == "great"


def test_a_share_that_is_no_number_is_refused_by_its_rank() -> None:
    check_shares({"great.trumpet": 0.3}, what="What a reed follows")
    with pytest.raises(InputError, match="What a reed follows cannot be nan") as refused:
        check_shares({"great.trumpet": math.nan}, what="What a reed follows")
    assert refused.value.where == "great.trumpet"
