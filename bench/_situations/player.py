"""Draws an organ in some state from a seed, and plays it into a room."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bench._sounding import RoomSound, Sounding, Voice, Wind, render
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

    def tune(self, pipe: PipeRef, cents: float) -> None:
        """Say how far a pipe strays from its rank [cents]."""
        self._offsets[str(pipe)] = cents

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


def walk_keys(player: Player, stop: str, *, whole: bool = True) -> list[Key]:
    """Keys of a walk, upward or downward; only a run of them if not `whole`."""
    keys = player.keys(stop)
    if not whole:
        first = int(player.rng.integers(1, 8))
        keys = keys[first : first + int(player.rng.integers(20, 26))]
    if player.rng.random() < 0.3:
        keys = keys[::-1]
    return keys
