"""The organ's state from one visit's readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from walkboard.condition.finite import check_pipes
from walkboard.condition.kinds import roles
from walkboard.condition.shift import division_state
from walkboard.condition.state import Condition, DivisionState, PipeCents
from walkboard.condition.temperament import find_temperament
from walkboard.organ.model import Organ, PipeRef
from walkboard.plausible import AIR_CELSIUS


def assess(
    organ: Organ, pipes: Sequence[PipeCents], thermometers: Mapping[str, float]
) -> Condition:
    """The state of each division and the temperament, from the readings.

    Parameters
    ----------
    organ : Organ
    pipes : sequence of PipeCents
        Deviations of pipes; of several readings of one pipe the most certain counts.
    thermometers : mapping of division id to °C
        Air as measured, if it was.

    Returns
    -------
    Condition
        Divisions that were heard, in the organ's order. The temperament is None if too little was
        heard.

    Raises
    ------
    InputError
        When a reading or a thermometer has a figure that is out of range, NaN for example.
    UnknownNameError
        When a pipe's rank or a thermometer's division is not the organ's.
    """
    heard = surest(pipes)
    states = division_states(organ, heard, thermometers)
    return Condition(states, find_temperament(organ, roles(organ), heard))


def division_states(
    organ: Organ, pipes: Sequence[PipeCents], thermometers: Mapping[str, float]
) -> Mapping[str, DivisionState]:
    """The state of each division without the temperament: much faster.

    Parameters, order and errors are those of `assess`.
    """
    for named in thermometers:
        organ.division(named)
    AIR_CELSIUS.check_each(thermometers, what="The thermometer")
    heard = surest(pipes)
    role = roles(organ)
    states = {}
    for division in organ.divisions:
        own = [p for p in heard if organ.rank(p.pipe.rank).division == division.id]
        if own:
            thermometer = thermometers.get(division.id)
            states[division.id] = division_state(organ, role, division.id, own, thermometer)
    return MappingProxyType(states)


def surest(pipes: Sequence[PipeCents]) -> tuple[PipeCents, ...]:
    """One reading of each pipe, the one with the smallest uncertainty, in the order first met.

    Raises
    ------
    InputError
        When a reading has a figure that is out of range, NaN for example.
    """
    check_pipes(pipes)
    best: dict[PipeRef, PipeCents] = {}
    for pipe in pipes:
        known = best.get(pipe.pipe)
        if known is None or pipe.sigma_cents < known.sigma_cents:
            best[pipe.pipe] = pipe
    return tuple(best.values())
