import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from walkboard import quantities as q


# Source: scipy.constants, which carries the SI and NIST definitions.
@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        (q.ZERO_CELSIUS_K, constants.zero_Celsius),
        (q.STANDARD_GRAVITY_M_S2, constants.g),
        (q.MM_PER_INCH, 1000.0 * constants.inch),
    ],
)
def test_constants_are_the_conventional_ones(ours, theirs):
    np.testing.assert_allclose(ours, theirs, rtol=1e-15)


def test_commas_fit_together():
    # twelve fifths less seven octaves; four fifths less two octaves and a third; arithmetic
    np.testing.assert_allclose(
        q.PYTHAGOREAN_COMMA_CENTS, 12 * q.PURE_FIFTH_CENTS - 8400.0, atol=1e-9
    )
    np.testing.assert_allclose(
        q.SYNTONIC_COMMA_CENTS,
        4 * q.PURE_FIFTH_CENTS - 2400.0 - q.PURE_MAJOR_THIRD_CENTS,
        atol=1e-9,
    )
    np.testing.assert_allclose(q.DIESIS_CENTS, 1200.0 - 3 * q.PURE_MAJOR_THIRD_CENTS, atol=1e-9)


@given(st.floats(-12_000.0, 12_000.0))
def test_cents_and_ratio_go_there_and_back(cents):
    np.testing.assert_allclose(q.cents_of_ratio(q.ratio_of_cents(cents)), cents, atol=1e-8)


def test_sharp_is_positive():
    assert q.cents_between(440.0, 441.0) > 0.0 > q.cents_between(440.0, 439.0)


@given(st.floats(16.0, 9000.0))
def test_hz_of_a_cent_is_the_slope(hz):
    np.testing.assert_allclose(q.cents_between(hz, hz + q.hz_per_cent(hz) * 0.01), 0.01, rtol=1e-4)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_a_ratio_must_be_positive(bad):
    with pytest.raises(ValueError, match="positive and finite"):
        q.cents_of_ratio(bad)
    with pytest.raises(ValueError, match="must be positive and finite"):
        q.cents_between(440.0, bad)
