"""Which pipes may sound in one hold: the rules by which a survey is drawn, in one place.

Limits by register and on unisons follow what the joint measurement was measured to separate
(bench/results/survey.md); figures of loudness are our chosen. Anything that answers
`Separability.why_not` can be given to the planner.
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
"""Loudness of a family beside an open flue of the same wind [dB]; chosen, to be measured."""

USUAL_WIND_MM = 90.0  # of the families above; a rank's own wind adds 20·log10 of its ratio to this


@dataclass(frozen=True, slots=True)
class Voice:
    """One pipe as far as its separation from others goes.

    Attributes
    ----------
    pipe : PipeRef
    hz : float
        Its target at the organ's own pitch temperature [Hz].
    family : Family
    usual_db : float
        How loud such a pipe usually is, beside an open flue [dB].
    is_celeste : bool
        Whether it stands off pitch on purpose.
    """

    pipe: PipeRef
    hz: float
    family: Family
    usual_db: float
    is_celeste: bool = False


class Separability(Protocol):
    """What a measurement can separate in one hold.

    An answer must be monotone: what may not sound together may not with more pipes added.
    """

    def why_not(self, voices: Sequence[Voice]) -> str | None:
        """Why these pipes cannot all be read in one hold, in a few words; None where they can."""


def voices_of(organ: Organ, pipes: Sequence[PipeRef]) -> tuple[Voice, ...]:
    """What the rules need to know of these pipes."""
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

    What is allowed by them holds the registrations that were separated in holds of 4 s at 30 dB:
    8+4+2⅔+2, 16+8+4, a cornet, a mixture of four rows, an open 8′ under a reed's octave. What is
    merged all the same is nearly in tune with what it hides under, and can be walked alone.

    Attributes
    ----------
    most : int
        Pipes in one hold.
    most_above : tuple of (float, int)
        From a fundamental [Hz] upward, the most pipes that stand so high in one hold.
    unison_cents : float
        Pipes whose targets lie within this [cents] are drawn together only where their kinds
        separate them, and never three of them.
    most_apart_db : float
        Greatest difference of usual loudness in one hold; a reed beside a stopped flute is more.
    hidden_db : float
        A pipe all of whose partials fall on another's must not usually be softer than that one by
        more than this.
    most_hiders : int
        Pipes under which one pipe's partials may all be hidden. In an organ nearly in tune a pipe
        was read in 78 % with one such, 57 % with two, 29 % with three (bench/results/survey.md).
    wished : frozenset of frozenset of str
        Pairs of ranks that may sound together whatever the rules of pairs say.
    """

    most: int = 6
    most_above: tuple[tuple[float, int], ...] = ((1000.0, 4), (2000.0, 3))
    unison_cents: float = 60.0
    most_apart_db: float = 12.0
    hidden_db: float = 4.0
    most_hiders: int = 2
    wished: frozenset[frozenset[str]] = field(default_factory=frozenset)

    def why_not(self, voices: Sequence[Voice]) -> str | None:
        """Why these pipes cannot all be read in one hold; None where they can."""
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


_REED_SEPARABLE_HZ = 300.0  # measured: enough partials up to here


def _differ_in_kind(one: Voice, other: Voice) -> bool:
    """Whether the kinds of their spectra name two unisons; measured (bench/results/survey.md)."""
    families = {one.family, other.family}
    if families == {Family.OPEN, Family.STOPPED}:
        return True
    return families == {Family.OPEN, Family.REED} and max(one.hz, other.hz) <= _REED_SEPARABLE_HZ


_HIDING_CENTS = 30.0  # within which a partial counts as falling on another; chosen
_HIGHEST_PARTIAL = 16  # beyond which a partial hides nothing; chosen


def _hides(low: Voice, high: Voice) -> bool:
    """Whether every partial of the one falls on a partial of the other."""
    ratio = high.hz / low.hz
    nearest = round(ratio)
    if not 2 <= nearest <= _HIGHEST_PARTIAL:
        return False
    return abs(1200.0 * math.log2(ratio / nearest)) <= _HIDING_CENTS
