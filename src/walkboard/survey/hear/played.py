"""A walk played by the machine: the holds found in the recording, corrected by what was played.

The played file gives every key and every time except one: when the recorder was started. The holds
that agree show that, and everything else follows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from walkboard.listening.types import FoundHold, HoldFlag, Walk
from walkboard.scales.keys import Key
from walkboard.survey.plan.schedule import Press, Schedule

_AGREE_S = 0.35  # starts of holds that fit one offset agree within this; chosen
_LEAST_SHARE = 0.4  # agreeing share below which a different file was played; chosen
_LEAST_OVERLAP = 0.3  # share of a press that a found hold must cover; chosen
_SHORT_S = 0.8  # the same as in finding holds
_FROM_THE_SCHEDULE = frozenset(
    {
        HoldFlag.REPEAT,
        HoldFlag.OUT_OF_ORDER,
        HoldFlag.UNKNOWN_KEY,
        HoldFlag.SHORT,
        HoldFlag.RELEASED_LATE,
    }
)


@dataclass(frozen=True, slots=True)
class Aligned:
    """A walk with its keys and times from the schedule.

    Attributes
    ----------
    walk : Walk
        A hold for each key played within the recording. ``silent`` is empty: measuring shows which
        of the filled holds are silent.
    filled : frozenset of int
        Indices of those not found by ear.
    offset_s : float
        The file's start in the recording [s].
    renamed : int
        Number of holds found under another key or none.
    dropped : int
        Number of holds found when nothing was played.
    """

    walk: Walk
    filled: frozenset[int]
    offset_s: float
    renamed: int
    dropped: int


def align_schedule(
    walk: Walk,
    schedule: Schedule,
    keys: Sequence[Key],
    expected_hz: Sequence[float],
    *,
    seconds: float,
) -> Aligned | None:
    """Correct a found walk by what was played.

    Parameters
    ----------
    walk : Walk
        The walk found by ear.
    schedule : Schedule
    keys : sequence of Key
        The keys indexed by the walk's holds.
    expected_hz : sequence of float
        The first fundamental that each key should sound [Hz].
    seconds : float
        Length of the recording [s].

    Returns
    -------
    Aligned or None
        None if too few holds agree on any one offset: another file was played.
    """
    index = {key: n for n, key in enumerate(keys)}
    presses = [press for press in schedule.presses if press.key in index]
    offset_s = _offset(walk, presses, keys)
    if offset_s is None:
        return None
    heard = [
        hold.heard_hz / expected_hz[hold.key]
        for hold in walk.holds
        if hold.key is not None and hold.heard_hz is not None and hold.overtone == 1
    ]
    ratio = float(np.median(heard)) if heard else 1.0
    quietest_db = min(hold.level_db for hold in walk.holds)
    holds: list[FoundHold] = []
    filled: set[int] = set()
    used: set[int] = set()
    renamed = 0
    for press in presses:
        start_s = max(0.0, press.down_s + offset_s)
        end_s = min(seconds, press.up_s + offset_s)
        if end_s - start_s <= 0.0:
            continue
        key = index[press.key]
        within = _within(walk, start_s, end_s)
        used |= set(within)
        same = [n for n in within if walk.holds[n].key == key]
        flags = {flag for n in within for flag in walk.holds[n].flags} - _FROM_THE_SCHEDULE
        if end_s - start_s < _SHORT_S:
            flags.add(HoldFlag.SHORT)
        marks = tuple(flag for flag in HoldFlag if flag in flags)
        if same:
            found = max((walk.holds[n] for n in same), key=lambda h: h.end_s - h.start_s)
            holds.append(
                replace(
                    found,
                    start_s=start_s,
                    end_s=end_s,
                    sureness=max(found.sureness, 0.99),
                    flags=marks,
                )
            )
            continue
        renamed += bool(within)
        filled.add(len(holds))
        holds.append(
            FoundHold(
                key=key,
                start_s=start_s,
                end_s=end_s,
                level_db=max((walk.holds[n].level_db for n in within), default=quietest_db),
                heard_hz=expected_hz[key] * ratio,
                overtone=1,
                sureness=0.9,  # that the key was held; whether it spoke shows when it is measured
                flags=marks,
            )
        )
    dropped = len(walk.holds) - len(used)
    return Aligned(
        Walk(tuple(holds), (), walk.explained), frozenset(filled), offset_s, renamed, dropped
    )


def _offset(walk: Walk, presses: Sequence[Press], keys: Sequence[Key]) -> float | None:
    """The offset that most holds agree on [s]."""
    pairs = sorted(
        (hold.start_s - press.down_s, n)
        for n, hold in enumerate(walk.holds)
        if hold.key is not None
        for press in presses
        if keys[hold.key] == press.key
    )
    best: list[tuple[float, int]] = []
    first = 0
    for last in range(len(pairs)):
        while pairs[last][0] - pairs[first][0] > _AGREE_S:
            first += 1
        if last + 1 - first > len(best):
            best = pairs[first : last + 1]
    agreeing = len({n for _, n in best})
    if not best or agreeing < _LEAST_SHARE * min(len(walk.holds), len(presses)):
        return None
    return float(np.median([offset for offset, _ in best]))


def _within(walk: Walk, start_s: float, end_s: float) -> list[int]:
    """The found holds that fill enough of a press, or are mostly within it."""
    found = []
    for n, hold in enumerate(walk.holds):
        shared_s = min(hold.end_s, end_s) - max(hold.start_s, start_s)
        least_s = _LEAST_OVERLAP * (end_s - start_s)
        if shared_s >= min(least_s, 0.8 * (hold.end_s - hold.start_s)) and shared_s > 0.0:
            found.append(n)
    return found
