import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from walkboard.errors import UnknownNameError
from walkboard.scales.keys import Key
from walkboard.scales.pitch import A4, STANDARDS, key_hz, pitch_standard
from walkboard.scales.temperament import known, names


@pytest.mark.parametrize("name", names())
@given(a4_hz=st.floats(380.0, 480.0), semitone=st.integers(0, 115))
def test_a4_stands_and_octaves_are_pure(name, a4_hz, semitone):
    temperament = known(name)
    np.testing.assert_allclose(key_hz(A4, a4_hz, temperament), a4_hz, rtol=1e-14)
    low = key_hz(Key(semitone), a4_hz, temperament)
    np.testing.assert_allclose(
        key_hz(Key(semitone + 12), a4_hz, temperament), 2.0 * low, rtol=1e-12
    )


@pytest.mark.parametrize("name", names())
def test_keys_rise(name):
    hz = [key_hz(Key(s), 440.0, known(name)) for s in range(128)]
    assert np.all(np.diff(hz) > 0.0)


# Source: frequencies of Werckmeister III at A4 = 440 Hz by exact ratios: C4 = 440·2^(-888.27/1200).
def test_a_temperament_hangs_on_its_a():
    werckmeister = known("werckmeister iii")
    np.testing.assert_allclose(
        key_hz(Key.parse("C4"), 440.0, werckmeister),
        440.0 / (3**3 / 2**4) * 2 ** (0.75 * np.log2(3**12 / 2**19)),
        rtol=1e-12,
    )


@pytest.mark.parametrize("bad", [0.0, -440.0, float("nan")])
def test_a_pitch_must_be_positive(bad):
    with pytest.raises(ValueError, match="must be positive"):
        key_hz(A4, bad, known("equal"))


def test_every_standard_names_its_source_and_is_found():
    for standard in STANDARDS:
        assert standard.source
        assert pitch_standard(standard.name.upper()) == standard
    with pytest.raises(UnknownNameError, match="iso 16"):
        pitch_standard("concert")


# Source: the labels 415 and 466 stand for one equal semitone either way of 440 (convention).
def test_baroque_and_chorton_are_a_semitone_away():
    np.testing.assert_allclose(pitch_standard("baroque").a4_hz, 440 / 2 ** (1 / 12), atol=0.4)
    np.testing.assert_allclose(pitch_standard("chorton").a4_hz, 440 * 2 ** (1 / 12), atol=0.4)
