"""Whether a recording is a walk at all, and whether a different stop than stated was walked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.listening.types import ExpectedKey, FoundHold, HoldFlag, Walk
from walkboard.survey.recognise.limits import LIMITS

_FEW_HOLDS = 6  # with fewer, the order says nothing
_ONE_WAY = 0.68  # share of a walk's steps that go one way; music has 0.4 to 0.55
_SHORT_S = 0.8
_LITTLE_EXPLAINED = 0.35
_HARDLY_HELD = 0.15  # share of the recording in which keys are held
LOOKS_WRONG = 0.9
"""Fit below which other stops are tried. Chosen."""
_ALIKE = 0.03  # chance difference between fits
_PLAINLY_BETTER = 0.08  # how much better another stop must fit to be named


def why_no_walk(walk: Walk, seconds: float) -> str | None:
    """Why a recording is not a walk, as the end of a sentence; None if it may be one."""
    named = [hold for hold in walk.holds if hold.key is not None]
    if not named:
        return "no key is held in it"
    length_s = float(np.median([hold.end_s - hold.start_s for hold in named]))
    held = sum(hold.end_s - hold.start_s for hold in named) / seconds
    if length_s < _SHORT_S and (
        walk.explained < _LITTLE_EXPLAINED or (held < _HARDLY_HELD and len(walk.holds) > 1)
    ):
        return "the sounds in it are not held keys"
    if len(walk.holds) < _FEW_HOLDS:
        return None
    distinct = len({hold.key for hold in named}) / len(walk.holds)
    if distinct < LIMITS.least_distinct:
        return "a few keys are played again and again"
    steps = np.diff([hold.key or 0 for hold in named])
    steps = steps[steps != 0]
    if len(steps) >= _FEW_HOLDS and max((steps > 0).mean(), (steps < 0).mean()) < _ONE_WAY:
        return "its notes go up and down, as in music"
    return None


def fit(walk: Walk) -> float:
    """How well a stop fits a walk, 0 to 1.

    Energy alone does not decide: a 4′ walked as an 8′ is fully explained by a last octave of pipes
    that all speak their octave. So clear holds count too.
    """
    plain = sum(hold.key is not None and hold.overtone == 1 for hold in walk.holds)
    return walk.explained * plain / len(walk.holds) if walk.holds else 0.0


def in_order(walk: Walk) -> float:
    """Share of the holds that follow each other as keys of a walk do."""
    if not walk.holds:
        return 0.0
    return 1.0 - float(np.mean([HoldFlag.OUT_OF_ORDER in hold.flags for hold in walk.holds]))


@dataclass(frozen=True, slots=True)
class Candidate:
    """A candidate for what was walked: a name and its keys."""

    name: str
    keys: tuple[ExpectedKey, ...]


def walked_instead(
    walk: Walk,
    candidates: Sequence[Callable[[], Candidate]],
    name: Callable[[Sequence[ExpectedKey]], Walk],
) -> tuple[str, Walk] | None:
    """The candidate that fits clearly better than the stated stop, and the walk with it.

    Energy is not enough: what lies above the compass of a 16′ is explained by the third partial of
    lower keys, but those keys come out of order.
    """
    stated = fit(walk) * in_order(walk)
    if stated >= LOOKS_WRONG:
        return None
    best: tuple[str, Walk] | None = None
    most = stated + _PLAINLY_BETTER
    for build in candidates:
        candidate = build()
        other = name(candidate.keys)
        if (score := fit(other) * in_order(other)) >= most:
            # If two fit equally well, the first one is kept.
            most, best = score + _ALIKE, (candidate.name, other)
    return best


@dataclass(frozen=True, slots=True)
class Passed:
    """Keys within the walk without a hold.

    Attributes
    ----------
    silent : tuple of int
        Keys that were held without any sound.
    not_held : tuple of int
    unsure : tuple of int
    """

    silent: tuple[int, ...] = ()
    not_held: tuple[int, ...] = ()
    unsure: tuple[int, ...] = ()


_SURELY_HELD = 0.75  # share of a usual hold and gap that each missing key leaves
_SURELY_PASSED = 0.3


def passed_over(holds: Sequence[FoundHold], missing: Sequence[int]) -> Passed:
    """Which keys without a hold were held but silent, from the time between their neighbours.

    A dead note leaves a pause as long as a hold; a skipped key leaves none.
    """
    plain = [hold for hold in holds if hold.key is not None]
    if len(plain) < 4:
        return Passed(unsure=tuple(missing))
    starts = np.array([hold.start_s for hold in plain])
    ends = np.array([hold.end_s for hold in plain])
    keys = [hold.key or 0 for hold in plain]
    lengths = ends - starts
    held_s = float(np.median(lengths))
    pause_s = float(np.median(np.maximum(0.0, starts[1:] - ends[:-1])))
    silent: list[int] = []
    not_held: list[int] = []
    unsure: list[int] = []
    groups: dict[int, list[int]] = {}
    for key in missing:
        after = [
            n
            for n in range(1, len(keys))
            if min(keys[n - 1], keys[n]) < key < max(keys[n - 1], keys[n])
        ]
        if after:
            groups.setdefault(min(after, key=lambda n: abs(keys[n] - keys[n - 1])), []).append(key)
        else:
            unsure.append(key)
    for n, together in groups.items():
        spare_s = float(starts[n] - ends[n - 1]) - pause_s
        share = spare_s / ((held_s + pause_s) * len(together))
        if share > _SURELY_HELD:
            silent += together
        elif spare_s < _SURELY_PASSED * held_s:
            not_held += together
        else:
            unsure += together
    return Passed(tuple(sorted(silent)), tuple(sorted(not_held)), tuple(sorted(unsure)))
