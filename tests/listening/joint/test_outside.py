"""Several ranks from a synthesiser that others made: FluidSynth, a channel and a tuning a rank.

The samples' own pitch is unknown, so a rank's pitch in the layers is compared with its render
alone and undetuned, as in `test_outside_sound`; tunings are whole cents, which FluidSynth keeps
exactly.
"""

import ctypes

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.listening.hold.test_outside import RATE, SOUNDFONT
from tests.readings import measured
from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import CombReading, Measured
from walkboard.listening.types import Comb

SECONDS = 4.5
ORGAN, REED_ORGAN, RECORDER, OCARINA = 19, 20, 74, 79


@pytest.fixture(autouse=True)
def needs_the_soundfont():
    if not SOUNDFONT.exists():
        pytest.skip(f"the soundfont {SOUNDFONT} (Debian: timgm6mb-soundfont) is not installed")


def render(ranks: list[tuple[int, int, float]], key: int) -> NDArray[np.float64]:
    """One key held on several ranks: program, semitones above the key, cents."""
    fluidsynth = pytest.importorskip("fluidsynth", reason="FluidSynth's library is not installed")
    synth = fluidsynth.Synth(gain=0.3, samplerate=float(RATE))
    try:
        synth.setting("synth.reverb.active", 0)
        synth.setting("synth.chorus.active", 0)
        font = synth.sfload(str(SOUNDFONT))
        for channel, (program, semitones, cents) in enumerate(ranks):
            synth.program_select(channel, font, 0, program)
            tuning = (ctypes.c_double * 128)(*[100.0 * k + cents for k in range(128)])
            fluidsynth.fluid_synth_activate_key_tuning(synth.synth, 0, channel, b"known", tuning, 1)
            fluidsynth.fluid_synth_activate_tuning(synth.synth, channel, 0, channel, 1)
            synth.noteon(channel, key + semitones, 100)
        sound = synth.get_samples(int(SECONDS * RATE))
    finally:
        synth.delete()
    return np.asarray(sound, dtype=float).reshape(-1, 2) / 32768.0


def read(ranks: list[tuple[int, int, float]], key: int) -> tuple[CombReading, ...]:
    combs = [
        Comb(str(n), 440.0 * 2.0 ** ((key - 69 + semitones) / 12.0))
        for n, (_, semitones, _) in enumerate(ranks)
    ]
    return measure_hold(render(ranks, key), RATE, combs)


@pytest.mark.parametrize(
    ("programs", "key", "least"),
    [
        ((ORGAN, RECORDER, OCARINA), 60, 3),
        ((REED_ORGAN, RECORDER, OCARINA), 67, 3),
        # The recorder's fundamental lies over the reed's second partial, 13 dB louder.
        ((REED_ORGAN, RECORDER, OCARINA), 48, 0),
    ],
)
def test_known_detunings_of_three_ranks_come_back_or_are_flagged(programs, key, least):
    """8 + 4 + 2, a program each."""
    ranks = [
        (p, 12 * n, c) for n, (p, c) in enumerate(zip(programs, (-3.0, 4.0, 9.0), strict=True))
    ]
    reported = 0
    for (program, semitones, cents), heard in zip(ranks, read(ranks, key), strict=True):
        if not isinstance(heard, Measured):
            assert heard.flags
            continue
        reported += 1
        (alone,) = read([(program, semitones, 0.0)], key)
        difference = 1200.0 * np.log2(measured(heard).hz / measured(alone).hz)
        sigma = np.hypot(measured(heard).sigma_cents, measured(alone).sigma_cents)
        assert abs(difference - cents) < 0.02 + 3.0 * sigma
    assert reported >= least
