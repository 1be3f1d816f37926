import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import i1, j1, k1, y1

from tests.published.end_corrections import flanged_fit, unflanged_exact, unflanged_fit
from walkboard.physics.flue import open_end_correction_mm


# The printed integral as it stands, by adaptive quadrature (scipy), against our two substitutions.
@pytest.mark.parametrize("ka", [0.2, 0.7, 1.5, 3.0])
def test_the_integral_by_another_road(ka):
    inner, _ = quad(
        lambda x: math.log(math.pi * j1(x) * math.hypot(j1(x), y1(x))) / (x * math.sqrt(ka + x)),
        0.0,
        ka,
        weight="alg",
        wvar=(0.0, -0.5),
    )
    outer, _ = quad(
        lambda x: -math.log(2.0 * i1(x) * k1(x)) / (x * math.hypot(x, ka)), 0.0, 500.0, limit=400
    )
    # beyond 500 the logarithm is ln x to 1e-6, and the integral of ln(x)/x² is (ln x + 1)/x
    tail = (math.log(500.0) + 1.0) / 500.0
    np.testing.assert_allclose(unflanged_exact(ka), (inner + outer + tail) / math.pi, atol=1e-5)


# Source: Levine and Schwinger 1948 print 0.6133 at ka = 0; the integral gives 0.6127.
def test_printed_limit():
    np.testing.assert_allclose(unflanged_exact(0.0), 0.6133, atol=0.0015)
    np.testing.assert_allclose(unflanged_exact(1e-6), unflanged_exact(0.0), atol=1e-6)


def test_the_fit_keeps_to_the_integral():
    for ka in np.linspace(0.0, 1.0, 21):
        np.testing.assert_allclose(unflanged_fit(ka), unflanged_exact(ka), atol=0.002)


def test_a_wall_adds_to_the_end():
    for ka in np.linspace(0.0, 1.5, 16):
        assert flanged_fit(ka) > unflanged_fit(ka)


# Source: Rayleigh's limits for a flanged end, 8/(3π) = 0.849 from above and π/4 from below.
def test_flanged_limit_lies_between_rayleighs():
    assert math.pi / 4 < flanged_fit(0.0) < 8 / (3 * math.pi)


def test_the_builders_open_end_is_that_of_a_thin_wall():
    radius = 20.0
    ours = open_end_correction_mm(math.pi * radius**2) / radius
    np.testing.assert_allclose(ours, unflanged_exact(0.0), atol=0.011)


@pytest.mark.parametrize(
    ("fit", "ka"), [(unflanged_exact, 3.84), (unflanged_fit, 1.6), (flanged_fit, 3.6)]
)
def test_outside_its_range_a_formula_is_refused(fit, ka):
    with pytest.raises(ValueError, match="ka"):
        fit(ka)
    with pytest.raises(ValueError, match="ka"):
        fit(-0.1)
