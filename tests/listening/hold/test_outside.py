"""Sound from a synthesiser that others made: FluidSynth with the TimGM6mb General MIDI soundfont.

Known detunings come in two ways: MIDI tuning of each key, which FluidSynth takes in whole cents,
and rendering at another sample rate than is said, for fractions of a cent. The samples' own pitch
is unknown, so only differences from a render without detuning are compared.
"""

import ctypes
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.readings import measured
from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import CombReading, Measured
from walkboard.listening.types import Comb

SOUNDFONT = Path("/usr/share/sounds/sf2/TimGM6mb.sf2")
STEADY_PROGRAMS = {19: "church organ", 20: "reed organ", 74: "recorder", 79: "ocarina"}
OCARINA = 79
KEYS = (36, 48, 60, 72, 84)
RATE = 48_000
SECONDS = 3.0


def value(given: float | None) -> float:
    assert given is not None, "a reading without a value"
    return given


def render(
    program: int, key: int, cents: float = 0.0, fraction_cents: float = 0.0
) -> NDArray[np.float64]:
    """One held key, in whole cents by tuning and fractions by sample rate."""
    fluidsynth = pytest.importorskip("fluidsynth", reason="FluidSynth's library is not installed")
    synth = fluidsynth.Synth(gain=0.5, samplerate=RATE * 2.0 ** (-fraction_cents / 1200.0))
    try:
        synth.setting("synth.reverb.active", 0)
        synth.setting("synth.chorus.active", 0)
        font = synth.sfload(str(SOUNDFONT))
        synth.program_select(0, font, 0, program)
        tuning = (ctypes.c_double * 128)(*[100.0 * k + cents for k in range(128)])
        fluidsynth.fluid_synth_activate_key_tuning(synth.synth, 0, 0, b"known", tuning, 1)
        fluidsynth.fluid_synth_activate_tuning(synth.synth, 0, 0, 0, 1)
        synth.noteon(0, key, 100)
        sound = synth.get_samples(int(SECONDS * RATE))
    finally:
        synth.delete()
    return np.asarray(sound, dtype=float).reshape(-1, 2) / 32768.0


def read(program: int, key: int, **detuned: float) -> CombReading:
    hz = 440.0 * 2.0 ** ((key - 69) / 12.0)
    (reading,) = measure_hold(render(program, key, **detuned), RATE, [Comb("", hz)])
    return reading


@pytest.fixture(autouse=True)
def needs_the_soundfont():
    if not SOUNDFONT.exists():
        pytest.skip(f"the soundfont {SOUNDFONT} (Debian: timgm6mb-soundfont) is not installed")


@pytest.mark.parametrize(
    ("program", "key"),
    [(p, k) for p in STEADY_PROGRAMS for k in KEYS if (p, k) != (OCARINA, 36)],
)
def test_a_known_detuning_comes_back_as_a_difference(program, key):
    plain = read(program, key)
    assert isinstance(plain, Measured)
    for cents, fraction in ((7.0, 0.0), (-23.0, 0.37), (0.0, -0.04)):
        moved = read(program, key, cents=cents, fraction_cents=fraction)
        assert isinstance(moved, Measured)
        difference = 1200.0 * np.log2(measured(moved).hz / measured(plain).hz)
        assert abs(difference - (cents + fraction)) < 0.02


def test_a_sound_that_moves_is_reported_as_moving():
    # The ocarina's sample played three octaves below its range: its loop comes round so slowly that
    # amplitude and phase of each partial move (by 4 to 14 %), each in its own way.
    plain, moved = read(OCARINA, 36), read(OCARINA, 36, cents=7.0)
    error = 1200.0 * np.log2(measured(moved).hz / measured(plain).hz) - 7.0
    sigma = np.hypot(measured(plain).sigma_cents, measured(moved).sigma_cents)
    assert sigma > 0.03
    assert abs(error) < 2.0 * sigma
