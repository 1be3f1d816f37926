"""The live tracker on sound that others made: FluidSynth bent by known amounts while it plays.

A bend of v of 8192 is v/8192 of two semitones (General MIDI's usual bend range); FluidSynth rounds
pitch down to a whole cent, so bends are to half cents and what is due is the whole below. The
samples' own pitch is unknown, so only differences from before the bend are compared. FluidSynth
with the TimGM6mb soundfont, church organ (program 19), played by a file's clock.
"""

from pathlib import Path

import numpy as np
import pytest

from walkboard.capture.playing import NoWait, PlayedSound
from walkboard.listening.live.readings import LiveReading
from walkboard.listening.live.tracker import Expected, Tracker
from walkboard.listening.types import Comb

SOUNDFONT = Path("/usr/share/sounds/sf2/TimGM6mb.sf2")
RATE = 48_000
STEP_S = 0.05


def bend(whole_cents: float) -> int:
    """The bend that FluidSynth rounds down to so many cents."""
    return round((whole_cents + 0.5) * 8192.0 / 200.0)


def followed(key: int, cents: list[float]) -> list[LiveReading]:
    """What the tracker reads of one held key, bent every twentieth of a second."""
    fluidsynth = pytest.importorskip("fluidsynth", reason="FluidSynth's library is not installed")
    if not SOUNDFONT.exists():
        pytest.skip(f"the soundfont {SOUNDFONT} (Debian: timgm6mb-soundfont) is not installed")
    synth = fluidsynth.Synth(gain=0.5, samplerate=float(RATE))
    parts = []
    try:
        synth.setting("synth.reverb.active", 0)
        synth.setting("synth.chorus.active", 0)
        synth.program_select(0, synth.sfload(str(SOUNDFONT)), 0, 19)
        synth.noteon(0, key, 100)
        for due in cents:
            synth.pitch_bend(0, bend(due))
            parts.append(np.asarray(synth.get_samples(int(STEP_S * RATE)), float).reshape(-1, 2))
    finally:
        synth.delete()
    source = PlayedSound(np.concatenate(parts) / 32768.0, RATE, NoWait())
    expected = Expected(Comb("", 440.0 * 2.0 ** ((key - 69) / 12.0)))
    tracker = Tracker(RATE, expected, update_s=0.1)
    return [r for block in source.blocks() for r in tracker.take(block.samples, block.start_s)]


def cents_at(readings: list[LiveReading], time_s: float) -> float:
    """The reading shown at a time."""
    last = [r for r in readings if r.at_s <= time_s and r.cents is not None][-1]
    assert last.cents is not None
    return last.cents


@pytest.mark.parametrize("key", [60])
def test_steps_of_known_size_are_read_to_a_tenth_of_a_cent(key: int) -> None:
    steps = [0.0, 10.0, -5.0, 1.0]
    readings = followed(key, [due for due in steps for _ in range(30)])
    stood = [cents_at(readings, 1.5 * (n + 1) - 0.06) for n in range(len(steps))]
    for due, cents in zip(steps, stood, strict=True):
        assert cents - stood[0] == pytest.approx(due, abs=0.1)


def test_a_glide_is_followed_within_three_tenths_of_a_second() -> None:
    # 1.2 s still, then 10 cents a second for 1.5 s
    glide = [0.5 * n for n in range(1, 31)]
    readings = followed(60, [0.0] * 24 + glide + [15.0] * 20)
    start = cents_at(readings, 1.2)
    late = [
        r.at_s - 1.2 - (r.cents - start) / 10.0
        for r in readings
        if r.cents is not None and 1.6 < r.at_s < 2.7
    ]
    assert len(late) > 8
    assert np.quantile(late, 0.95) < 0.3
    assert cents_at(readings, 3.7) - start == pytest.approx(15.0, abs=0.1)
