"""The key holder: a person who holds key after key, unevenly, with slips."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from walkboard.scales.keys import Key


class Slip(StrEnum):
    """What went wrong at a key, with the holder or the pipe."""

    WRONG_CORRECTED = "wrong_corrected"  # a short wrong key, then the right one
    WRONG = "wrong"  # a wrong key in place of the right one
    REPEATED = "repeated"  # the same key twice
    OUT_OF_ORDER = "out_of_order"  # two keys swapped
    LONG = "long"  # held twice as long
    DEAD = "dead"  # held, but nothing speaks
    OFF_SPEECH = "off_speech"  # speaks an overtone


@dataclass(frozen=True, slots=True)
class Faults:
    """The keys at which something goes wrong in a walk.

    Attributes
    ----------
    wrong_corrected, wrong, repeated, out_of_order, long, dead : tuple of Key
        See `Slip`; a key out of order swaps with the next.
    off_speech : tuple of (Key, int)
        Keys whose pipe speaks partial 2, 3 … instead of its own.
    """

    wrong_corrected: tuple[Key, ...] = ()
    wrong: tuple[Key, ...] = ()
    repeated: tuple[Key, ...] = ()
    out_of_order: tuple[Key, ...] = ()
    long: tuple[Key, ...] = ()
    dead: tuple[Key, ...] = ()
    off_speech: tuple[tuple[Key, int], ...] = ()

    @classmethod
    def drawn(
        cls, keys: Sequence[Key], rng: np.random.Generator, *, each: int = 1, overtone: int = 2
    ) -> Faults:
        """So many faults of each kind at random keys, well apart from each other.

        Raises
        ------
        ValueError
            If there are too few keys for that.
        """
        wanted = 7 * each
        places = np.arange(2, len(keys) - 2, 3)
        if wanted > places.size:
            raise ValueError(f"{len(keys)} keys are too few for {wanted} faults")
        at = [keys[i] for i in rng.permutation(places)[:wanted]]
        groups = [tuple(sorted(at[i * each : (i + 1) * each])) for i in range(7)]
        return cls(
            wrong_corrected=groups[0],
            wrong=groups[1],
            repeated=groups[2],
            out_of_order=groups[3],
            long=groups[4],
            dead=groups[5],
            off_speech=tuple((key, overtone) for key in groups[6]),
        )


@dataclass(frozen=True, slots=True)
class KeyHolder:
    """How evenly the keys are held.

    Attributes
    ----------
    hold_s : float
        Median time a key is held [s].
    spread : float
        Spread of that time, as the standard deviation of its logarithm [-].
    gap_s : float
        Mean time from one key's release to the next key's press [s].
    gap_spread_s : float
        Standard deviation of it [s]; with negative gaps, keys overlap (legato).
    lead_s : float
        Time before the first key [s].
    pause_every : int
        One in so many keys is followed by a pause (0: none).
    pause_s : float
        Mean length of such a pause, half to one and a half times that [s].
    """

    hold_s: float = 4.0
    spread: float = 0.15
    gap_s: float = 0.3
    gap_spread_s: float = 0.12
    lead_s: float = 1.0
    pause_every: int = 20
    pause_s: float = 3.0

    def __post_init__(self) -> None:
        if self.hold_s <= 0.0 or self.spread < 0.0 or self.gap_spread_s < 0.0:
            raise ValueError("a key is held for a positive time, and spreads are not negative")
        if self.lead_s < 0.0 or self.pause_every < 0 or self.pause_s < 0.0:
            raise ValueError("times before, between and after keys cannot be negative")


@dataclass(frozen=True, slots=True)
class Press:
    """One key held.

    Attributes
    ----------
    key : Key
        The key that is really down.
    wanted : Key
        The key that should be.
    down_s, up_s : float
        [s].
    slips : tuple of Slip
    """

    key: Key
    wanted: Key
    down_s: float
    up_s: float
    slips: tuple[Slip, ...] = ()


def hold_keys(
    keys: Sequence[Key], holder: KeyHolder, faults: Faults, rng: np.random.Generator
) -> tuple[Press, ...]:
    """What the key holder does with the keys of a walk, in time.

    A wrong key is a neighbour of the right one, within the walk if possible. Dead pipes and pipes
    off speech do not concern the holder: the renderer marks those slips.
    """
    order = list(keys)
    for key in faults.out_of_order:
        i = order.index(key)
        if i + 1 < len(order):
            order[i], order[i + 1] = order[i + 1], order[i]
    asked: list[tuple[Key, Key, float, tuple[Slip, ...]]] = []
    for key in order:
        slips: tuple[Slip, ...] = (Slip.OUT_OF_ORDER,) if key in faults.out_of_order else ()
        if key in faults.wrong:
            asked.append((_neighbour(key, keys, rng), key, 1.0, (*slips, Slip.WRONG)))
            continue
        if key in faults.wrong_corrected:
            share = float(rng.uniform(0.2, 0.45))
            asked.append((_neighbour(key, keys, rng), key, share, (*slips, Slip.WRONG_CORRECTED)))
        if key in faults.long:
            asked.append((key, key, 2.0, (*slips, Slip.LONG)))
        else:
            asked.append((key, key, 1.0, slips))
        if key in faults.repeated:
            asked.append((key, key, 1.0, (*slips, Slip.REPEATED)))

    presses: list[Press] = []
    down_s = holder.lead_s
    for i, (key, wanted, share, marks) in enumerate(asked):
        held_s = share * holder.hold_s * float(np.exp(holder.spread * rng.standard_normal()))
        up_s = down_s + max(0.3, held_s)
        presses.append(Press(key, wanted, down_s, up_s, marks))
        gap_s = holder.gap_s + holder.gap_spread_s * float(rng.standard_normal())
        follows = asked[i + 1][0] if i + 1 < len(asked) else None
        if follows == key:
            gap_s = max(gap_s, 0.12)  # the same key must come up before it can go down again
        if holder.pause_every and rng.random() < 1.0 / holder.pause_every:
            gap_s += holder.pause_s * float(rng.uniform(0.5, 1.5))
        down_s = max(up_s + gap_s, down_s + 0.2)
    return tuple(presses)


def _neighbour(key: Key, keys: Sequence[Key], rng: np.random.Generator) -> Key:
    near = [k for k in keys if 1 <= abs(k.semitone - key.semitone) <= 2]
    return near[int(rng.integers(len(near)))] if near else key
