import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from tests.published.cramer_rao import (
    exact_omega_variance,
    harmonic_omega_variance,
    harmonic_sigma_cents,
    resolution_hz,
    sigma_cents,
    tone_omega_variance,
    tone_sigma_cents,
)


def inverse_fisher(
    samples: int, omega: float, amplitudes: list[float], phases: list[float], sigma: float
) -> float:
    """Bound of omega from Fisher's matrix by numerical differences: definition, no closed form."""
    start = np.concatenate([[omega], amplitudes, phases])
    count = len(amplitudes)
    n = np.arange(samples)

    def model(parameters: NDArray[np.float64]) -> NDArray[np.float64]:
        w, level, phase = parameters[0], parameters[1 : 1 + count], parameters[1 + count :]
        numbers = np.arange(1, count + 1)
        partials = level * np.cos(np.outer(n, numbers * w) + phase)
        return np.asarray(partials.sum(axis=1), dtype=np.float64)

    columns = []
    for i in range(start.size):
        step = np.zeros(start.size)
        step[i] = 1e-9 if i == 0 else 1e-6
        columns.append((model(start + step) - model(start - step)) / (2 * step[i]))
    slopes = np.stack(columns, axis=1)
    return float(np.linalg.inv(slopes.T @ slopes)[0, 0] * sigma**2)


CASES = [([1.0], [0.3]), ([1.0, 0.5, 0.3, 0.2], [0.1, 1.2, 2.0, -0.7])]


@pytest.mark.parametrize(("amplitudes", "phases"), CASES)
@pytest.mark.parametrize("samples", [60, 400, 4000])
def test_exact_bound_is_the_inverse_of_fishers_matrix(amplitudes, phases, samples):
    omega = 2 * np.pi * 440.0 / 8000.0
    ours = exact_omega_variance(samples, omega, amplitudes, phases, 0.1)
    np.testing.assert_allclose(
        ours, inverse_fisher(samples, omega, amplitudes, phases, 0.1), rtol=1e-4
    )


# The closed form against Fisher's matrix at 220 periods: Rife and Boorstyn 1974, Kay 1993;
# Christensen and Jakobsson 2009. Tolerance: what the docstring says of its approximation.
@pytest.mark.parametrize(("amplitudes", "phases"), CASES)
def test_closed_form_is_near_the_exact_bound(amplitudes, phases):
    exact = exact_omega_variance(4000, 2 * np.pi * 440.0 / 8000.0, amplitudes, phases, 0.1)
    np.testing.assert_allclose(harmonic_omega_variance(4000, amplitudes, 0.1), exact, rtol=0.004)


def test_maximum_likelihood_meets_the_bound_and_does_not_beat_it():
    # 400 trials leave the ratio of variances a standard deviation of 7 %
    rng = np.random.default_rng(7)
    samples, omega, sigma, trials = 500, 0.71, 0.2, 400
    n = np.arange(samples)
    tone = np.cos(omega * n + rng.uniform(-np.pi, np.pi, (trials, 1)))
    sound = tone + sigma * rng.standard_normal((trials, samples))
    grid = omega + np.linspace(-6.0, 6.0, 121) * np.sqrt(tone_omega_variance(samples, 1.0, sigma))
    carrier = np.exp(-1j * np.outer(n, grid))
    power = np.abs(sound @ carrier) ** 2
    peak = power.argmax(axis=1)
    left, top, right = (power[np.arange(trials), peak + d] for d in (-1, 0, 1))
    found = grid[peak] + 0.5 * (left - right) / (left - 2 * top + right) * (grid[1] - grid[0])
    ratio = np.mean((found - omega) ** 2) / tone_omega_variance(samples, 1.0, sigma)
    np.testing.assert_allclose(ratio, 1.0, atol=0.2)


def test_the_trap_of_the_complex_tone():
    # Rife and Boorstyn's 12 is for a complex tone; a microphone's signal has twice the variance
    np.testing.assert_allclose(
        tone_omega_variance(1000, 1.0, 0.1), 2 * 12 * 0.1**2 / (1000 * (1000**2 - 1)), rtol=1e-12
    )


@given(st.floats(0.2, 8.0), st.floats(-10.0, 60.0))
def test_the_bound_falls_as_the_three_halves_power_of_time(seconds, snr_db):
    one = tone_sigma_cents(440.0, seconds, 48_000.0, snr_db)
    four = tone_sigma_cents(440.0, 4.0 * seconds, 48_000.0, snr_db)
    np.testing.assert_allclose(one / four, 8.0, rtol=1e-3)


def test_one_partial_is_a_tone_and_more_partials_help():
    tone = tone_sigma_cents(262.0, 2.0, 48_000.0, 20.0)
    np.testing.assert_allclose(
        harmonic_sigma_cents(262.0, 2.0, 48_000.0, [0.3], 20.0), tone, rtol=1e-12
    )
    rich = harmonic_sigma_cents(262.0, 2.0, 48_000.0, [1.0, 1.0, 1.0, 1.0], 20.0)
    # the same power in four partials: Σl²A²/ΣA² = 30/4
    np.testing.assert_allclose(tone / rich, np.sqrt(30 / 4), rtol=1e-12)


def test_cents_of_a_variance():
    # one cent at 1000 Hz is 0.5777 Hz
    omega = 2 * np.pi * 0.57779 / 48_000.0
    np.testing.assert_allclose(sigma_cents(omega**2, 1000.0, 48_000.0), 1.0, rtol=1e-3)


def test_two_tones_want_about_a_period_of_their_difference():
    assert resolution_hz(4.0) == 0.25


@pytest.mark.parametrize(("samples", "amplitudes"), [(1, [1.0]), (100, [0.0]), (100, [])])
def test_nothing_to_bound_is_refused(samples, amplitudes):
    with pytest.raises(ValueError, match="at least two samples and one partial"):
        harmonic_omega_variance(samples, amplitudes, 0.1)
