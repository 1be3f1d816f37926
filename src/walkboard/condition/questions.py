"""Questions to the tuner before planning from readings.

A plan made from wrong input sends a tuner to the wrong pipes. Whatever looks wrong becomes a
question, in whole sentences, saying what would answer it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

from walkboard.condition.state import Condition, DivisionState
from walkboard.organ.model import Organ
from walkboard.physics.air import pitch_ratio
from walkboard.survey.hear.heard_walk import HeardWalk

APART_CENTS = 4.0  # divisions played coupled beat beyond this. From the person it is built for.
AIR_APART_CELSIUS = 8.0  # of an event from today's air. From the person it is built for.
WHOLE_CENTS = 15.0  # of all divisions off the description; clean walks lie within 6


class Asked(StrEnum):
    """What a question is about."""

    NOT_BELIEVED = "not_believed"
    NOT_SOUNDING = "not_sounding"
    WHOLE_SHIFT = "whole_shift"
    DIVISIONS_APART = "divisions_apart"
    EVENT_AIR = "event_air"


@dataclass(frozen=True, slots=True)
class InputQuestion:
    """One question about the input of a plan.

    Attributes
    ----------
    about : Asked
    text : str
        Whole sentences.
    file : str
        The recording it is about; empty if it is about the organ.
    stops, divisions : tuple of str
        Ids it is about.
    """

    about: Asked
    text: str
    file: str = ""
    stops: tuple[str, ...] = ()
    divisions: tuple[str, ...] = ()


def input_questions(
    organ: Organ,
    walks: Sequence[HeardWalk],
    condition: Condition | None = None,
    event_air_celsius: Mapping[str, float] | None = None,
) -> tuple[InputQuestion, ...]:
    """Everything to ask before planning from these readings.

    Parameters
    ----------
    organ : Organ
    walks : sequence of HeardWalk
    condition : Condition, optional
        From the same readings.
    event_air_celsius : mapping of division to float, optional
        Planned air [°C]; the empty id is for every division not named.
    """
    found = [*_of_walks(organ, walks)]
    if condition is not None:
        states = [state for state in condition.divisions.values() if state.shift_cents is not None]
        found += _of_the_whole(organ, states)
        found += _of_divisions(organ, states)
        found += _of_the_air(organ, condition, event_air_celsius or {})
    return tuple(found)


def _of_walks(organ: Organ, walks: Sequence[HeardWalk]) -> list[InputQuestion]:
    found = []
    for walk in walks:
        heard = walk.heard
        if heard is None:
            continue
        if not heard.believed:
            asked = heard.question or heard.sentence
            text = f"{walk.file}: {asked} Its readings are left out of the plan until you answer."
            found.append(InputQuestion(Asked.NOT_BELIEVED, text, walk.file, walk.drawn))
        elif heard.not_sounding:
            names = " and ".join(organ.stop(stop).name for stop in heard.not_sounding)
            found.append(
                InputQuestion(
                    Asked.NOT_SOUNDING,
                    f"{walk.file}: nothing of {names} was heard. Was it drawn? If it was, it is"
                    " exactly in tune with the others; if not, take the recording in again without"
                    " it.",
                    walk.file,
                    heard.not_sounding,
                )
            )
    return found


def _of_the_whole(organ: Organ, states: Sequence[DivisionState]) -> list[InputQuestion]:
    shifts = [state.shift_cents or 0.0 for state in states]
    if not shifts or min(abs(cents) for cents in shifts) < WHOLE_CENTS:
        return []
    if min(shifts) < 0.0 < max(shifts):
        return []
    middle = sorted(shifts)[len(shifts) // 2]
    way = "below" if middle < 0.0 else "above"
    a4_hz = organ.pitch.a4_hz * 2.0 ** (middle / 1200.0)
    return [
        InputQuestion(
            Asked.WHOLE_SHIFT,
            f"Everything heard is about {abs(middle):.0f} cents {way} the description. Is the"
            f" organ at A4 = {a4_hz:.1f} Hz, or is the air not what was noted? Write the pitch"
            " under [pitch] in the description, or correct the air.",
            divisions=tuple(state.division for state in states),
        )
    ]


def _of_divisions(organ: Organ, states: Sequence[DivisionState]) -> list[InputQuestion]:
    """Divisions that are played coupled but are apart, each at the air it was heard in."""
    place = {
        state.division: (state.shift_cents or 0.0)
        + 1200.0 * math.log2(pitch_ratio(organ.pitch.at_celsius, state.stated_celsius))
        for state in states
    }
    coupled = {
        frozenset((one.from_division, one.to_division))
        for one in organ.couplers
        if one.from_division != one.to_division
    }
    found = []
    for one, other in combinations(place, 2):
        apart = place[one] - place[other]
        if abs(apart) <= APART_CENTS or (coupled and frozenset((one, other)) not in coupled):
            continue
        high, low = (one, other) if apart > 0.0 else (other, one)
        names = organ.division(high).name, organ.division(low).name
        found.append(
            InputQuestion(
                Asked.DIVISIONS_APART,
                f"{names[0]} is {abs(apart):.1f} cents above {names[1]}. Are they played"
                " coupled? Then tune both to one pitch; otherwise each keeps its own.",
                divisions=(high, low),
            )
        )
    return found


def _of_the_air(
    organ: Organ, condition: Condition, event_air_celsius: Mapping[str, float]
) -> list[InputQuestion]:
    found = []
    for state in condition.divisions.values():
        event = event_air_celsius.get(state.division, event_air_celsius.get(""))
        today = (
            state.stated_celsius if state.thermometer_celsius is None else state.thermometer_celsius
        )
        if event is None or abs(event - today) <= AIR_APART_CELSIUS:
            continue
        found.append(
            InputQuestion(
                Asked.EVENT_AIR,
                f"{organ.division(state.division).name}: the plan is for {event:g} °C and the air"
                f" now is {today:g} °C. Will it be heated or cooled by that much? If not, correct"
                " the event's air.",
                divisions=(state.division,),
            )
        )
    return found
