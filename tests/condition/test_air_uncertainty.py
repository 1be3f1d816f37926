"""How sure the air is that the flues imply."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.condition.organs import small_organ
from walkboard.condition.assess import assess
from walkboard.condition.state import PipeCents

IDEAL_CENTS_A_DEGREE = 600.0 / (np.log(2.0) * 291.15)  # c ∝ √T, ISO 9613-1:1993, at 18 °C


def flues(scatter: float) -> list[PipeCents]:
    organ = small_organ()
    rng = np.random.default_rng(4)
    return [
        PipeCents(pipe, float(rng.normal(0.0, scatter)), 0.05, None, 18.0)
        for pipe in organ.pipes()
        if organ.rank(pipe.rank).family.is_flue
    ]


def test_unmeasured_humidity_adds_to_the_uncertainty():
    """12 % of relative humidity either way is about 0.8 cent at 20 °C, and so 0.27 °C of air.

    Water in air at 20 °C, from dry to saturated, is worth some 6 to 7 cents of pitch (Cramer 1993,
    JASA 93:2510); an eighth of that is 0.8. Every pipe heard, the air is known no better.
    """
    state = assess(small_organ(), flues(0.3), {}).divisions["great"]
    assert state.implied_sigma_celsius is not None
    assert state.shift_sigma_cents is not None
    humidity = 0.8
    expected = np.hypot(state.shift_sigma_cents, humidity) / IDEAL_CENTS_A_DEGREE
    assert_allclose(state.implied_sigma_celsius, expected, rtol=0.02)
    assert state.implied_sigma_celsius > 0.26


@pytest.mark.parametrize(("thermometer", "agrees"), [(18.0, True), (18.6, True), (19.6, False)])
def test_flues_and_thermometer_disagree_beyond_two_standard_deviations(thermometer, agrees):
    """σ of the flues is some 0.33 °C, of a thermometer 0.3 °C: together 0.45, twice that 0.9."""
    state = assess(small_organ(), flues(0.3), {"great": thermometer}).divisions["great"]
    assert state.agrees is agrees
