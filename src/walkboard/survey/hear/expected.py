"""The combs expected at each key of a walk."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from walkboard.listening.types import Comb, ExpectedKey
from walkboard.organ.model import Organ
from walkboard.organ.targets import target_hz
from walkboard.quantities import ratio_of_cents
from walkboard.survey.kinds import spectrum_of
from walkboard.survey.recognise.shift import MARGIN_KEYS


def expected_keys(
    organ: Organ, drawn: Sequence[str], air_celsius: float | None
) -> tuple[ExpectedKey, ...]:
    """Every key of the drawn stops, upward, with the combs of its pipes."""
    return tuple(
        ExpectedKey(
            label=key.name,
            combs=tuple(
                Comb(
                    str(pipe),
                    target_hz(organ, pipe, air_celsius),
                    spectrum_of(organ, pipe),
                )
                for pipe in organ.sounding(drawn, key)
            ),
        )
        for key in organ.keys_of(drawn)
    )


def widened(expected: Sequence[ExpectedKey]) -> tuple[ExpectedKey, ...]:
    """The keys with `MARGIN_KEYS` more at either end, where there are no pipes.

    Otherwise a walk on an organ that is off its described pitch would lose its first or last keys.
    """

    def beside(key: ExpectedKey, semitones: int) -> ExpectedKey:
        ratio = ratio_of_cents(100.0 * semitones)
        combs = tuple(replace(comb, hz=min(comb.hz * ratio, 39_000.0)) for comb in key.combs)
        return replace(key, combs=combs)

    low, high = expected[0], expected[-1]
    return (
        *(beside(low, -n) for n in range(MARGIN_KEYS, 0, -1)),
        *expected,
        *(beside(high, n) for n in range(1, MARGIN_KEYS + 1)),
    )


def pitches(organ: Organ, drawn: Sequence[str]) -> tuple[object, ...]:
    """What distinguishes stops in a walk by ear: their pipes' pitches."""
    keys = organ.keys_of(drawn)
    return tuple(
        sorted(
            round(target_hz(organ, pipe, None), 3)
            for key in keys
            for pipe in organ.sounding(drawn, key)
        )
    )
