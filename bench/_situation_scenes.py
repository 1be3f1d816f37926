"""The situations that `bench.situations` plays to the program: what was done and what is true.

Every scene is drawn from its seed: organ, temperament, room, wind, key holder, detunings, levels.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from bench._sounding import (
    RATE_HZ,
    RoomSound,
    Sounding,
    Tremulant,
    Voice,
    Wind,
    background,
    in_room,
    render,
)
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.scales.keys import Key

# Of each rank: id, name, family, feet, voice, and level [dB].
_RANKS = (
    ("great.principal8", "Principal", "open", "8", Voice.PRINCIPAL, 0.0),
    ("great.flute8", "Stopped Flute", "stopped", "8", Voice.STOPPED, -3.0),
    ("great.octave4", "Octave", "open", "4", Voice.PRINCIPAL, -2.0),
    ("great.twelfth", "Twelfth", "open", "2 2/3", Voice.PRINCIPAL, -6.0),
    ("great.fifteenth", "Fifteenth", "open", "2", Voice.PRINCIPAL, -5.0),
    ("great.bourdon16", "Bourdon", "stopped", "16", Voice.STOPPED, -3.0),
    ("great.trumpet8", "Trumpet", "reed", "8", Voice.REED, 2.0),
    ("swell.salicional8", "Salicional", "open", "8", Voice.STRING, -3.0),
    ("swell.gedackt8", "Gedackt", "stopped", "8", Voice.STOPPED, -4.0),
    ("swell.flute4", "Chimney Flute", "chimney", "4", Voice.CHIMNEY, -4.0),
    ("swell.oboe8", "Oboe", "reed", "8", Voice.REED, -1.0),
    ("pedal.subbass16", "Subbass", "stopped", "16", Voice.STOPPED, 0.0),
    ("pedal.octave8", "Octave", "open", "8", Voice.PRINCIPAL, 0.0),
)
VOICES = {rank[0]: rank[4] for rank in _RANKS}
_LEVELS = {rank[0]: rank[5] for rank in _RANKS}
_TUNED_BY = {"open": "slide", "stopped": "stopper", "chimney": "cap", "reed": "spring"}
SINGLES = tuple(rank[0] for rank in _RANKS)
_TEMPERAMENTS = ("equal", "equal", "equal", "vallotti", "werckmeister iii")


def organ_text(keys: int, temperament: str) -> str:
    """Description of the invented organ."""
    rows = ["format = 1", 'name = "Trial organ"', f'temperament = "{temperament}"']
    rows += ["[pitch]", "a4_hz = 440.0", "at_celsius = 18.0"]
    for division, name in (("great", "Great"), ("swell", "Swell"), ("pedal", "Pedal")):
        count = min(keys, 30) if division == "pedal" else keys
        rows += ["[[division]]", f'id = "{division}"', f'name = "{name}"', f"keys = {count}"]
    for rank, name, family, feet, _, _ in _RANKS:
        division = rank.split(".")[0]
        count = min(keys, 30) if division == "pedal" else keys
        rows += ["[[rank]]", f'id = "{rank}"', f'division = "{division}"', f'name = "{name}"']
        rows += [f'family = "{family}"', f'feet = "{feet}"', f"pipes = {count}"]
        rows += [f'tuned_by = "{_TUNED_BY[family]}"']
        rows += ["[[stop]]", f'id = "{rank}"', f'name = "{name} {feet}"']
        rows += [f'division = "{division}"', f'plays = [{{rank = "{rank}"}}]']
    return "\n".join(rows)


@dataclass(eq=False)
class TrueHold:
    """What really sounded in one hold: the keys held, and the pipes with their courses."""

    keys: tuple[Key, ...]
    start_s: float
    end_s: float
    pipes: dict[str, Sounding] = field(default_factory=dict)


@dataclass(eq=False)
class Scene:
    """A recording, what is said of it, and what is true."""

    situation: str
    organ: Organ
    drawn: tuple[str, ...]
    samples: NDArray[np.float32]
    holds: list[TrueHold]
    detail: dict[str, object] = field(default_factory=dict)
    values_due: bool = True
    lost_s: tuple[tuple[float, float], ...] = ()  # at which true second, and how much is missing

    def true_s(self, recorded_s: float) -> float:
        """When a second of the recording was sounding."""
        at_s = recorded_s
        for gone_s, length_s in self.lost_s:
            if at_s > gone_s:
                at_s += length_s
        return at_s


class Player:
    """Draws an organ in some state and plays it.

    Parameters
    ----------
    seed : int
    keys : int
        Of the manuals.
    """

    def __init__(self, seed: int, keys: int = 37) -> None:
        self.seed = seed
        self.rng = np.random.default_rng([12, seed])
        rng = self.rng
        self.temperament = str(rng.choice(_TEMPERAMENTS))
        self.organ = read_organ(organ_text(keys, self.temperament))
        self.shift_cents = float(rng.uniform(-5.0, 5.0))
        self.pitch_cents = 0.0  # the whole organ away from its description
        self._offsets: dict[str, float] = {}
        self._levels: dict[str, float] = {}
        self.rank_shift = {r: float(rng.normal(0.0, 1.0)) for r in VOICES}
        self.hold_s = float(rng.uniform(2.4, 3.6))
        self.gap_s = float(rng.uniform(0.15, 0.6))
        self.room = RoomSound(
            t60_s=float(rng.uniform(0.6, 3.0)),
            wet=float(rng.uniform(0.3, 0.9)),
            noise_db=float(rng.uniform(-62.0, -45.0)),
            hum_db=float(rng.uniform(-65.0, -48.0)),
            mains_hz=float(rng.choice([50.0, 60.0])),
        )
        self.wind = Wind(
            sag=float(rng.uniform(0.0, 0.01)),
            drift=float(rng.uniform(0.0005, 0.004)),
        )

    def at_visit(self, number: int, stops: Sequence[str]) -> Player:
        """The same organ at one of its visits, in another room, wind and place.

        Pipes of these stops moved by .8 cent, one in ten tuned; levels by .7 dB.
        """
        for stop in stops:
            for key in self.keys(stop):
                for pipe in self.organ.sounding([stop], key):
                    self.true_hz(pipe)
                    self.level_db(pipe)
        now = Player(1_000 * self.seed + number)
        rng = now.rng
        now.organ, now.temperament = self.organ, self.temperament
        for pipe_name, cents in self._offsets.items():
            tuned = rng.random() < 0.1
            now._offsets[pipe_name] = float(
                rng.normal(0.0, 0.5) if tuned else rng.normal(cents, 0.8)
            )
        now._levels = {name: float(rng.normal(db, 0.7)) for name, db in self._levels.items()}
        now.rank_shift = {r: float(rng.normal(cents, 0.5)) for r, cents in self.rank_shift.items()}
        return now

    def keys(self, stop: str) -> list[Key]:
        """Keys of a stop, upward."""
        return list(self.organ.keys_of([stop]))

    def true_hz(self, pipe: PipeRef) -> float:
        """Where a pipe of this organ stands at full wind [Hz]."""
        name = str(pipe)
        if name not in self._offsets:
            stray = self.rng.random() < 0.06
            self._offsets[name] = float(self.rng.normal(0.0, 12.0 if stray else 2.5))
        cents = self._offsets[name] + self.shift_cents + self.pitch_cents
        cents += self.rank_shift[pipe.rank]
        return float(target_hz(self.organ, pipe, None) * 2.0 ** (cents / 1200.0))

    def level_db(self, pipe: PipeRef) -> float:
        """Level of a pipe: its rank's, some regulation, and the place of the microphone."""
        name = str(pipe)
        if name not in self._levels:
            self._levels[name] = _LEVELS[pipe.rank] + float(self.rng.normal(0.0, 1.5))
        return float(self._levels[name])

    def sounding(self, pipe: PipeRef, start_s: float, end_s: float, db: float = 0.0) -> Sounding:
        """One pipe sounding once."""
        level = self.level_db(pipe) + db
        return Sounding(str(pipe), self.true_hz(pipe), VOICES[pipe.rank], start_s, end_s, level)

    def times(self, keys: Sequence[Key]) -> list[tuple[Key, float, float]]:
        """When each key is held."""
        at = float(self.rng.uniform(0.8, 2.0))
        found = []
        for key in keys:
            held = self.hold_s * float(np.exp(self.rng.normal(0.0, 0.08)))
            found.append((key, at, at + held))
            at += held + self.gap_s * float(np.exp(self.rng.normal(0.0, 0.25)))
        return found

    def play(
        self,
        situation: str,
        drawn: Sequence[str],
        timed: Sequence[tuple[Key, float, float]],
        sounds: Callable[[Key], Sequence[tuple[PipeRef, float]]],
        *,
        extra: Sequence[Sounding] = (),
        detail: dict[str, object] | None = None,
    ) -> Scene:
        """Play keys; `sounds` gives the pipes of a key with their levels over the usual [dB]."""
        holds = []
        every: list[Sounding] = list(extra)
        for key, start_s, end_s in timed:
            hold = TrueHold((key,), start_s, end_s)
            for pipe, db in sounds(key):
                one = self.sounding(pipe, start_s, end_s, db)
                hold.pipes[one.pipe] = one
                every.append(one)
            holds.append(hold)
        seconds = max((end for _, _, end in timed), default=5.0) + 1.5
        samples = render(every, seconds, self.wind, self.room, self.rng)
        for hold in holds:
            for one in extra:
                if one.start_s < hold.start_s + 1.0 and one.end_s > hold.end_s - 0.3:
                    hold.pipes.setdefault(one.pipe, one)
        return Scene(situation, self.organ, tuple(drawn), samples, holds, dict(detail or {}))

    def drawn_pipes(self, stops: Sequence[str]) -> Callable[[Key], list[tuple[PipeRef, float]]]:
        """The pipes that a key sounds with these stops."""
        return lambda key: [(pipe, 0.0) for pipe in self.organ.sounding(stops, key)]


def _walk_keys(player: Player, stop: str, *, whole: bool = True) -> list[Key]:
    keys = player.keys(stop)
    if not whole:
        first = int(player.rng.integers(1, 8))
        keys = keys[first : first + int(player.rng.integers(20, 26))]
    if player.rng.random() < 0.3:
        keys = keys[::-1]
    return keys


def clean_single(seed: int) -> Scene:
    """One stop, nothing wrong."""
    p = Player(seed)
    stop = str(p.rng.choice(SINGLES))
    keys = _walk_keys(p, stop, whole=p.rng.random() < 0.7)
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
    keys = _walk_keys(p, stops[0])[:25]
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
        p.times(_walk_keys(p, stop)[:30]),
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

    keys = _walk_keys(p, stop)
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


def tremulant(seed: int) -> Scene:
    """The tremulant is on."""
    p = Player(seed)
    trem = Tremulant(
        float(p.rng.uniform(3.0, 8.0)),
        float(np.exp(p.rng.uniform(0.0, np.log(15.0)))),
        float(p.rng.uniform(0.2, 1.5)),
    )
    p.wind = replace(p.wind, tremulant=trem)
    stop = str(p.rng.choice(SINGLES[:11]))
    return p.play(
        "tremulant",
        [stop],
        p.times(_walk_keys(p, stop)[:24]),
        p.drawn_pipes([stop]),
        detail={"rate_hz": trem.rate_hz, "depth_cents": trem.depth_cents},
    )


def cipher(seed: int) -> Scene:
    """A pipe of the walked stop or its division sounds throughout, or from some moment on."""
    p = Player(seed)
    stop = str(p.rng.choice(SINGLES[:11]))
    timed = p.times(_walk_keys(p, stop)[:28])
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
        p.times(_walk_keys(p, stated[0])[:25]),
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
        p.times(_walk_keys(p, walked)),
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
        p.times(_walk_keys(p, walked)[:28]),
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
        p.times(_walk_keys(p, "great.principal8")[:28]),
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


def gaps(seed: int) -> Scene:
    """The recorder drops 5 to 20 ms here and there."""
    p = Player(seed)
    stop = str(p.rng.choice(SINGLES[:9]))
    scene = p.play(
        "recorder drops samples", [stop], p.times(p.keys(stop)[:25]), p.drawn_pipes([stop])
    )
    gone = np.zeros(len(scene.samples), bool)
    lost = []
    for hold in scene.holds:
        if p.rng.random() < 0.3:
            at = int(p.rng.uniform(hold.start_s + 1.0, hold.end_s - 0.3) * RATE_HZ)
            count = int(p.rng.uniform(0.005, 0.02) * RATE_HZ)
            gone[at : at + count] = True
            lost.append((at / RATE_HZ, count / RATE_HZ))
    scene.samples = scene.samples[~gone]
    scene.lost_s = tuple(lost)
    return scene


def carried(seed: int) -> Scene:
    """The phone is carried about: the direct sound's path changes by up to a metre a second."""
    p = Player(seed)
    stop = str(p.rng.choice(SINGLES[:9]))
    scene = p.play("phone carried about", [stop], p.times(p.keys(stop)[:25]), p.drawn_pipes([stop]))
    count = len(scene.samples)
    steps = p.rng.standard_normal(count // RATE_HZ + 2)
    speed = 0.7 * np.interp(np.arange(count) / RATE_HZ, np.arange(len(steps)), steps)
    delay = np.cumsum(speed) / RATE_HZ / 343.0 * RATE_HZ
    at = np.arange(count) + delay - delay.min()
    scene.samples = np.interp(at, np.arange(count), scene.samples).astype(np.float32)
    return scene


def shaking_wind(seed: int) -> Scene:
    """The wind shakes at 4 to 8 Hz by a cent."""
    p = Player(seed)
    p.wind = replace(p.wind, shake_cents=1.0, shake_hz=float(p.rng.uniform(4.0, 8.0)))
    stop = str(p.rng.choice(SINGLES[:9]))
    return p.play("wind shakes", [stop], p.times(p.keys(stop)[:25]), p.drawn_pipes([stop]))


def sagging_wind(seed: int) -> Scene:
    """The wind sags by about three cents in every hold."""
    p = Player(seed)
    p.wind = replace(p.wind, sag=0.075)
    stop = str(p.rng.choice(SINGLES[:6]))
    return p.play("wind sags", [stop], p.times(p.keys(stop)[:25]), p.drawn_pipes([stop]))


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
        samples = _music(p, seconds)
    else:
        if kind == "speech":
            dry = _speech(seconds, rng)
        elif kind == "traffic":
            dry = _traffic(count, rng)
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


def _speech(seconds: float, rng: np.random.Generator) -> NDArray[np.float64]:
    count = int(seconds * RATE_HZ)
    total = np.zeros(count)
    at = 0.3
    while at < seconds - 1.0:
        length = float(rng.uniform(0.08, 0.35))
        n = int(length * RATE_HZ)
        times = np.arange(n) / RATE_HZ
        if rng.random() < 0.75:
            f0 = float(rng.uniform(90.0, 220.0)) * 2.0 ** (rng.uniform(-0.4, 0.4) * times / length)
            phase = 2.0 * np.pi * np.cumsum(f0) / RATE_HZ
            source = np.exp(25.0 * (np.cos(phase) - 1.0))
            for formant in rng.uniform([300.0, 900.0, 2_200.0], [800.0, 2_000.0, 3_000.0]):
                r = 0.985
                theta = 2.0 * np.pi * formant / RATE_HZ
                source = scipy.signal.lfilter(
                    [1.0 - r], [1.0, -2.0 * r * np.cos(theta), r * r], source
                )
        else:
            source = 0.1 * scipy.signal.lfilter([1.0, -0.9], [1.0], rng.standard_normal(n))
        first = int(at * RATE_HZ)
        part = source * np.hanning(n)
        total[first : first + n] += part / (np.sqrt(np.mean(part**2)) + 1e-9)
        at += length + (float(rng.uniform(0.3, 1.0)) if rng.random() < 0.12 else 0.02)
    return total


def _traffic(count: int, rng: np.random.Generator) -> NDArray[np.float64]:
    b, a = scipy.signal.butter(2, 250.0 / (0.5 * RATE_HZ))
    roar = scipy.signal.lfilter(b, a, rng.standard_normal(count)) * 12.0
    swell = np.interp(
        np.arange(count),
        np.arange(0, count + RATE_HZ * 3, RATE_HZ * 3),
        rng.uniform(0.1, 1.0, count // (RATE_HZ * 3) + 2)[
            : len(np.arange(0, count + RATE_HZ * 3, RATE_HZ * 3))
        ],
    )
    rpm = np.interp(np.arange(count), np.linspace(0, count, 12), rng.uniform(25.0, 60.0, 12))
    engine = np.exp(8.0 * (np.cos(2.0 * np.pi * np.cumsum(rpm) / RATE_HZ) - 1.0))
    return np.asarray(swell * (roar + engine - engine.mean()))


def _music(p: Player, seconds: float) -> NDArray[np.float32]:
    rng = p.rng
    every: list[Sounding] = []
    at = 0.5
    beat = float(rng.uniform(0.45, 0.9))
    voices = np.array([30, 22, 16, 4]) if rng.random() < 0.7 else np.array([25, 12])
    place = voices.astype(float)
    while at < seconds - 2.0:
        for voice in range(len(voices)):
            place[voice] = np.clip(place[voice] + rng.integers(-3, 4), 0, 35)
            length = beat * float(rng.choice([0.5, 1.0, 1.0, 2.0])) - 0.04
            every.append(
                p.sounding(PipeRef("great.principal8", int(place[voice]) + 1), at, at + length)
            )
        at += beat
    return render(every, seconds, p.wind, p.room, rng)


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
