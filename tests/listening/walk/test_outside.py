"""A walk on FluidSynth with the TimGM6mb General MIDI soundfont: pipes that others recorded.

The room is noise that decays by 60 dB in 2.5 s. Which programs sound at the pitch of their key was
found by looking; others (organs with a 16′ drawn) do not.
"""

from pathlib import Path

import numpy as np
import pytest
import scipy.signal
from numpy.testing import assert_allclose

from tests.listening.walks import expected
from walkboard.listening.types import HoldFlag
from walkboard.listening.walk.holds import gather_features, name_holds

SOUNDFONT = Path("/usr/share/sounds/sf2/TimGM6mb.sf2")
RATE_HZ = 48_000
HELD = (60, 61, 62, 63, 63, 64, 65, 67, 68, 72, 69, 70, 71)  # 63 twice, 66 not, 72 by mistake


@pytest.mark.parametrize(("program", "name"), [(20, "reed organ"), (74, "recorder")])
def test_a_played_walk_is_named_and_its_faults_reported(program, name):
    fluidsynth = pytest.importorskip("fluidsynth", reason="FluidSynth's library is not installed")
    if not SOUNDFONT.exists():
        pytest.skip(f"the soundfont {SOUNDFONT} (Debian: timgm6mb-soundfont) is not installed")
    rng = np.random.default_rng(program)
    synth = fluidsynth.Synth(gain=0.5, samplerate=RATE_HZ)
    try:
        synth.setting("synth.reverb.active", 0)
        synth.setting("synth.chorus.active", 0)
        synth.program_select(0, synth.sfload(str(SOUNDFONT)), 0, program)
        parts, starts, now = [synth.get_samples(RATE_HZ)], [], RATE_HZ
        for key in HELD:
            held, gap = (round(s * RATE_HZ) for s in (rng.uniform(1.5, 2.5), rng.uniform(0.3, 0.6)))
            starts.append(now / RATE_HZ)
            synth.noteon(0, key, 100)
            parts.append(synth.get_samples(held))
            synth.noteoff(0, key)
            parts.append(synth.get_samples(gap))
            now += held + gap
    finally:
        synth.delete()
    dry = np.concatenate(parts).reshape(-1, 2)[:, 0] / 32_768.0
    time_s = np.arange(round(2.5 * RATE_HZ)) / RATE_HZ
    tail = rng.standard_normal(len(time_s)) * 10.0 ** (-3.0 * time_s / 2.5)
    room = scipy.signal.fftconvolve(dry, tail / np.sqrt((tail**2).sum()))[: len(dry)]
    sound = (dry + room + 1e-4 * rng.standard_normal(len(dry)))[:, np.newaxis]

    keys = range(56, 80)
    walk = name_holds(gather_features([sound], RATE_HZ), expected(keys))
    assert [None if h.key is None else keys[h.key] for h in walk.holds] == list(HELD), name
    assert_allclose([hold.start_s for hold in walk.holds], starts, atol=0.15)
    assert [keys[i] for i in walk.silent] == [66]
    flags = {i: hold.flags for i, hold in enumerate(walk.holds) if hold.flags}
    assert flags == {4: (HoldFlag.REPEAT,), 9: (HoldFlag.OUT_OF_ORDER,)}
