"""A small invented organ and walks on it, for tests."""

import numpy as np

from walkboard.demo.synthesiser import (
    Ambience,
    Faults,
    KeyHolder,
    PipeVoice,
    RenderedWalk,
    Room,
    VoiceKind,
    render_walk,
)
from walkboard.organ.model import Organ
from walkboard.organ.targets import target_hz
from walkboard.quantities import ratio_of_cents
from walkboard.scales.keys import Key

SMALL = """
format = 1
name = "Invented chapel"
temperament = "equal"
[pitch]
a4_hz = 440.0
at_celsius = 18.0
[[division]]
id = "great"
name = "Great"
keys = 54
[[rank]]
id = "great.principal8"
division = "great"
name = "Principal"
family = "open"
feet = "8"
pipes = 54
tuned_by = "slide"
[[rank]]
id = "great.octave4"
division = "great"
name = "Octave"
family = "open"
feet = "4"
pipes = 54
tuned_by = "cone"
[[rank]]
id = "great.twelfth"
division = "great"
name = "Twelfth"
family = "open"
feet = "2 2/3"
pipes = 54
tuned_by = "cone"
[[rank]]
id = "great.trumpet8"
division = "great"
name = "Trumpet"
family = "reed"
feet = "8"
pipes = 54
tuned_by = "spring"
"""

_KIND = {"great.trumpet8": VoiceKind.REED}


def rendered_walk(
    organ: Organ,
    stop: str,
    *,
    lowest: str = "C3",
    keys: int = 10,
    seed: int = 7,
    dead: str | None = None,
    repeated: str | None = None,
    off_speech: str | None = None,
) -> RenderedWalk:
    """Ten keys of a stop, each pipe a few cents off, in a room of 1.5 s."""
    rng = np.random.default_rng(seed)
    first = Key.parse(lowest)
    walked = [first.up(n) for n in range(keys)]
    voices = {
        key: tuple(
            PipeVoice(
                pipe,
                _KIND.get(pipe.rank, VoiceKind.OPEN),
                target_hz(organ, pipe, 18.0) * ratio_of_cents(float(rng.normal(0.0, 4.0))),
                level_db=-20.0,
                wander_cents=0.05,
                seed=int(rng.integers(2**31)),
            )
            for pipe in organ.sounding([stop], key)
        )
        for key in walked
    }
    faults = Faults(
        dead=() if dead is None else (Key.parse(dead),),
        repeated=() if repeated is None else (Key.parse(repeated),),
        off_speech=() if off_speech is None else ((Key.parse(off_speech), 2),),
    )
    return render_walk(
        walked,
        voices,
        Room(t60_s=1.5),
        rng,
        holder=KeyHolder(hold_s=2.0, gap_s=0.3),
        faults=faults,
        ambience=Ambience(),
        sample_rate=24_000,
    )
