import numpy as np
import pytest
import scipy.signal

from walkboard.listening.hold.chirp import ChirpTransform


@pytest.mark.parametrize(("given", "to", "step_rad"), [(1, 5, 0.3), (97, 40, 0.01), (50, 333, 2.1)])
def test_spectra_at_any_spacing_agree_with_scipy(given, to, step_rad):
    rng = np.random.default_rng(4)
    values = rng.normal(size=(3, given)) + 1j * rng.normal(size=(3, given))
    found = ChirpTransform(given, to, step_rad)(values)
    # scipy.signal.CZT, an independent implementation of the same transform.
    expected = scipy.signal.CZT(given, to, w=np.exp(1j * step_rad))(values, axis=1)
    np.testing.assert_allclose(found, expected, atol=1e-9 * given)


def test_at_the_spacing_of_an_fft_it_is_one():
    values = np.random.default_rng(5).normal(size=64).astype(np.complex128)
    found = ChirpTransform(64, 64, -2.0 * np.pi / 64)(values)
    np.testing.assert_allclose(found, np.fft.fft(values), atol=1e-11)
