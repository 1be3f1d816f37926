"""Hands at a pipe: what they warm, shade and move, and a tuner who does only what the screen says.

Nothing of `demo.practice` is in it. A hand heats wall and air of a pipe, each with its own time;
while it is near it shades the mouth (flatter, softer, duller); what it moves goes off by a factor
of its own and some more each time.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from bench._jet_pipes import Church, JetPipe
from walkboard.work.live.values import Shown, Step

_HEATS_S = 5.0


@dataclass
class Hand:
    """The hand on one pipe.

    `heat_cents` is what it would make of the pipe in the end, `shades` how far it covers the mouth
    (0 to 1), `factor` cents got for cents meant.
    """

    heat_cents: float
    shades: float
    factor: float
    rng: np.random.Generator
    is_on: bool = False

    def on(self, pipe: JetPipe) -> None:
        self.is_on = True
        pipe.shade_goal = self.shades

    def off(self, pipe: JetPipe) -> None:
        self.is_on = False
        pipe.shade_goal = 0.0

    def warm(self, pipe: JetPipe, seconds: float) -> None:
        if not self.is_on:
            return
        share = 1.0 - float(np.exp(-seconds / _HEATS_S))
        pipe.wall_cents += share * (0.8 * self.heat_cents - pipe.wall_cents)
        share = 1.0 - float(np.exp(-seconds / (0.3 * _HEATS_S)))
        pipe.air_cents += share * (0.2 * self.heat_cents - pipe.air_cents)

    def move(self, pipe: JetPipe, cents: float) -> None:
        pipe.rest_cents += cents * self.factor * float(1.0 + 0.12 * self.rng.standard_normal())


#: What a hand heats [cents] and shades, by what is moved.
HANDS = {
    "slide": (6.0, 0.35),
    "cone": (5.0, 0.15),
    "stopper": (9.0, 0.2),
    "cap": (9.0, 0.2),
    "roll": (4.0, 0.4),
    "ears": (5.0, 1.0),
    "spring": (0.3, 0.0),
}


def hand_for(device: str, rng: np.random.Generator) -> Hand:
    heat, shades = HANDS[device]
    return Hand(
        float(heat * rng.uniform(0.3, 1.6)),
        float(min(1.0, shades * rng.uniform(0.3, 1.7))),
        float(rng.uniform(0.7, 1.35)),
        rng,
    )


def meant_cents(shown: Shown, pipe: JetPipe, device: str, speed_m_s: float = 343.0) -> float:
    """What a hand makes of the advice: its millimetres by the wave's length, else its cents."""
    assert shown.advice is not None
    move = shown.advice.movement
    if move.least_mm is None or move.most_mm is None or device == "spring":
        return shown.advice.cents
    waves = 2.0 if device == "slide" else 4.0
    length_mm = 1000.0 * speed_m_s / (waves * pipe.target_hz)
    mm = 0.5 * (move.least_mm + move.most_mm)
    # The hand goes the way that the words say, not the way that it would like.
    flatter = any(word in move.words for word in (" up", " out"))
    return float(-1200.0 * np.log2(1.0 + (mm if flatter else -mm) / length_mm))


@dataclass
class Tuner:
    """Does only what the screen says, some tenths of a second later.

    `looks_s` is how long a screen must say the same before the hand goes; `works_s` how long it is
    at the pipe. `lingers` leaves the hand near after a move.
    """

    church: Church
    hands: dict[str, Hand]
    devices: dict[str, str]
    rng: np.random.Generator
    moves: int = 0
    _at: str = ""
    _wanted_s: float = field(default=-1.0, init=False)
    _until_s: float = field(default=-1.0, init=False)
    _next_s: float = field(default=0.0, init=False)
    _asked: float = field(default=0.0, init=False)

    def tick(self, name: str, seconds: float) -> None:
        """Time goes by."""
        now_s = self.church.now_s
        if name != self._at:
            self.leave()
            self._at, self._wanted_s, self._next_s = name, -1.0, now_s + 0.6
        for key, hand in self.hands.items():
            hand.warm(self.church.pipes[key], seconds)
        if 0.0 < self._until_s < now_s:
            self.leave()
            self._next_s = now_s + float(self.rng.uniform(0.6, 1.6))

    def leave(self) -> None:
        """Take every hand off."""
        for key, hand in self.hands.items():
            hand.off(self.church.pipes[key])
        self._until_s = -1.0

    def see(self, name: str, shown: Shown) -> None:
        """What the screen says of the pipe at hand."""
        now_s = self.church.now_s
        asks = shown.step is Step.MOVE and shown.advice is not None
        if not asks or self._until_s > 0.0 or now_s < self._next_s:
            self._wanted_s = -1.0
            return
        assert shown.advice is not None
        same = self._asked * shown.advice.cents > 0.0
        self._asked = shown.advice.cents
        if self._wanted_s < 0.0 or not same:
            self._wanted_s = now_s
            return
        if now_s - self._wanted_s < 0.4:
            return
        pipe, hand = self.church.pipes[name], self.hands[name]
        hand.on(pipe)
        hand.move(pipe, meant_cents(shown, pipe, self.devices[name]))
        self.moves += 1
        self._until_s = now_s + float(self.rng.uniform(0.8, 2.0))
        self._wanted_s = -1.0
