"""How likely tuning a pipe leaves it worse, and when the tuner is warned."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from walkboard.organ.model import TunedBy
from walkboard.planning.value.risk import CHANCE, Risk, chances, risk_of

# Of a thousand pipes moved by a few cents, how many are worse afterwards: common practice, no
# source. A slide moves freely; a cap's felt may lose its grip; bent or coned metal gets tired.
WORSE_OF_A_THOUSAND = {
    "slide": 0,
    "stopper": 5,
    "spring": 5,
    "shade": 5,
    "cap": 10,
    "roll": 20,
    "cone": 20,
    "ears": 20,
}


@pytest.mark.parametrize("device", list(TunedBy))
def test_a_few_cents_are_safe_on_every_device(device: TunedBy) -> None:
    for move in (-5.0, 5.0):
        risk = risk_of(device, move)
        assert_allclose(1000.0 * risk.chance, WORSE_OF_A_THOUSAND[device.value], atol=1e-6)
        assert not risk.is_risky
        assert risk.why == ""


@pytest.mark.parametrize("move", [-13.0, 13.0])
def test_much_for_a_cone_is_risky_either_way_and_nothing_for_a_slide(move: float) -> None:
    """One in ten goes wrong by the coning, and one in fifty of the rest as any cone does."""
    cone = risk_of(TunedBy.CONE, move)
    assert_allclose(cone.chance, 1.0 - 0.9 * 0.98)
    assert cone.is_risky
    assert "go gently" in cone.why
    assert risk_of(TunedBy.SLIDE, move).chance == 0.0
    assert risk_of(TunedBy.SLIDE, move).why == ""
    assert not risk_of(TunedBy.CONE, 0.9 * move).is_risky


@pytest.mark.parametrize("move", [-31.0, 31.0])
def test_a_pipe_far_off_has_more_wrong_with_it_than_its_pitch(move: float) -> None:
    slide, cone = risk_of(TunedBy.SLIDE, move), risk_of(TunedBy.CONE, move)
    assert_allclose(slide.chance, 0.15)
    assert slide.is_risky
    assert_allclose(cone.chance, 1.0 - 0.98 * 0.9 * 0.85)
    for risk in (slide, cone):
        assert "something else may be wrong" in risk.why
    assert risk_of(TunedBy.SLIDE, 0.95 * move).chance == 0.0


def test_twelve_cents_of_coning_and_thirty_of_anything_are_still_usual() -> None:
    assert risk_of(TunedBy.CONE, 12.0).why == ""
    assert_allclose(risk_of(TunedBy.CONE, 12.0).chance, 0.02)
    assert risk_of(TunedBy.SLIDE, 30.0).why == ""
    assert risk_of(TunedBy.SLIDE, 30.0).chance == 0.0


def test_a_plan_and_the_words_on_its_sheet_go_by_the_same_chance() -> None:
    moves = np.array([3.0, -14.0, 40.0])
    for device in TunedBy:
        coned = np.full(3, float(device is TunedBy.CONE))
        of_plan = chances(np.full(3, CHANCE[device]), coned, moves)
        assert_allclose(of_plan, [risk_of(device, float(move)).chance for move in moves])


def test_a_chance_of_one_in_ten_is_worth_a_word() -> None:
    assert Risk(0.1, "").is_risky
    assert not Risk(0.099, "").is_risky
