"""The room, measured as ISO 3382-1 measures rooms."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.signal import butter, fftconvolve, sosfiltfilt

from walkboard.demo.synthesiser import DRY, Room, impulse_response
from walkboard.demo.synthesiser.room import in_room

RATE = 48_000


def t30_s(response: NDArray[Any], centre_hz: float) -> float:
    """Reverberation time of an octave band [s].

    Schroeder's backward integration of the squared, octave-filtered impulse response, straight line
    from −5 to −35 dB, extrapolated to 60 dB: ISO 3382-1:2009, 5.3 (from memory); Schroeder 1965,
    JASA 37:409.
    """
    edges = [centre_hz / np.sqrt(2.0), centre_hz * np.sqrt(2.0)]
    sos = butter(3, edges, btype="bandpass", fs=RATE, output="sos")
    padded = np.concatenate([np.zeros(RATE // 2), response, np.zeros(RATE // 2)])
    energy = np.cumsum(sosfiltfilt(sos, padded)[::-1] ** 2)[::-1]
    decay_db = 10.0 * np.log10(energy / energy[0] + 1e-30)
    start, stop = np.argmax(decay_db < -5.0), np.argmax(decay_db < -35.0)
    slope, _ = np.polyfit(np.arange(start, stop) / RATE, decay_db[start:stop], 1)
    return float(-60.0 / slope)


@pytest.mark.parametrize("t60_s", [1.2, 3.0])
@pytest.mark.parametrize("centre_hz", [125.0, 500.0, 1000.0, 2000.0, 4000.0])
def test_reverberation_time_is_what_was_asked(t60_s, centre_hz):
    room = Room(t60_s=t60_s, bass_ratio=1.2, treble_ratio=0.5)
    # one response of noise scatters by a few per cent, so take the mean of four microphones
    responses = impulse_response(room, RATE, 4, np.random.default_rng(3))
    measured_s = np.mean([t30_s(responses[:, c], centre_hz) for c in range(4)])
    assert_allclose(measured_s, room.t60_at(centre_hz), rtol=0.1)


def test_reverberation_time_in_the_middle_is_the_rooms_own():
    room = Room(t60_s=2.0, bass_ratio=1.3, treble_ratio=0.4)
    assert_allclose([room.t60_at(f) for f in (31.5, 63.0, 700.0, 8000.0)], [2.6, 2.6, 2.0, 0.8])


def test_direct_sound_is_whole_and_the_rest_has_its_share_of_energy():
    room = Room(t60_s=2.0, direct_over_reverberant_db=-3.0)
    response = impulse_response(room, RATE, 2, np.random.default_rng(1)).astype(float)
    assert_allclose(response[0], 1.0)
    assert_allclose(10.0 * np.log10(np.sum(response[1:] ** 2, axis=0)), 3.0, atol=1e-3)
    assert not np.any(response[1 : round(0.0109 * RATE)])
    # two microphones hear different rooms
    assert abs(np.corrcoef(response[1:].T)[0, 1]) < 0.05


def test_convolution_by_blocks_equals_scipys():
    rng = np.random.default_rng(2)
    dry = rng.standard_normal(200_000).astype(np.float32)
    response = rng.standard_normal((30_000, 2)).astype(np.float32) * 0.01
    wet = in_room(dry, response)
    for channel in range(2):
        expected = fftconvolve(dry.astype(float), response[:, channel].astype(float))
        assert_allclose(wet[:, channel], expected, atol=1e-4 * np.abs(expected).max())


def test_no_room_leaves_the_sound_as_it_was():
    dry = np.random.default_rng(2).standard_normal(1000).astype(np.float32)
    response = impulse_response(DRY, RATE, 2, np.random.default_rng(1))
    assert_allclose(in_room(dry, response), np.stack([dry, dry], axis=1))


def test_impossible_rooms_are_refused():
    with pytest.raises(ValueError, match="0 to 15 s"):
        Room(t60_s=-1.0)
    with pytest.raises(ValueError, match="ratios must be positive"):
        Room(bass_ratio=0.0)
