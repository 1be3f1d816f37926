"""A recorder's clock off by 100 parts in a million moves every pitch by .173 cent; a tone shows it.

1200 log2(1 + 100e-6) = 0.1731 cent: by the definition of the cent.
"""

from __future__ import annotations

import io

import numpy as np
import pytest
import scipy.signal
import soundfile
from bench._sounding import RATE_HZ
from numpy.typing import NDArray

from tests.survey.hear.test_situations import PRINCIPAL, player, some_keys
from walkboard.errors import InputError
from walkboard.listening.evidence.tone import hear_tone
from walkboard.listening.sound.recording import open_sound
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.hear.walk import hear_walk

FloatArray = NDArray[np.float64]
OFF = 100e-6
OFF_CENTS = 1200.0 * np.log2(1.0 + OFF)


def tone(hz: float, seconds: float) -> FloatArray:
    times = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    fade = np.minimum(1.0, 20.0 * (seconds - times))
    return np.asarray(0.1 * np.sin(2.0 * np.pi * hz * times) * fade)


def recorded_slow(samples: FloatArray) -> FloatArray:
    """By a recorder whose clock is slow: it writes too few samples a second, and all reads high."""
    at = np.arange(int(len(samples) / (1.0 + OFF)) - 8) * (1.0 + OFF)
    upsampled = scipy.signal.resample_poly(samples, 8, 1)
    return np.asarray(np.interp(8.0 * at, np.arange(len(upsampled)), upsampled))


def heard(samples: FloatArray, *, tone_hz: float | None) -> HeardWalk:
    stream = io.BytesIO()
    soundfile.write(stream, samples, RATE_HZ, format="FLAC", subtype="PCM_24")
    stream.seek(0)
    organ = player().organ
    return hear_walk(
        open_sound(stream, "w.flac"), organ, [PRINCIPAL], None, file="w.flac", tone_hz=tone_hz
    )


@pytest.mark.parametrize("hz", [440.0, 1_000.0])
def test_a_known_tone_takes_the_clock_out_of_every_value(hz: float) -> None:
    p = player()
    keys = some_keys(p, PRINCIPAL, count=8)
    scene = p.play("", [PRINCIPAL], p.times(keys), p.drawn_pipes([PRINCIPAL]))
    silence = np.zeros(RATE_HZ)
    samples = np.concatenate([tone(hz, 5.0), silence, scene.samples])
    walk = heard(recorded_slow(samples), tone_hz=hz)
    assert walk.heard is not None
    clock = walk.heard.clock
    assert clock is not None
    assert clock.off_cents == pytest.approx(OFF_CENTS, abs=3.0 * clock.sigma_cents)
    assert clock.sigma_cents < 0.01
    right = {r.pipe: r.hz for r in heard(samples, tone_hz=hz).measured}
    off = [1200.0 * np.log2(r.hz / right[r.pipe]) for r in walk.measured]
    assert len(off) == len(walk.holds) == 8, "the tone is no hold"
    assert np.abs(off).max() < 0.02


def test_without_a_tone_the_clock_is_stated_once_and_no_reading_contains_it() -> None:
    p = player()
    keys = some_keys(p, PRINCIPAL, count=6)
    scene = p.play("", [PRINCIPAL], p.times(keys), p.drawn_pipes([PRINCIPAL]))
    walk = heard(np.asarray(scene.samples, np.float64), tone_hz=None)
    assert walk.heard is not None
    clock = walk.heard.clock
    assert clock is not None
    assert (clock.off_cents, clock.tone_hz) == (None, None)
    assert 2.0 * clock.sigma_cents > OFF_CENTS
    assert min(reading.sigma_cents for reading in walk.measured) < clock.sigma_cents


def test_a_pipe_in_tune_with_the_tone_is_not_taken_for_it() -> None:
    """A held A of 440 Hz lies within a hold; nothing else sounds there."""
    held = np.asarray(tone(440.0, 5.0)[:, np.newaxis], np.float32)
    assert hear_tone([held], RATE_HZ, 440.0, [(0.0, 5.0)]) is None
    assert hear_tone([held], RATE_HZ, 440.0, []) is not None
    assert hear_tone([held], RATE_HZ, 441.0, []) is None


def test_a_tone_that_cannot_show_a_clock_is_refused() -> None:
    with pytest.raises(InputError, match="does not show the recorder's clock"):
        heard(np.zeros(RATE_HZ), tone_hz=20.0)
