"""Where the flues of each division are today, and where they will be at the event.

Flues are tuned to their division's present pitch: the common shift of its flues is air (or, if not,
moving the whole division is too much for one visit). Reeds are set to where those flues will be at
the event, when its air has moved them but not the reeds.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from walkboard.condition.shift import air_cents
from walkboard.condition.state import Condition, DivisionState
from walkboard.organ.model import Organ


@dataclass(frozen=True, slots=True)
class DivisionPitch:
    """The pitch of one division's flues.

    Attributes
    ----------
    division : str
    air_celsius : float
        Its air today: by thermometer, else as implied by its flues, else as stated.
    above_cents : float
        How far its flues are above the organ's pitch in that air [cents].
    sigma_cents : float
        Uncertainty of `above_cents`.
    event_celsius : float
        Its air at the event; today's if none is given.
    heard : bool
        Whether it comes from its own flues; otherwise from the other divisions.
    """

    division: str
    air_celsius: float
    above_cents: float
    sigma_cents: float
    event_celsius: float
    heard: bool


UNHEARD_SIGMA_CENTS = 2.0  # of a division not heard, about the others


def division_pitches(
    organ: Organ,
    condition: Condition,
    event_air_celsius: float | Mapping[str, float] | None,
    coupled: Collection[str] = (),
) -> dict[str, DivisionPitch]:
    """The pitch of each division.

    Parameters
    ----------
    organ : Organ
    condition : Condition
    event_air_celsius : float, mapping of division id to float, or None
        Air at the event [°C], the same everywhere or by division.
    coupled : collection of str
        Ids of divisions that are tuned to one pitch because they are played coupled: that of the
        one with the most flues heard. Otherwise each keeps its own.

    Notes
    -----
    Without a thermometer the flues' whole shift counts as air. A division without heard flues is as
    far above the organ's pitch as the mean of the others.
    """
    heard = {
        id_: _own(state)
        for id_, state in condition.divisions.items()
        if state.shift_cents is not None
    }
    common = sum(p[1] for p in heard.values()) / len(heard) if heard else 0.0
    usual_air = sum(p[0] for p in heard.values()) / len(heard) if heard else organ.pitch.at_celsius
    pitches = {}
    for division in organ.divisions:
        id_ = division.id
        if id_ in heard:
            air, above, sigma = heard[id_]
        else:
            air = _stated_air(condition.divisions.get(id_), usual_air)
            above, sigma = common, UNHEARD_SIGMA_CENTS
        event = _event(event_air_celsius, id_, air)
        pitches[id_] = DivisionPitch(id_, air, above, sigma, event, id_ in heard)
    return _together(organ, condition, pitches, [id_ for id_ in heard if id_ in coupled])


def _together(
    organ: Organ,
    condition: Condition,
    pitches: dict[str, DivisionPitch],
    coupled: list[str],
) -> dict[str, DivisionPitch]:
    """The same with some divisions at one pitch, each in its own air."""
    if len(coupled) < 2:
        return pitches
    leader = pitches[max(coupled, key=lambda id_: condition.divisions[id_].flues)]
    at = leader.above_cents + air_cents(organ.pitch.at_celsius, leader.air_celsius)
    moved = {
        id_: replace(
            pitches[id_],
            above_cents=at - air_cents(organ.pitch.at_celsius, pitches[id_].air_celsius),
        )
        for id_ in coupled
        if id_ != leader.division
    }
    return {**pitches, **moved}


def _own(state: DivisionState) -> tuple[float, float, float]:
    """Air, cents above the organ's pitch in it, and σ, of a division whose flues were heard."""
    assert state.shift_cents is not None
    assert state.shift_sigma_cents is not None
    air = state.thermometer_celsius
    if air is None:
        air = state.stated_celsius if state.implied_celsius is None else state.implied_celsius
    above = state.shift_cents - air_cents(state.stated_celsius, air)
    return air, above, state.shift_sigma_cents


def _stated_air(state: DivisionState | None, usual: float) -> float:
    if state is None:
        return usual
    return state.stated_celsius if state.thermometer_celsius is None else state.thermometer_celsius


def _event(given: float | Mapping[str, float] | None, division: str, today: float) -> float:
    if given is None:
        return today
    if isinstance(given, Mapping):
        return given.get(division, today)
    return given
