"""How far a hand's moves go in this rank: learned from the moves that were seen in it.

A tuner who is told "slide down, about 0.4 mm" moves more or less than that, the slide sticks, and
the pipe is not quite what the law takes it for. All of that is one factor, cents got over cents
asked. It is learned as a robust line through the origin: the median of the ratios, each counted by
the size of the move (a weighted median; Edgeworth 1887, from memory), with the usual factor of 1
counted as a few moves. A slip or a stroke in the wrong direction then shifts it little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.physics.moving import Device, Movement, movement

_LEAST_CENTS = 0.3  # a smaller move tells nothing of the hand
_PRIOR_CENTS = 6.0  # moves of so many cents together count as much as the usual factor
_LEAST_GAIN, _MOST_GAIN = 0.25, 4.0
_BIG_CENTS = 25.0

# Common practice, no source: what can go wrong at a move, besides the cautions on the sheets.
_HARM = {
    Device.CONE: "light strokes: coning can split the seam",
    Device.ROLL: "the roll tears when it is bent often: move it little",
    Device.EARS: "ears break when they are bent to and fro",
    Device.STOPPER: "turn a tight stopper, do not hammer it: it can split the pipe",
    Device.SPRING: "tap gently: a bent spring or a scratched tongue spoils the reed",
}


@dataclass(frozen=True, slots=True)
class MoveSeen:
    """One move as it was asked for and as it came out [cents], + is sharper."""

    asked_cents: float
    got_cents: float


@dataclass(frozen=True, slots=True)
class Hand:
    """What the hand makes of what is asked in a rank.

    Attributes
    ----------
    gain : float
        Cents got for each cent asked [-].
    spread : float
        Of that, from move to move, robust [-].
    moves : int
        That it was learned from.
    """

    gain: float = 1.0
    spread: float = 0.5
    moves: int = 0


@dataclass(frozen=True, slots=True)
class Advice:
    """Which way and how far to move a pipe.

    Attributes
    ----------
    movement : Movement
        The distance is what to aim for, the hand's own factor counted in.
    cents : float
        By how much the pitch is to change, + is sharper.
    caution : str
        What the move can do harm to; may be empty.
    """

    movement: Movement
    cents: float
    caution: str

    @property
    def words(self) -> str:
        """As ``slide down, about 0.45 mm``."""
        distance = self.movement.distance
        return f"{self.movement.words}, {distance}" if distance else self.movement.words


def learn_hand(seen: Sequence[MoveSeen]) -> Hand:
    """The hand's factor from the moves seen in a rank, oldest first."""
    told = [m for m in seen if abs(m.asked_cents) >= _LEAST_CENTS]
    if not told:
        return Hand()
    ratio = np.array([m.got_cents / m.asked_cents for m in told] + [1.0])
    size = np.array([abs(m.asked_cents) for m in told] + [_PRIOR_CENTS])
    size[:-1] = np.minimum(size[:-1], 10.0)  # one great move is one move
    gain = float(np.clip(_weighted_median(ratio, size), _LEAST_GAIN, _MOST_GAIN))
    spread = 1.4826 * _weighted_median(np.abs(ratio - gain), size)
    return Hand(gain, max(0.05, float(spread)), len(told))


def advise(  # noqa: PLR0917
    device: str,
    cents: float,
    hz: float,
    speed_m_s: float,
    hand: Hand = Hand(),
    told: str = "",
) -> Advice:
    """Which way and how far, the hand's factor counted in.

    Parameters
    ----------
    device : str
        What the pipe is tuned by, one of `physics.moving.Device`.
    cents : float
        By how much the pitch is to change [cents], + is sharper; not 0.
    hz : float
        Where the pipe sounds now [Hz].
    speed_m_s : float
        Speed of sound in it [m/s].
    hand : Hand
        From `learn_hand`, of this rank.
    told : str
        A caution of the pipe's own, as that it is historic; comes first.

    Raises
    ------
    ValueError
        As `physics.moving.movement`.
    """
    move = movement(device, cents / hand.gain, hz=hz, speed_m_s=speed_m_s)
    cautions = [told] if told else []
    if abs(cents) > _BIG_CENTS:
        cautions.append("far off: is it the right pipe, and does it speak as it should?")
    if move.device in _HARM:
        cautions.append(_HARM[move.device])
    return Advice(move, cents, "; ".join(cautions))


def _weighted_median(values: np.ndarray, weight: np.ndarray) -> float:
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    return float(values[order[int(np.searchsorted(total, 0.5 * total[-1]))]])
