import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.published.psychoacoustics import (
    CELESTE_CUSTOMS,
    PEAK_ROUGHNESS,
    most_rough_difference_hz,
    pure_tone_limen_cents,
    pure_tone_limen_hz,
    roughness,
    roughness_of_spectrum,
)
from walkboard.scales.beats import cents_of_beat

AUDIBLE = st.floats(60.0, 4000.0)


# Source: Wier, Jesteadt and Green 1977 by the fit, in cents as the handbooks quote it (from
# memory): about 4 at 440 Hz and 3.4 at 1 kHz; 5 cents as a working figure (HyperPhysics).
@pytest.mark.parametrize(("hz", "cents"), [(440.0, 4.0), (1000.0, 3.4)])
def test_limen_in_cents(hz, cents):
    np.testing.assert_allclose(pure_tone_limen_cents(hz), cents, atol=0.1)


@pytest.mark.parametrize("hz", [100.0, 9000.0])
def test_limen_is_not_given_where_it_was_not_measured(hz):
    with pytest.raises(ValueError, match="from 200 to 8000 Hz"):
        pure_tone_limen_hz(hz)


@given(AUDIBLE)
def test_a_unison_is_smooth_and_the_worst_difference_is_the_worst(hz):
    assert roughness(hz, hz) == 0.0
    worst = most_rough_difference_hz(hz)
    np.testing.assert_allclose(roughness(hz, hz + worst), PEAK_ROUGHNESS, rtol=1e-9)
    for factor in (0.9, 1.1):
        assert roughness(hz, hz + factor * worst) < PEAK_ROUGHNESS


@given(AUDIBLE, AUDIBLE)
def test_it_does_not_matter_which_tone_is_first(first, second):
    assert roughness(first, second, 0.3, 0.8) == roughness(second, first, 0.8, 0.3)


# Source: Plomp and Levelt 1965: roughest near a quarter of the critical band; the band's width by
# Zwicker and Terhardt 1980, JASA 68:1523, 25 + 75 (1 + 1.4 f²)^0.69 Hz, f in kHz (from memory).
@pytest.mark.parametrize("hz", [131.0, 262.0, 440.0, 523.0, 1047.0])
def test_roughest_near_a_quarter_of_the_critical_band(hz):
    band = 25.0 + 75.0 * (1.0 + 1.4 * (1e-3 * hz) ** 2) ** 0.69
    np.testing.assert_allclose(most_rough_difference_hz(hz) / band, 0.22, atol=0.04)


# Source: Sethares 1993, JASA 94:1218: the curve of a tone of six or seven harmonic partials has its
# hollows at the just intervals (figure from memory).
@pytest.mark.parametrize("ratio", [6 / 5, 5 / 4, 4 / 3, 3 / 2, 5 / 3, 2 / 1])
def test_harmonic_tones_are_smoothest_at_just_intervals(ratio):
    partials = np.arange(1, 7)
    levels = 0.88 ** (partials - 1)

    def curve(cents: float) -> float:
        upper = 261.63 * 2.0 ** (cents / 1200.0)
        both = np.concatenate([261.63 * partials, upper * partials])
        return roughness_of_spectrum(both, np.concatenate([levels, levels]))

    just = 1200.0 * np.log2(ratio)
    near = just + np.arange(-20.0, 20.5, 0.5)
    np.testing.assert_allclose(near[np.argmin([curve(c) for c in near])], just, atol=2.0)


def test_a_spectrum_is_the_sum_of_its_pairs():
    hz, level = [200.0, 223.0, 410.0], [1.0, 0.5, 0.25]
    pairs = [(0, 1), (0, 2), (1, 2)]
    total = sum(roughness(hz[i], hz[j], level[i], level[j]) for i, j in pairs)
    np.testing.assert_allclose(roughness_of_spectrum(hz, level), total, rtol=1e-12)
    with pytest.raises(ValueError, match="one level for each frequency"):
        roughness_of_spectrum(hz, level[:2])


# Source: 3 beats a second are 19.7 cents at c1 and 9.9 at c2 (builders' forum, arithmetic).
def test_a_celeste_narrows_up_the_compass():
    (vox,) = (c for c in CELESTE_CUSTOMS if c.kind == "vox angelica")
    cents = [cents_of_beat(hz, vox.low_hz) for hz in (130.81, 261.63, 523.25)]
    np.testing.assert_allclose(cents, [39.26, 19.74, 9.90], atol=0.01)
    assert all(c.source and c.low_hz <= c.high_hz for c in CELESTE_CUSTOMS)
