"""Whether the whole organ is off its described pitch, and which keys were really held.

In equal temperament a walk a semitone off sounds like one that begins one key further on. The
compass shows the difference: a walk that seems to begin below the lowest key and to end short of
the highest is the whole compass a semitone low. In an unequal temperament the pattern of the keys
shows it as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.listening.types import FoundHold, HoldFlag

MARGIN_KEYS = 3
"""Keys added below and above the compass, so that a shifted walk can be named."""

_MOST_CENTS = 280.0
_OUTSIDE = 7.0  # cost of a sure hold where there is no key [nats]
_END = 2.0  # reward for a walk that reaches an end of the compass [nats]
_PRIOR = 6.0  # against a shift of more than 40 cents [nats]: one organ in 400. Chosen.
_LEAST_SCATTER_CENTS = 3.0
_MOST_SCATTER_CENTS = 15.0
_MOST_ASTRAY = 0.25  # share of holds out of order
_MOST_COUNTED = 12  # most holds that count as independent


@dataclass(frozen=True, slots=True)
class Shifted:
    """A walk's pitch relative to the description.

    Attributes
    ----------
    keys : int
        Subtract from every key as named: a walk named one key too low has −1.
    cents : float
        Median of the holds relative to the keys named then [cents].
    open_ended : bool
        Neither end of the compass was reached, and the temperament is equal: a whole semitone
        cannot be excluded.
    """

    keys: int
    cents: float
    open_ended: bool


def find_shift(
    holds: Sequence[FoundHold],
    due_hz: Sequence[float],
    *,
    unequal: bool,
) -> Shifted:
    """Weigh shifts of the whole walk.

    Parameters
    ----------
    holds : sequence of FoundHold
        Holds named on a keyboard with `MARGIN_KEYS` more at either end.
    due_hz : sequence of float
        Expected frequency of the first comb of each key of that keyboard [Hz].
    unequal : bool
        Whether the temperament's steps differ.
    """
    count = len(due_hz) - 2 * MARGIN_KEYS
    plain = [h for h in holds if h.key is not None and h.overtone == 1 and h.heard_hz is not None]
    if not plain:
        return Shifted(0, 0.0, False)
    keys = np.array([h.key for h in plain], np.int64)
    heard = np.array([h.heard_hz for h in plain], np.float64)
    sure = np.array([h.sureness > 0.8 and h.end_s - h.start_s > 0.7 for h in plain])
    due = 1200.0 * np.log2(np.asarray(due_hz))
    place = 1200.0 * np.log2(heard)
    best: tuple[float, int, float] | None = None
    ends: dict[int, int] = {}
    scatters: dict[int, float] = {}
    for move in range(-MARGIN_KEYS, MARGIN_KEYS + 1):
        held = keys - move
        inside = (held >= 0) & (held < len(due))
        if inside.sum() < 0.6 * len(held):
            continue
        away = place[inside] - due[held[inside]]
        cents = float(np.median(away))
        if abs(cents) > _MOST_CENTS:
            continue
        number = held - MARGIN_KEYS
        outside = int((((number < 0) | (number >= count)) & sure).sum())
        ends[move] = int((number == 0).any()) + int((number == count - 1).any())
        scatter = max(_LEAST_SCATTER_CENTS, 1.4826 * float(np.median(np.abs(away - cents))))
        scatters[move] = scatter
        score = -_OUTSIDE * min(outside, 3) + _END * ends[move]
        score -= _PRIOR if abs(cents) > 40.0 else 0.0
        score -= 0.01 * abs(cents)
        if unequal:
            score -= min(len(plain), _MOST_COUNTED) * float(np.log(scatter))
        if best is None or score > best[0]:
            best = score, move, cents
    if best is None:
        return Shifted(0, 0.0, False)
    _, move, cents = best
    astray = np.mean([HoldFlag.OUT_OF_ORDER in h.flags for h in plain])
    if abs(cents) > 40.0 and (scatters[move] > _MOST_SCATTER_CENTS or astray > _MOST_ASTRAY):
        # Named so badly that nothing can be said about the pitch.
        return Shifted(0, 0.0, False)
    shown = unequal and all(
        scatter > 1.5 * scatters[move] for other, scatter in scatters.items() if other != move
    )
    return Shifted(move, cents, ends[move] == 0 and not shown)
