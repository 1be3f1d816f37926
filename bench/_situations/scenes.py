"""The situations that `bench.situations` plays to the program: what was done and what is true.

Every scene is drawn from its seed: organ, temperament, room, wind, key holder, detunings, levels.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from bench._situations.noises import music, speech, traffic
from bench._situations.player import SINGLES, Player, Scene, walk_keys
from bench._situations.wind_and_recorder import carried, gaps, sagging_wind, shaking_wind, tremulant
from bench._sounding import RATE_HZ, background, in_room
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key


def clean_single(seed: int) -> Scene:
    """One stop, nothing wrong."""
    p = Player(seed)
    stop = str(p.rng.choice(SINGLES))
    keys = walk_keys(p, stop, whole=p.rng.random() < 0.7)
    return p.play("clean, one stop", [stop], p.times(keys), p.drawn_pipes([stop]))


def clean_several(seed: int) -> Scene:
    """Two to four stops of one division, nothing wrong."""
    p = Player(seed)
    choices = (
        ["great.principal8", "great.octave4"],
        ["great.principal8", "great.octave4", "great.twelfth", "great.fifteenth"],
        ["great.bourdon16", "great.octave4"],
        ["swell.gedackt8", "swell.flute4"],
        ["great.principal8", "great.octave4", "great.fifteenth"],
    )
    stops = list(choices[int(p.rng.integers(len(choices)))])
    keys = walk_keys(p, stops[0])[:25]
    return p.play("clean, several stops", stops, p.times(keys), p.drawn_pipes(stops))


def shifted(seed: int) -> Scene:
    """The whole organ 40 to 250 cents off, not by semitones."""
    p = Player(seed)
    sign = float(p.rng.choice([-1.0, 1.0]))
    p.pitch_cents = sign * float(p.rng.uniform(40.0, 250.0))
    stop = str(p.rng.choice(SINGLES[:9]))
    keys = p.keys(stop)
    if p.rng.random() < 0.3:
        keys = keys[::-1]
    true = p.pitch_cents + p.shift_cents + p.rank_shift[stop]
    return p.play(
        "whole organ shifted",
        [stop],
        p.times(keys),
        p.drawn_pipes([stop]),
        detail={"shift_cents": true},
    )


def semitone(seed: int) -> Scene:
    """A semitone low (A4 = 415) or high."""
    p = Player(seed)
    p.pitch_cents = float(p.rng.choice([-101.27, -101.27, 99.4, -200.0]))
    stop = str(p.rng.choice(SINGLES[:9]))
    keys = p.keys(stop)
    if p.rng.random() < 0.3:
        keys = keys[::-1]
    true = p.pitch_cents + p.shift_cents + p.rank_shift[stop]
    return p.play(
        "a semitone off",
        [stop],
        p.times(keys),
        p.drawn_pipes([stop]),
        detail={"shift_cents": true},
    )


def coupled(seed: int) -> Scene:
    """A stop of another keyboard sounds through a coupler."""
    p = Player(seed)
    stop = str(p.rng.choice(["great.principal8", "great.octave4", "great.flute8"]))
    other = str(
        p.rng.choice(["swell.salicional8", "swell.gedackt8", "swell.flute4", "swell.oboe8"])
    )
    db = float(p.rng.uniform(-8.0, 2.0))
    sounds = p.drawn_pipes([stop])
    return p.play(
        "coupler, other keyboard",
        [stop],
        p.times(walk_keys(p, stop)[:30]),
        lambda key: [*sounds(key), *((pipe, db) for pipe in p.organ.sounding([other], key))],
        detail={"also": other},
    )


def _octave_coupled(seed: int, semitones: int, name: str, *, unison: bool = True) -> Scene:
    p = Player(seed)
    stop = str(p.rng.choice(["great.principal8", "great.octave4", "swell.salicional8"]))
    rank = p.organ.rank(stop)

    def sounds(key: Key) -> list[tuple[PipeRef, float]]:
        number = key.semitone - rank.from_key.semitone + 1
        found = [(PipeRef(stop, number), 0.0)] if unison else []
        if 1 <= number + semitones <= rank.pipes:
            found.append((PipeRef(stop, number + semitones), 0.0))
        return found

    keys = walk_keys(p, stop)
    return p.play(name, [stop], p.times(keys), sounds, detail={"octave": semitones})


def octave_coupler(seed: int) -> Scene:
    """The stop's own octave coupler is on."""
    return _octave_coupled(seed, 12, "octave coupler")


def suboctave_coupler(seed: int) -> Scene:
    """The stop's own sub-octave coupler is on."""
    return _octave_coupled(seed, -12, "sub-octave coupler")


def unison_off(seed: int) -> Scene:
    """Unison off and an octave coupler on."""
    return _octave_coupled(seed, 12, "unison off, octave on", unison=False)


def cipher(seed: int) -> Scene:
    """A pipe of the walked stop or its division sounds throughout, or from some moment on."""
    p = Player(seed)
    stop = str(p.rng.choice(SINGLES[:11]))
    timed = p.times(walk_keys(p, stop)[:28])
    division = stop.split(".", maxsplit=1)[0]
    ranks = [r for r in SINGLES if r.startswith(division)]
    rank = p.organ.rank(str(p.rng.choice([stop, *ranks])))
    pipe = PipeRef(rank.id, int(p.rng.integers(5, rank.pipes - 3)))
    start_s = 0.0 if p.rng.random() < 0.5 else timed[len(timed) // 3][1] + 0.5
    one = p.sounding(pipe, start_s, timed[-1][2] + 1.4, float(p.rng.uniform(-6.0, 0.0)))
    sounds = p.drawn_pipes([stop])
    return p.play(
        "cipher",
        [stop],
        timed,
        lambda key: [s for s in sounds(key) if s[0] != pipe],
        extra=[one],
        detail={"cipher": str(pipe), "hz": one.hz},
    )


def stated_silent(seed: int) -> Scene:
    """Two stops are said to be drawn, one of them does not sound."""
    p = Player(seed)
    stops = [
        ("great.principal8", "great.octave4"),
        ("great.principal8", "great.twelfth"),
        ("great.octave4", "great.bourdon16"),
        ("swell.gedackt8", "swell.flute4"),
    ]
    stated = list(stops[int(p.rng.integers(len(stops)))])
    silent = stated[1]
    return p.play(
        "a stated stop is silent",
        stated,
        p.times(walk_keys(p, stated[0])[:25]),
        p.drawn_pipes([stated[0]]),
        detail={"silent": silent},
    )


def other_pitch(seed: int) -> Scene:
    """A stop of another pitch was walked."""
    p = Player(seed)
    pairs = [
        ("great.principal8", "great.octave4"),
        ("great.octave4", "great.fifteenth"),
        ("great.principal8", "great.twelfth"),
        ("great.bourdon16", "great.flute8"),
        ("great.octave4", "great.principal8"),
        ("swell.flute4", "swell.gedackt8"),
    ]
    stated, walked = pairs[int(p.rng.integers(len(pairs)))]
    return p.play(
        "another stop, other pitch",
        [stated],
        p.times(walk_keys(p, walked)),
        p.drawn_pipes([walked]),
        detail={"walked": walked},
    )


def other_family(seed: int) -> Scene:
    """A stop of the same pitch and another family was walked."""
    p = Player(seed)
    pairs = [
        ("great.principal8", "great.flute8"),
        ("great.flute8", "great.principal8"),
        ("great.trumpet8", "great.flute8"),
        ("great.flute8", "great.trumpet8"),
        ("swell.gedackt8", "swell.salicional8"),
        ("swell.salicional8", "swell.gedackt8"),
        ("swell.gedackt8", "swell.oboe8"),
        ("swell.oboe8", "swell.gedackt8"),
    ]
    stated, walked = pairs[int(p.rng.integers(len(pairs)))]
    return p.play(
        "another stop, same pitch",
        [stated],
        p.times(walk_keys(p, walked)[:28]),
        p.drawn_pipes([walked]),
        detail={"walked": walked},
    )


def extra_ranks(seed: int) -> Scene:
    """16 + 8 + 4 drawn, 8 stated."""
    p = Player(seed)
    sounds = p.drawn_pipes(["great.bourdon16", "great.principal8", "great.octave4"])
    return p.play(
        "extra ranks drawn",
        ["great.principal8"],
        p.times(walk_keys(p, "great.principal8")[:28]),
        sounds,
        detail={"also": "great.bourdon16 great.octave4"},
    )


def two_keys(seed: int) -> Scene:
    """Here and there a second key is held, or one is released late."""
    p = Player(seed)
    stop = str(p.rng.choice(SINGLES[:9]))
    keys = p.keys(stop)[:30]
    timed = p.times(keys)
    number_of = {key: n for n, key in enumerate(p.keys(stop))}
    extra, marked = [], []
    for n in range(2, len(timed) - 3, 5):
        _, start_s, end_s = timed[n]
        if p.rng.random() < 0.5:
            step = int(p.rng.choice([-7, -4, -1, 1, 3, 5, 7]))
            other = number_of[keys[n]] + step
            if not 0 <= other < len(number_of):
                continue
            extra.append(p.sounding(PipeRef(stop, other + 1), start_s, end_s))
        else:
            late_s = float(p.rng.uniform(1.0, 2.0))
            timed[n - 1] = (timed[n - 1][0], timed[n - 1][1], start_s + late_s)
        marked.append(n)
    return p.play(
        "two keys at once",
        [stop],
        timed,
        p.drawn_pipes([stop]),
        extra=extra,
        detail={"holds": [(timed[n][1], timed[n][2]) for n in marked]},
    )


def short_holds(seed: int) -> Scene:
    """Every key is held for about a second."""
    p = Player(seed)
    p.hold_s = float(p.rng.uniform(0.9, 1.2))
    stop = str(p.rng.choice(SINGLES[:9]))
    return p.play("one-second holds", [stop], p.times(p.keys(stop)), p.drawn_pipes([stop]))


def not_held(seed: int) -> Scene:
    """Some keys were passed over; others were held and their pipe is dead."""
    p = Player(seed)
    stop = str(p.rng.choice(SINGLES[:9]))
    keys = p.keys(stop)
    inner = p.rng.choice(np.arange(2, len(keys) - 2), 5, replace=False)
    passed, dead = {keys[i] for i in inner[:3]}, {keys[i] for i in inner[3:]}
    timed = p.times([key for key in keys if key not in passed])
    sounds = p.drawn_pipes([stop])
    return p.play(
        "keys not held, and dead notes",
        [stop],
        timed,
        lambda key: [] if key in dead else sounds(key),
        detail={"not_held": [k.name for k in passed], "dead": [k.name for k in dead]},
    )


def two_keyboards(seed: int) -> Scene:
    """Stops of two keyboards are stated."""
    p = Player(seed)
    stops = ["great.principal8", "swell.flute4"]
    return p.play(
        "stops of two keyboards", stops, p.times(p.keys(stops[0])[:8]), p.drawn_pipes(stops)
    )


def not_a_walk(seed: int) -> Scene:
    """Speech, music, traffic, noise or silence."""
    p = Player(seed)
    kind = ("speech", "music", "traffic", "noise", "silence")[seed % 5]
    seconds = 60.0
    rng = p.rng
    count = int(seconds * RATE_HZ)
    stop = str(rng.choice(SINGLES[:5]))
    if kind == "music":
        samples = music(p, seconds)
    else:
        if kind == "speech":
            dry = speech(seconds, rng)
        elif kind == "traffic":
            dry = traffic(count, rng)
        else:
            dry = np.zeros(count)
        room = p.room if kind != "silence" else replace(p.room, noise_db=-90.0, hum_db=-90.0)
        heard = in_room(dry, room, rng) + background(count, room, rng)
        if kind == "silence":
            samples = (
                np.asarray(1e-4 * heard, np.float32) if seed % 2 else np.zeros(count, np.float32)
            )
        else:
            samples = np.asarray(0.3 * heard / np.abs(heard).max(), np.float32)
    return Scene("not a walk", p.organ, (stop,), samples, [], {"kind": kind})


SITUATIONS: tuple[Callable[[int], Scene], ...] = (
    clean_single,
    clean_several,
    shifted,
    semitone,
    coupled,
    octave_coupler,
    suboctave_coupler,
    unison_off,
    tremulant,
    cipher,
    stated_silent,
    other_pitch,
    other_family,
    extra_ranks,
    two_keyboards,
    not_a_walk,
    two_keys,
    short_holds,
    not_held,
    gaps,
    carried,
    shaking_wind,
    sagging_wind,
)
