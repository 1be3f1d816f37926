"""Which pipes may sound in one hold: the rules for drawing stops in a survey, in one place.

Limits by register and on unisons follow what the joint measurement can separate
(bench/results/survey.md); loudness figures are chosen. The planner accepts anything with
`Separability.why_not`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Protocol

from walkboard.organ.model import Family, Organ, PipeRef
from walkboard.organ.targets import target_hz

USUAL_DB = MappingProxyType(
    {Family.OPEN: 0.0, Family.CHIMNEY: -5.0, Family.STOPPED: -6.0, Family.REED: 8.0}
)
"""Loudness of a family relative to an open flue on the same wind [dB]; chosen, not measured."""

USUAL_WIND_MM = 90.0  # wind of the families above; a rank's own adds 20·log10 of its ratio


@dataclass(frozen=True, slots=True)
class Voice:
    """One pipe, as far as its separation from others needs.

    Attributes
    ----------
    pipe : PipeRef
    hz : float
        Its target at the organ's own pitch temperature [Hz].
    family : Family
    usual_db : float
        Usual loudness of such a pipe, relative to an open flue [dB].
    is_celeste : bool
        Whether it is tuned off pitch on purpose.
    """

    pipe: PipeRef
    hz: float
    family: Family
    usual_db: float
    is_celeste: bool = False


class Separability(Protocol):
    """What a measurement can separate in one hold.

    The answer must be monotone: adding pipes never makes a forbidden set allowed.
    """

    def why_not(self, voices: Sequence[Voice]) -> str | None:
        """Why these pipes cannot all be read in one hold, in a few words; None if they can."""


def voices_of(organ: Organ, pipes: Sequence[PipeRef]) -> tuple[Voice, ...]:
    """What the rules need to know about these pipes."""
    voices = []
    for pipe in pipes:
        rank = organ.rank(pipe.rank)
        family = rank.family_of(pipe.number)
        wind_db = 20.0 * math.log10(rank.wind_mm / USUAL_WIND_MM) if rank.wind_mm else 0.0
        voices.append(
            Voice(
                pipe,
                target_hz(organ, pipe, None),
                family,
                USUAL_DB[family] + wind_db,
                rank.is_celeste,
            )
        )
    return tuple(voices)


@dataclass(frozen=True)
class CautiousRules:
    """Rules on the safe side of what was measured (bench/results/survey.md).

    They allow the registrations that were separated in holds of 4 s at 30 dB:
    8+4+2⅔+2, 16+8+4, a cornet, a mixture of four rows, an open 8′ under a reed's octave. A pipe
    merged all the same is nearly in tune with what hides it, and can be walked alone.

    Attributes
    ----------
    most : int
        Most pipes in one hold.
    most_above : tuple of (float, int)
        For each fundamental [Hz], the most pipes at or above it in one hold.
    unison_cents : float
        Pipes whose targets are within this [cents] are drawn together only if their kinds separate
        them, and never three of them.
    most_apart_db : float
        Largest difference of usual loudness in one hold; a reed beside a stopped flute exceeds it.
    hidden_db : float
        A pipe whose partials all fall on another's must not usually be softer than it by more than
        this.
    most_hiders : int
        Most pipes that may each hide all of one pipe's partials. In an organ nearly in tune a pipe
        was read in 78 % of cases with one, 57 % with two, 29 % with three
        (bench/results/survey.md).
    wished : frozenset of frozenset of str
        Pairs of ranks that may sound together whatever the pair rules say.
    """

    most: int = 6
    most_above: tuple[tuple[float, int], ...] = ((1000.0, 4), (2000.0, 3))
    unison_cents: float = 60.0
    most_apart_db: float = 12.0
    hidden_db: float = 4.0
    most_hiders: int = 2
    wished: frozenset[frozenset[str]] = field(default_factory=frozenset)

    def why_not(self, voices: Sequence[Voice]) -> str | None:
        """Why these pipes cannot all be read in one hold; None if they can."""
        if len(voices) > self.most:
            return f"more than {self.most} pipes"
        for hz, most in self.most_above:
            if sum(voice.hz >= hz for voice in voices) > most:
                return f"more than {most} pipes above {hz:g} Hz"
        for i, one in enumerate(voices):
            for other in voices[i + 1 :]:
                why = self._why_not_both(one, other)
                if why is not None:
                    return why
            if sum(self._unison(one, other) for other in voices) > 2:
                return "three pipes of one pitch"
            hiders = sum(other is not one and _hides(other, one) for other in voices)
            if hiders > self.most_hiders:
                return f"one pipe hidden under {hiders} others"
        return None

    def _unison(self, one: Voice, other: Voice) -> bool:
        return abs(1200.0 * math.log2(one.hz / other.hz)) <= self.unison_cents

    def _why_not_both(self, one: Voice, other: Voice) -> str | None:
        if frozenset({one.pipe.rank, other.pipe.rank}) in self.wished:
            return None
        if one.is_celeste or other.is_celeste:
            return "a celeste is drawn alone"
        if self._unison(one, other) and not _differ_in_kind(one, other):
            return "two pipes of one pitch"
        if abs(one.usual_db - other.usual_db) > self.most_apart_db:
            return "a loud pipe over a soft one"
        for low, high in ((one, other), (other, one)):
            if _hides(low, high) and low.usual_db - high.usual_db > self.hidden_db:
                return "a soft pipe hidden in a louder one's partials"
        return None


_REED_SEPARABLE_HZ = 300.0  # measured: up to here there are enough partials


def _differ_in_kind(one: Voice, other: Voice) -> bool:
    """Whether their kinds of spectrum separate two unisons; measured (bench/results/survey.md)."""
    families = {one.family, other.family}
    if families == {Family.OPEN, Family.STOPPED}:
        return True
    return families == {Family.OPEN, Family.REED} and max(one.hz, other.hz) <= _REED_SEPARABLE_HZ


_HIDING_CENTS = 30.0  # a partial this near another counts as falling on it; chosen
_HIGHEST_PARTIAL = 16  # higher partials hide nothing; chosen


def _hides(low: Voice, high: Voice) -> bool:
    """Whether every partial of one falls on a partial of the other."""
    ratio = high.hz / low.hz
    nearest = round(ratio)
    if not 2 <= nearest <= _HIGHEST_PARTIAL:
        return False
    return abs(1200.0 * math.log2(ratio / nearest)) <= _HIDING_CENTS
