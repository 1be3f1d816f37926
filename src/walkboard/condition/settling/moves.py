"""How far the tuner's moves go in this rank, learned from the moves seen in it.

Asked to move "slide down, about 0.4 mm", a tuner moves more or less, the slide sticks, and the pipe
differs from the formula. All of that is one factor: cents achieved over cents asked. It is learned
as a robust line through the origin: the median of the ratios, each weighted by the size of the move
(a weighted median; Edgeworth 1887, from memory), with the usual factor of 1 counted as a few moves.
A slip or a stroke in the wrong direction then shifts it little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from walkboard.organ.model import Rank
from walkboard.physics.moving import Device, Movement, movement, spring_movement_between
from walkboard.physics.reed import usual_tongue_mm

_LEAST_CENTS = 0.3  # a smaller move says nothing about the hand
_PRIOR_CENTS = 6.0  # moves of so many cents together weigh as much as the usual factor
_LEAST_GAIN, _MOST_GAIN = 0.25, 4.0
_BIG_CENTS = 25.0
_NEAR_TONGUE = 0.05  # of a tongue's length: measured at its neighbours in the rank
_FAR_TONGUE = 0.15  # measured elsewhere in the rank
_NEAR_PIPES = 12
# How a move compares with the last one: largest ratio and text.
_LIKE_LAST = (
    (0.15, "only a little of your last move"),
    (0.29, "about a quarter of your last move"),
    (0.41, "about a third of your last move"),
    (0.58, "about half of your last move"),
    (0.85, "about three quarters of your last move"),
    (1.2, "about as much as your last move"),
    (1.75, "about one and a half times your last move"),
    (2.5, "about twice your last move"),
    (3.5, "about three times your last move"),
)

# How far a device can move a pipe at all [cents]: common practice, no source. Anything more means
# another pipe, another fault or a wrong reading, and no distance is given.
_REACH_CENTS = {
    Device.SLIDE: 60.0,
    Device.CONE: 30.0,
    Device.ROLL: 60.0,
    Device.EARS: 30.0,
    Device.SHADE: 60.0,
    Device.STOPPER: 120.0,
    Device.CAP: 120.0,
    Device.SPRING: 100.0,
}
# Common practice, no source: what can go wrong with a move, besides the cautions on the sheets.
_HARM = {
    Device.CONE: "light strokes: coning can split the seam",
    Device.ROLL: "the roll tears when it is bent often: move it little",
    Device.EARS: "ears break when they are bent to and fro",
    Device.STOPPER: "turn a tight stopper, do not hammer it: it can split the pipe",
    Device.SPRING: "tap gently: a bent spring or a scratched tongue spoils the reed",
}


@dataclass(frozen=True, slots=True)
class MoveSeen:
    """One move as asked for and as it turned out [cents], + is sharper."""

    asked_cents: float
    got_cents: float


@dataclass(frozen=True, slots=True)
class Hand:
    """How the tuner's moves turn out in a rank.

    Attributes
    ----------
    gain : float
        Cents achieved per cent asked [-].
    spread : float
        Its spread from move to move, robust [-].
    moves : int
        Number of moves it was learned from.
    last_cents : float
        Size of the last move [cents]; 0 before the first.
    """

    gain: float = 1.0
    spread: float = 0.5
    moves: int = 0
    last_cents: float = 0.0


@dataclass(frozen=True, slots=True)
class Advice:
    """Which way and how far to move a pipe.

    Attributes
    ----------
    movement : Movement
        The distance to aim for includes the hand's factor.
    cents : float
        Wanted change of pitch, + is sharper.
    caution : str
        What the move can damage; may be empty.
    like_last : str
        Size compared with the last move in the rank; empty if millimetres are given, or nothing was
        moved yet.
    """

    movement: Movement
    cents: float
    caution: str
    like_last: str = ""

    @property
    def words(self) -> str:
        """As ``slide down, about 0.45 mm`` or ``spring up, about half of your last move``."""
        parts = (self.movement.words, self.movement.distance, self.like_last)
        return ", ".join(part for part in parts if part)


def learn_hand(seen: Sequence[MoveSeen]) -> Hand:
    """The hand's factor from the moves seen in a rank, oldest first."""
    counted = [m for m in seen if abs(m.asked_cents) >= _LEAST_CENTS]
    if not counted:
        return Hand()
    ratio = np.array([m.got_cents / m.asked_cents for m in counted] + [1.0])
    size = np.array([abs(m.asked_cents) for m in counted] + [_PRIOR_CENTS])
    size[:-1] = np.minimum(size[:-1], 10.0)  # one large move is still one move
    gain = float(np.clip(_weighted_median(ratio, size), _LEAST_GAIN, _MOST_GAIN))
    spread = 1.4826 * _weighted_median(np.abs(ratio - gain), size)
    return Hand(gain, max(0.05, float(spread)), len(counted), abs(counted[-1].got_cents))


def tongue_mm(rank: Rank, number: int, hz: float) -> tuple[float, float, bool]:
    """Range of a reed pipe's tongue length, and whether it is only typical [mm].

    Parameters
    ----------
    rank : Rank
    number : int
        Number of the pipe, from 1.
    hz : float
        Frequency of the pipe [Hz].

    Returns
    -------
    tuple of (float, float, bool)
        From the tongues in the description, scaled along the rank from the nearest measured one;
        the typical length for its pitch if none is given (`usual_tongue_mm`).
    """
    usual = usual_tongue_mm(hz)
    if not rank.tongues_mm:
        return *usual, True
    near = min(rank.tongues_mm, key=lambda other: abs(other - number))
    length_mm = rank.tongues_mm[near]
    if near == number:
        return length_mm, length_mm, False
    length_mm *= usual[0] / usual_tongue_mm(hz * 2.0 ** ((near - number) / 12.0))[0]
    spread = _NEAR_TONGUE if abs(near - number) <= _NEAR_PIPES else _FAR_TONGUE
    return length_mm * (1.0 - spread), length_mm * (1.0 + spread), False


def advise(  # noqa: PLR0917
    device: str,
    cents: float,
    hz: float,
    speed_m_s: float,
    hand: Hand = Hand(),
    caution: str = "",
    tongue: tuple[float, float, bool] | None = None,
) -> Advice:
    """Which way and how far, including the hand's factor.

    Parameters
    ----------
    device : str
        Its tuning device, one of `physics.moving.Device`.
    cents : float
        Wanted change of pitch [cents], + is sharper; not 0.
    hz : float
        Where the pipe sounds now [Hz].
    speed_m_s : float
        Speed of sound in it [m/s].
    hand : Hand
        From `learn_hand`, of this rank.
    caution : str
        A caution for this pipe, such as that it is historic; comes first.
    tongue : (float, float, bool), optional
        Tongue of a reed, from `tongue_mm`.

    Raises
    ------
    ValueError
        As `physics.moving.movement`.
    """
    if tongue is not None and Device(device) is Device.SPRING:
        least_mm, most_mm, is_usual = tongue
        move = spring_movement_between(
            cents / hand.gain, least_mm=least_mm, most_mm=most_mm, is_usual=is_usual
        )
    else:
        move = movement(device, cents / hand.gain, hz=hz, speed_m_s=speed_m_s)
    is_out_of_reach = abs(cents) > _REACH_CENTS[move.device]
    if is_out_of_reach:
        move = replace(move, least_mm=None, most_mm=None, is_usual=False)
    cautions = [caution] if caution else []
    if abs(cents) > _BIG_CENTS:
        cautions.append("far off: is it the right pipe, and does it speak as it should?")
    if move.device in _HARM:
        cautions.append(_HARM[move.device])
    has_distance = move.least_mm is not None and not move.is_usual
    like_last = "" if has_distance or is_out_of_reach else _like_last(cents, hand)
    return Advice(move, cents, "; ".join(cautions), like_last)


def _like_last(cents: float, hand: Hand) -> str:
    """How much of the last move in the rank would make these cents."""
    if hand.last_cents < _LEAST_CENTS:
        return ""
    ratio = abs(cents) / hand.last_cents
    return next((words for most, words in _LIKE_LAST if ratio < most), "much more than the last")


def _weighted_median(values: np.ndarray, weight: np.ndarray) -> float:
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    return float(values[order[int(np.searchsorted(total, 0.5 * total[-1]))]])
