"""Recognition judged by sound of others: real pipes, and FluidSynth's recorded ones."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.shared_files import shared
from walkboard.listening.readings import Measured
from walkboard.listening.sound.recording import open_sound
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.hear.walk import hear_walk

SOUNDFONT = Path("/usr/share/sounds/sf2/TimGM6mb.sf2")


def one_rank(family: str) -> Organ:
    return read_organ(
        f"""
format = 1
name = "Trial"
temperament = "equal"
[pitch]
a4_hz = 440.0
at_celsius = 18.0
[[division]]
id = "great"
name = "Great"
keys = 61
[[rank]]
id = "great.rank8"
division = "great"
name = "Rank"
family = "{family}"
feet = "8"
tuned_by = "{"stopper" if family == "stopped" else "slide"}"
pipes = 61
"""
    )


def unflagged(walk: HeardWalk) -> int:
    return sum(
        isinstance(r, Measured) and not r.flags for hold in walk.holds for r in hold.readings
    )


@pytest.mark.parametrize(("recording", "believed"), [("faults", True), ("unknown_pedal", False)])
def test_real_pipes_are_believed_alone_and_doubted_together(recording: str, believed: bool) -> None:
    """Source: Versilian Community Sample Library, CC0 (see ../shared/sounds/README.md).

    `faults` is one stopped rank; `unknown_pedal` a registration of which nobody knows the stops.
    """
    path = shared("sounds") / f"{recording}.flac"
    with path.open("rb") as stream:
        walk = hear_walk(
            open_sound(stream, path.name), one_rank("stopped"), ["great.rank8"], None, file="w"
        )
    assert walk.heard is not None
    assert walk.heard.believed is believed
    assert (unflagged(walk) >= 30) if believed else (unflagged(walk) == 0)


@pytest.mark.parametrize("program", [20, 74, 79])
def test_recorded_pipes_of_a_soundfont_raise_no_alarm(program: int) -> None:
    """TimGM6mb's steady pipes (reed organ, recorder, ocarina), a clean walk of an octave."""
    fluidsynth = pytest.importorskip("fluidsynth", reason="FluidSynth's library is not installed")
    if not SOUNDFONT.exists():
        pytest.skip(f"the soundfont {SOUNDFONT} (Debian: timgm6mb-soundfont) is not installed")
    rate_hz = 32_000
    synth = fluidsynth.Synth(gain=0.5, samplerate=rate_hz)
    try:
        synth.setting("synth.reverb.active", 0)
        synth.setting("synth.chorus.active", 0)
        synth.program_select(0, synth.sfload(str(SOUNDFONT)), 0, program)
        parts = [synth.get_samples(rate_hz)]
        for key in range(60, 73):
            synth.noteon(0, key, 100)
            parts.append(synth.get_samples(round(2.4 * rate_hz)))
            synth.noteoff(0, key)
            parts.append(synth.get_samples(round(0.5 * rate_hz)))
    finally:
        synth.delete()
    dry = np.concatenate(parts).reshape(-1, 2)[:, 0] / 32_768.0
    stream = io.BytesIO()
    soundfile.write(stream, dry, rate_hz, format="FLAC", subtype="PCM_16")
    stream.seek(0)
    walk = hear_walk(open_sound(stream, "w"), one_rank("open"), ["great.rank8"], None, file="w")
    assert walk.heard is not None
    assert walk.heard.believed, walk.heard.sentence
    assert unflagged(walk) >= 12
