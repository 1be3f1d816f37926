"""Refuses readings with NaN, infinity, or an impossible uncertainty before any calculation.

NaN compares false with everything, so a search waiting for a bound to close would never end.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from walkboard.condition.state import Condition, PipeCents
from walkboard.errors import InputError
from walkboard.plausible import AIR_CELSIUS

_MEASURE_AGAIN = "Leave the reading out, or measure the pipe again."
_ASSESS_AGAIN = "Assess the readings again, or give None where it is not known."


def check_pipes(pipes: Iterable[PipeCents]) -> None:
    """Check readings one by one.

    Parameters
    ----------
    pipes : iterable of PipeCents

    Raises
    ------
    InputError
        Names the first pipe with a figure that is not finite, an uncertainty below zero, or air
        that is out of range.
    """
    for pipe in pipes:
        if not math.isfinite(pipe.cents):
            raise _not_a_number("A reading", "cents", pipe.cents, str(pipe.pipe), _MEASURE_AGAIN)
        if not (pipe.sigma_cents >= 0.0 and math.isfinite(pipe.sigma_cents)):
            raise InputError(
                f"A reading's uncertainty cannot be {pipe.sigma_cents:g} cents.",
                where=str(pipe.pipe),
                fix=f"It must be a number, 0 or more. {_MEASURE_AGAIN}",
            )
        if pipe.level_db is not None and not math.isfinite(pipe.level_db):
            raise _not_a_number(
                "A reading's level", "dB", pipe.level_db, str(pipe.pipe), "Give None if unknown."
            )
        AIR_CELSIUS.check(pipe.air_celsius, what="The air of a reading", where=str(pipe.pipe))


def check_condition(condition: Condition) -> None:
    """Check the figures of a condition before planning.

    Parameters
    ----------
    condition : Condition

    Raises
    ------
    InputError
        Names the first division with a figure that is not finite, or a thermometer that cannot be
        right.
    """
    for id_, state in condition.divisions.items():
        for cents in (state.shift_cents, state.shift_sigma_cents):
            if cents is not None and not math.isfinite(cents):
                raise _not_a_number("A division's shift", "cents", cents, id_, _ASSESS_AGAIN)
        for celsius in (state.stated_celsius, state.implied_celsius):
            if celsius is not None and not math.isfinite(celsius):
                raise _not_a_number("A division's air", "°C", celsius, id_, _ASSESS_AGAIN)
        if state.thermometer_celsius is not None:
            AIR_CELSIUS.check(state.thermometer_celsius, what="The thermometer", where=id_)


def check_shares(shares: Mapping[str, float], *, what: str) -> None:
    """Check figures by rank that a plan multiplies with; InputError names the first not finite.

    Parameters
    ----------
    shares : mapping of rank id to float
    what : str
        The figure, as it begins a sentence.
    """
    for rank, share in shares.items():
        if not math.isfinite(share):
            raise InputError(
                f"{what} cannot be {share:g}.", where=rank, fix="Give a number from 0 to 1."
            )


def _not_a_number(what: str, unit: str, value: float, where: str, fix: str) -> InputError:
    return InputError(f"{what} cannot be {value:g} {unit}.", where=where, fix=fix)
