"""Remembered ranks: is the walk of another stop of the same pitch noticed from the second visit on?

`python -m bench.remembered ORGANS [FIRST_SEED]`: on each invented organ two open and two stopped 8′
ranks are walked at two visits: another room, place, microphone (a slope of up to 2 dB an octave),
wind and gain; pipes moved by .8 cent, one in ten tuned, levels by .7 dB. Every second walk is then
compared under its own label and under that of the other rank of its family, with all four ranks
remembered, and with only some.

The two stopped ranks have the same spectrum, so there only loudness along the keys and pitch tell.
"""

from __future__ import annotations

import io
import sys
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import soundfile

from bench._situations.player import Player
from bench._sounding import RATE_HZ
from walkboard.listening.sound.recording import open_sound
from walkboard.organ.model import Organ, PipeRef
from walkboard.survey.hear.before import Answer, Remembered, compare, sound_of
from walkboard.survey.hear.heard_walk import HeardWalk, Hold
from walkboard.survey.hear.walk import hear_walk

FIRST_SEED = 90_000
_PAIRS = (
    ("great.principal8", "swell.salicional8"),
    ("great.flute8", "swell.gedackt8"),
)
_KEYS = 25
_HELD_S = 2.0


def walked(player: Player, stop: str, slope_db: float) -> HeardWalk:
    """A walk of one stop, through a microphone with this slope [dB an octave]."""
    keys = player.keys(stop)
    first = int(player.rng.integers(0, max(1, len(keys) - _KEYS)))
    keys = keys[first : first + _KEYS]
    scene = player.play("", [stop], player.times(keys), player.drawn_pipes([stop]))
    bins = np.fft.rfft(scene.samples)
    hz = np.fft.rfftfreq(len(scene.samples), 1.0 / RATE_HZ)
    octave = np.log2(np.clip(hz, 60.0, 8_000.0) / 500.0)
    sound = np.fft.irfft(bins * 10.0 ** (slope_db * octave / 20.0), len(scene.samples))
    stream = io.BytesIO()
    level = 0.5 / float(np.abs(sound).max())
    soundfile.write(stream, level * sound, RATE_HZ, format="FLAC", subtype="PCM_16")
    stream.seek(0)
    return hear_walk(open_sound(stream, "w.flac"), scene.organ, [stop], None, file="w.flac")


def labelled(holds: Sequence[Hold], rank: str) -> list[Hold]:
    """The holds as they would be named under another rank's label."""
    return [
        replace(
            hold,
            readings=tuple(
                replace(reading, pipe=PipeRef(rank, reading.pipe.number))
                for reading in hold.readings
            ),
        )
        for hold in holds
    ]


def answers(organ: Organ, walks: Mapping[tuple[int, str], HeardWalk]) -> Counter[tuple[str, str]]:
    """How each second walk is answered, by what was asked."""
    known: dict[str, Remembered] = {}
    for (number, stop), walk in walks.items():
        sound = sound_of(organ, walk) if number == 1 else None
        if sound is not None:
            known[stop] = {stop: sound}
    every = {stop: sound for one in known.values() for stop, sound in one.items()}
    found: Counter[tuple[str, str]] = Counter()
    for pair in _PAIRS:
        for true, other in (pair, pair[::-1]):
            walk = walks[2, true]
            family = organ.rank(true).family.value

            def without(stop: str) -> Remembered:
                return {one: sound for one, sound in every.items() if one != stop}

            for question, label, before in (
                ("right label, all known", true, every),
                ("right label, other unknown", true, without(other)),
                ("right label, itself unknown", true, without(true)),
                ("wrong label, all known", other, every),
                ("wrong label, the true unknown", other, without(true)),
                ("wrong label, the label unknown", other, without(other)),
            ):
                said = compare(organ, [label], labelled(walk.holds, label), None, before)
                named = said.answer is not Answer.OTHER or said.stops[:1] == (true,)
                word = said.answer.value + ("" if named else ", wrongly named")
                found[f"{question}, {family}", word] += 1
    return found


def main(organs: int, first_seed: int) -> None:
    """Print the table, after each organ."""
    total: Counter[tuple[str, str]] = Counter()
    stops = [stop for pair in _PAIRS for stop in pair]
    for seed in range(first_seed, first_seed + organs):
        walks = {}
        for number in (1, 2):
            player = Player(seed).at_visit(number, stops)
            player.hold_s = _HELD_S
            slope_db = float(player.rng.uniform(-2.0, 2.0))
            for stop in stops:
                walks[number, stop] = walked(player, stop, slope_db)
        total += answers(player.organ, walks)
        print(f"\n{seed - first_seed + 1} organs\n\n| asked | answered | times |")
        print("| --- | --- | ---: |")
        for (asked, answered), times in sorted(total.items()):
            print(f"| {asked} | {answered} | {times} |", flush=True)


if __name__ == "__main__":
    arguments = [int(one) for one in sys.argv[1:]]
    main(arguments[0] if arguments else 40, arguments[1] if len(arguments) > 1 else FIRST_SEED)
