"""Sub-bands of a hold made line by line: no sound, no transform, so that their truth is plain."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from walkboard.listening.hold.movement import Movement
from walkboard.listening.joint.bands import Band, Nodes
from walkboard.listening.joint.courses import Courses
from walkboard.listening.joint.groups import Group, Member
from walkboard.listening.joint.stacks import BandSet
from walkboard.listening.joint.stages import Joint

SECONDS = 4.0
REACH_HZ = 12.0
NODES = Nodes.of(128, SECONDS, 6, Movement.usual())


def band(
    members: Mapping[int, int], centre_hz: float, lines: Sequence[tuple[float, float]]
) -> Band:
    """A sub-band of partials {pipe: number}, in which lines (hz, amplitude) sound."""
    group = Group(
        tuple(Member(pipe, number) for pipe, number in sorted(members.items())),
        centre_hz,
        REACH_HZ,
        REACH_HZ + 3.0,
    )
    turns = (2j * np.pi * (hz - centre_hz) * NODES.times_s for hz, _ in lines)
    sizes = [size for _, size in lines]
    values = sum(size * np.exp(turn) for size, turn in zip(sizes, turns, strict=True))
    return Band(group, NODES, np.asarray(values)[np.newaxis], np.array([1e-8]))


def bands_of_unisons(
    due_hz: float, sounding_hz: Sequence[float], numbers: Sequence[int], second: float = 1.0
) -> BandSet:
    """Two pipes expected at one place, that sound at these; the second so much softer."""
    return BandSet.of(
        (
            band(
                {0: number, 1: number},
                number * due_hz,
                [(number * hz, size) for hz, size in zip(sounding_hz, (1.0, second), strict=True)],
            )
            for number in numbers
        ),
        [due_hz, due_hz],
    )


def joint_of(bands: BandSet) -> Joint:
    """The bands with nothing estimated yet."""
    return Joint(Courses.start(bands, 6, 0.08), bands, tuple(range(len(bands.bands))), 0.0)
