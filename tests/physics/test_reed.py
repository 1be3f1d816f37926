import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import eigh
from scipy.optimize import brentq

from walkboard.physics.reed import (
    FIRST_BAR_ROOT,
    cents_per_mm,
    exponent_of_readings,
    ideal_tongue_hz,
    tongue_cents_per_celsius,
    tongue_mm_for_cents,
)
from walkboard.quantities import cents_between

EXPONENTS = st.floats(1.0, 2.0)
LENGTHS = st.floats(3.0, 120.0)
CENTS = st.floats(-60.0, 60.0)


def finite_element_bar_hz(
    thickness: float, length: float, young: float, density: float, elements: int = 20
) -> float:
    """First mode of a clamped-free bar of unit width by Hermite beam elements [Hz, m, Pa, kg/m³].

    Source: any textbook of finite elements; shares nothing with the closed form.
    """
    size = length / elements
    stiffness = young * thickness**3 / 12.0 / size**3
    mass = density * thickness * size / 420.0
    x, x2 = size, size * size
    k = stiffness * np.array(
        [
            [12, 6 * x, -12, 6 * x],
            [6 * x, 4 * x2, -6 * x, 2 * x2],
            [-12, -6 * x, 12, -6 * x],
            [6 * x, 2 * x2, -6 * x, 4 * x2],
        ]
    )
    m = mass * np.array(
        [
            [156, 22 * x, 54, -13 * x],
            [22 * x, 4 * x2, 13 * x, -3 * x2],
            [54, 13 * x, 156, -22 * x],
            [-13 * x, -3 * x2, -22 * x, 4 * x2],
        ]
    )
    count = 2 * (elements + 1)
    whole_k, whole_m = np.zeros((count, count)), np.zeros((count, count))
    for i in range(elements):
        place = slice(2 * i, 2 * i + 4)
        whole_k[place, place] += k
        whole_m[place, place] += m
    squares = eigh(whole_k[2:, 2:], whole_m[2:, 2:], eigvals_only=True)
    return float(np.sqrt(squares[0]) / (2 * np.pi))


def test_the_root_is_that_of_a_clamped_bar():
    root = brentq(lambda x: np.cosh(x) * np.cos(x) + 1.0, 1.5, 2.5, xtol=1e-13)
    np.testing.assert_allclose(FIRST_BAR_ROOT, root, rtol=1e-10)


@pytest.mark.parametrize(("thickness", "length"), [(0.2, 8.0), (0.5, 30.0), (1.2, 90.0)])
def test_an_ideal_tongue_agrees_with_finite_elements(thickness, length):
    ours = ideal_tongue_hz(thickness, length, 105e9, 8500.0)
    theirs = finite_element_bar_hz(1e-3 * thickness, 1e-3 * length, 105e9, 8500.0)
    np.testing.assert_allclose(ours, theirs, rtol=1e-5)


@given(LENGTHS, CENTS, EXPONENTS)
def test_a_spring_moved_as_advised_brings_the_pitch_to_its_target(length, cents, exponent):
    after = length + tongue_mm_for_cents(length, cents, exponent)
    np.testing.assert_allclose(exponent * cents_between(after, length), cents, atol=1e-8)


@given(LENGTHS, st.floats(1.0, 60.0), EXPONENTS)
def test_the_law_of_a_pipe_is_learned_from_one_movement(length, cents, exponent):
    after = length + tongue_mm_for_cents(length, cents, exponent)
    np.testing.assert_allclose(exponent_of_readings(length, after, cents), exponent, rtol=1e-6)


# Source: Encyclopedia Americana, article on tuning: the wire driven down shortens and sharpens.
def test_down_is_shorter_and_sharper():
    assert tongue_mm_for_cents(30.0, 5.0) < 0.0 < tongue_mm_for_cents(30.0, -5.0)


# Source: Plitnik and Knox 1995: measured tongues move half as many cents a millimetre as the bar.
def test_a_measured_tongue_is_half_as_sensitive_as_the_ideal():
    np.testing.assert_allclose(cents_per_mm(30.0), 0.5 * cents_per_mm(30.0, 2.0))


def test_a_warm_tongue_goes_flat_while_flues_go_sharp():
    assert -0.5 < tongue_cents_per_celsius() < -0.2


@pytest.mark.parametrize("exponent", [0.5, 2.5, float("nan")])
def test_an_exponent_that_no_tongue_has_is_refused(exponent):
    with pytest.raises(ValueError, match="from 1 to 2"):
        tongue_mm_for_cents(30.0, 5.0, exponent)
    with pytest.raises(ValueError, match="from 1 to 2"):
        cents_per_mm(30.0, exponent)


def test_nothing_is_learned_where_nothing_moved():
    with pytest.raises(ValueError, match="two different lengths"):
        exponent_of_readings(30.0, 30.0, 5.0)
    with pytest.raises(ValueError, match="must be positive"):
        tongue_mm_for_cents(0.0, 5.0)
