"""Which of two pipes in near unison is which, from all that is known of them, and how sure.

A hold with both gives two places and two spectra but no names. Evidence for the names:

* the spectra and levels of the two, compared with the ranks' other holds in the walk, the pipes
  heard alone, and the kinds of pipe (`naming_along`); with only this one hold, the odds from
  listening;
* where a pipe was when it sounded alone;
* where its rank's neighbours are: ranks move together.

Each gives odds; these are multiplied as if independent, and each is capped so that an outlier does
not decide alone. The scatters are stated below.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from walkboard.listening.readings import Bound, Either, Measured, bounded, flagged, measured
from walkboard.listening.types import ReadingFlag
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.quantities import cents_of_ratio
from walkboard.survey.hear.heard_walk import HeardWalk, Reading
from walkboard.survey.hear.memory import Memory
from walkboard.survey.hear.names import odds_along
from walkboard.survey.hear.unison_pairs import (
    either_of,
    heard_alone,
    named_pairs_of,
    pair_heard,
    pairs_of,
)

SURE = 0.98  # probability from which a name is given
_DOUBTED = 0.5  # probability below which listening's name is withdrawn; derived
_MOST_ODDS = 6.0  # cap on one kind of evidence, log odds: 400 to 1
_UNSTEADY_CENTS = 0.5  # between holds: thirds of one recorded real note differ by this much
_LEAST_SPREAD_CENTS = 0.7  # scatter of a rank about its neighbours; chosen
_LEAST_NEIGHBOURS = 3


@dataclass(frozen=True, slots=True)
class Evidence:
    """Evidence for the names as given, as log odds; negative for swapped names.

    Attributes
    ----------
    spectra, alone, neighbours : float
        From levels and partials, from where the pipes were alone, from their ranks.
    """

    spectra: float = 0.0
    alone: float = 0.0
    neighbours: float = 0.0

    @property
    def odds(self) -> float:
        """The sum, each part capped."""
        parts = (self.spectra, self.alone, self.neighbours)
        return sum(min(max(part, -_MOST_ODDS), _MOST_ODDS) for part in parts)

    @property
    def sureness(self) -> float:
        """Probability that the names as given are right."""
        return 1.0 / (1.0 + math.exp(-self.odds))


def name_pipes(organ: Organ, walk: HeardWalk, memory: Memory) -> HeardWalk:
    """The walk with near unisons named wherever the evidence together makes the names sure.

    Parameters
    ----------
    organ : Organ
    walk : HeardWalk
    memory : Memory
        Pipes from holds in which they sounded without each other; may include this walk's own.
    """

    def target(pipe: PipeRef) -> float:
        return target_hz(organ, pipe, walk.air_celsius)

    spectra = _by_spectra(organ, walk, memory, target)
    holds = []
    for at, hold in enumerate(walk.holds):
        readings = list(hold.readings)
        for i, j in pairs_of(hold):
            evidence = weigh(readings[i], readings[j], spectra[at, i, j], memory, target)
            readings[i], readings[j] = name_pair(readings[i], readings[j], evidence, target)
        for i, j in named_pairs_of(hold):
            evidence = weigh(readings[i], readings[j], spectra[at, i, j], memory, target)
            if evidence.sureness < _DOUBTED:
                sureness = evidence.sureness
                readings[i], readings[j] = _unnamed(readings[i], readings[j], sureness)
        holds.append(replace(hold, readings=tuple(readings)))
    return replace(walk, holds=tuple(holds))


def _by_spectra(
    organ: Organ, walk: HeardWalk, memory: Memory, target: Callable[[PipeRef], float]
) -> dict[tuple[int, int, int], float]:
    """Odds from the spectra for each pair of the walk, by (hold, reading, reading)."""
    by_ranks: dict[tuple[str, str], list[tuple[int, int, int]]] = {}
    for at, hold in enumerate(walk.holds):
        for i, j in (*pairs_of(hold), *named_pairs_of(hold)):
            ranks = hold.readings[i].pipe.rank, hold.readings[j].pipe.rank
            by_ranks.setdefault(ranks, []).append((at, i, j))
    odds: dict[tuple[int, int, int], float] = {}
    for ranks, places in by_ranks.items():
        pairs = heard_alone(organ, target, memory, ranks)
        before = len(pairs)
        for at, i, j in places:
            one, other = walk.holds[at].readings[i], walk.holds[at].readings[j]
            known = weigh(one, other, 0.0, memory, target).odds
            pairs.append(pair_heard(organ, target, one, other, known))
        along = odds_along(pairs)[before:]
        if len(pairs) == 1:
            at, i, _ = places[0]
            along = [_of_listening(walk.holds[at].readings[i])]
        odds |= dict(zip(places, along, strict=True))
    return odds


def _of_listening(reading: Reading) -> float:
    if reading.name_sureness is None:
        return 0.0
    held = min(max(reading.name_sureness, 1e-9), 1.0 - 1e-9)
    return math.log(held / (1.0 - held))


def _unnamed(one: Reading, other: Reading, sureness: float) -> tuple[Reading, Reading]:
    """Two readings whose names the walk contradicts: both places, neither named."""
    if not isinstance(one, Measured) or not isinstance(other, Measured):
        return one, other
    sigmas = one.sigma_cents, other.sigma_cents
    within_cents = 0.5 * abs(cents_of_ratio(one.hz / other.hz)) + 2.0 * max(sigmas)
    places = one.hz, other.hz

    def taken_back(reading: Reading, order: int) -> Reading:
        either = Either((places[order], places[1 - order]), (sigmas[order], sigmas[1 - order]))
        bound = Bound(math.sqrt(places[0] * places[1]), within_cents, either)
        unsure = replace(flagged(reading, ReadingFlag.MERGED), name_sureness=sureness)
        return bounded(unsure, bound)

    return taken_back(one, 0), taken_back(other, 1)


def name_pair(
    one: Reading, other: Reading, evidence: Evidence, target: Callable[[PipeRef], float]
) -> tuple[Reading, Reading]:
    """Two readings that share two places: each at its own if that is sure, else unnamed.

    Unnamed ones have the more likely place first, and its probability.

    Parameters
    ----------
    target : callable
        A pipe's target [Hz].
    """
    either = either_of(one)
    if either is None:
        return one, other
    places = list(zip(either.hz, either.sigma_cents, strict=True))
    spectra = [(one.level_db, one.partials), (other.level_db, other.partials)]
    sureness = evidence.sureness
    if sureness < 0.5:
        places.reverse()
        spectra.reverse()
        sureness = 1.0 - sureness
    likelier = []
    for order, reading in enumerate((one, other)):
        hz, sigma_cents = places[order]
        level_db, partials = spectra[order]
        heard = replace(reading, level_db=level_db, partials=partials, name_sureness=sureness)
        if sureness >= SURE:
            flags = tuple(flag for flag in reading.flags if flag is not ReadingFlag.MERGED)
            heard = measured(
                replace(heard, flags=flags),
                hz=hz,
                sigma_cents=sigma_cents,
                cents=cents_of_ratio(hz / target(reading.pipe)),
            )
        elif heard.bound_or_none is not None:
            mate_hz, mate_sigma_cents = places[1 - order]
            both = Either((hz, mate_hz), (sigma_cents, mate_sigma_cents))
            heard = bounded(heard, replace(heard.bound_or_none, either=both))
        likelier.append(heard)
    return likelier[0], likelier[1]


def weigh(
    one: Reading,
    other: Reading,
    spectra: float,
    memory: Memory,
    target: Callable[[PipeRef], float],
) -> Evidence:
    """Evidence for the two names as given, apart from the spectra."""
    places = _places(one, other)
    if places is None:
        return Evidence()
    first, second, sigma = places
    alone = neighbours = 0.0
    for pipe, here, there in ((one.pipe, first, second), (other.pipe, second, first)):
        known = memory.alone.get(pipe)
        if known is not None and known.name_sureness is None:
            spread = math.hypot(sigma, known.sigma_cents, _UNSTEADY_CENTS)
            alone += _nearer(here / known.hz, there / known.hz, 0.0, spread)
        else:
            due = target(pipe)
            neighbours += _by_neighbours(memory, pipe, here / due, there / due)
    return Evidence(spectra, alone, neighbours)


def _places(one: Reading, other: Reading) -> tuple[float, float, float] | None:
    """Where the two are as named, and the larger sigma [cents]."""
    either = either_of(one)
    if either is not None:
        return (*either.hz, max(either.sigma_cents))
    if not isinstance(one, Measured) or not isinstance(other, Measured):
        return None
    return one.hz, other.hz, max(one.sigma_cents, other.sigma_cents)


def _nearer(here: float, there: float, due_cents: float, spread_cents: float) -> float:
    """Log odds that a pipe is here and not there, both as ratios to its expected place."""
    away = [(cents_of_ratio(ratio) - due_cents) / spread_cents for ratio in (here, there)]
    # Wide tails (Student's t of 4): pipes slip.
    return 2.5 * (math.log1p(away[1] ** 2 / 4.0) - math.log1p(away[0] ** 2 / 4.0))


def _by_neighbours(memory: Memory, pipe: PipeRef, here: float, there: float) -> float:
    cents = [r.cents for r in memory.neighbours(pipe)]
    if len(cents) < _LEAST_NEIGHBOURS:
        return 0.0
    middle = float(np.median(cents))
    spread = 1.4826 * float(np.median(np.abs(np.array(cents) - middle)))
    spread = math.hypot(max(spread, _LEAST_SPREAD_CENTS), spread / math.sqrt(len(cents)))
    return _nearer(here, there, middle, spread)
