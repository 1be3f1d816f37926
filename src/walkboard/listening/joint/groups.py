"""Which partials of a hold's pipes fall together, and the sub-band of each group.

Several pipes of one key are harmonic series whose fundamentals are near simple ratios, so partial 4
of an 8′ lies near partial 2 of the 4′ and partial 1 of the 2′. Such a group is treated as a whole:
its sub-band is flat wherever its members may be, and stops before its neighbours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.quantities import ratio_of_cents


@dataclass(frozen=True, slots=True)
class Limits:
    """How partials are grouped, and sub-bands kept apart. *Fitted*: by bench registrations."""

    together_cents: float = 30.0  # closer partials may cross when detuned; fitted
    reach_cents: float = 22.0  # either side, how far a pipe may be out; fitted
    margin_hz: float = 2.0  # for its wander; chosen
    least_guard_hz: float = 6.0  # between a sub-band and the next; chosen
    most_guard_hz: float = 30.0  # a wider guard only costs memory; chosen
    highest_hz: float = 6_000.0  # highest partial used; chosen


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Member:
    """Partial `number` of pipe `pipe` (index into the combs)."""

    pipe: int
    number: int


@dataclass(frozen=True, slots=True)
class Group:
    """Partials that may fall together.

    Attributes
    ----------
    members : tuple of Member
        In the order of the pipes.
    centre_hz : float
    even_hz, stop_hz : float
        The sub-band is flat to `even_hz` either side of the centre and zero from `stop_hz` [Hz].
    """

    members: tuple[Member, ...]
    centre_hz: float
    even_hz: float
    stop_hz: float

    @property
    def pipes(self) -> frozenset[int]:
        """Pipes that have a partial in the group."""
        return frozenset(member.pipe for member in self.members)


def group_partials(fundamentals_hz: Sequence[float], sample_rate: int) -> tuple[Group, ...]:
    """Groups of partials that a hold can separate from each other, from low to high.

    A group too close to its neighbours for a guard is left out.
    """
    highest = min(LIMITS.highest_hz, 0.45 * sample_rate)
    highest = max(highest, min(4.2 * max(fundamentals_hz), 0.45 * sample_rate))
    places = [
        (number * hz, Member(pipe, number))
        for pipe, hz in enumerate(fundamentals_hz)
        for number in range(1, 1 + int(1.1 * highest / hz))
    ]
    places.sort(key=lambda place: place[0])
    together: list[list[tuple[float, Member]]] = []
    for place in places:
        near = together and place[0] < together[-1][-1][0] * ratio_of_cents(LIMITS.together_cents)
        if near:
            together[-1].append(place)
        else:
            together.append([place])
    reach = ratio_of_cents(LIMITS.reach_cents)
    groups = []
    for n, held in enumerate(together):
        low, high = held[0][0] / reach, held[-1][0] * reach
        centre = 0.5 * (low + high)
        even = 0.5 * (high - low) + LIMITS.margin_hz
        below = centre - together[n - 1][-1][0] * reach if n else centre
        above = together[n + 1][0][0] / reach - centre if n + 1 < len(together) else np.inf
        stop = min(below - LIMITS.margin_hz, above - LIMITS.margin_hz, even + LIMITS.most_guard_hz)
        pipes = {member.pipe for _, member in held}
        if centre > highest or stop < even + LIMITS.least_guard_hz or len(pipes) < len(held):
            continue
        members = tuple(sorted((member for _, member in held), key=lambda m: m.pipe))
        groups.append(Group(members, centre, even, stop))
    return tuple(groups)
