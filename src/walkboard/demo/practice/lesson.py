"""A short worklist of an invented organ for practice: two pipes of each way of tuning."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from walkboard.demo.hall import hall_state
from walkboard.demo.practice.hall import practice_pipes
from walkboard.demo.practice.organ import PracticePipe
from walkboard.organ import examples
from walkboard.organ.model import Organ, PipeRef, TunedBy
from walkboard.organ.reading import read_organ

_EACH = ((TunedBy.SLIDE, 2), (TunedBy.SPRING, 2), (TunedBy.CONE, 1), (TunedBy.STOPPER, 1))
_LOWEST_HZ, _HIGHEST_HZ = 130.0, 1100.0
_OFF_CENTS = (2.5, 9.0)


@dataclass(frozen=True, eq=False)
class Lesson:
    """The practice organ.

    Attributes
    ----------
    organ : Organ
    description : str
        The text the organ was read from.
    pipes : dict of PipeRef to PracticePipe
        In the order of work.
    air_celsius : dict of str to float
        Air of each division [°C].
    """

    organ: Organ
    description: str
    pipes: dict[PipeRef, PracticePipe]
    air_celsius: dict[str, float]


def make_lesson(rng: np.random.Generator) -> Lesson:
    """A lesson, with different pipes each time.

    Parameters
    ----------
    rng : numpy.random.Generator
    """
    description = examples.village()
    organ = read_organ(description)
    state = hall_state(organ, int(rng.integers(1 << 31)))
    chosen: list[PipeRef] = []
    for device, count in _EACH:
        found = [
            ref
            for ref in organ.pipes()
            if organ.rank(ref.rank).tuned_by is device
            and not organ.rank(ref.rank).is_celeste
            and _LOWEST_HZ < state.pipes[ref].target_hz < _HIGHEST_HZ
        ]
        picked = rng.permutation(len(found))[:count]
        chosen += [found[int(i)] for i in picked]
    pipes = practice_pipes(organ, state, chosen, rng)
    for ref, pipe in pipes.items():
        off = float(rng.uniform(*_OFF_CENTS) * rng.choice([-1.0, 1.0]))
        pipes[ref] = replace(pipe, cents=off)
    return Lesson(organ, description, pipes, dict(state.thermometer_celsius))
