"""Which of two pipes in near unison is which, from all that is known of them, and how sure.

A hold with both gives two places and two spectra but no names. What tells:

* the spectra against what is remembered of the two pipes, else against their kinds (the odds that
  listening gives);
* where a pipe stood when it sounded alone;
* how loud it was alone, beside the other;
* where its rank's neighbours stand: ranks move together.

Each speaks as odds; they are multiplied, as if independent, and each is capped so that none decides
by itself when it is far out. The scatters are stated below.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from walkboard.listening.heard import Comb, ReadingFlag
from walkboard.listening.joint_labels import odds_as_named
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.quantities import cents_of_ratio
from walkboard.survey.heard import HeardWalk, Hold, Reading
from walkboard.survey.remembering import Memory

SURE = 0.98  # probability from which a name is given
_MOST_ODDS = 6.0  # of one kind of evidence, logarithm: 400 to 1
_UNSTEADY_CENTS = 0.5  # from hold to hold: thirds of a recorded real note differ by so much
_LEVEL_DB = 6.0  # of a difference of two pipes' levels, from hold to hold; own choice
_LEAST_SPREAD_CENTS = 0.7  # of a rank about its neighbours; own choice
_LEAST_NEIGHBOURS = 3


@dataclass(frozen=True, slots=True)
class Evidence:
    """What speaks for the names as given, as logarithms of odds; negative: for crosswise.

    Attributes
    ----------
    spectrum, alone, level, neighbours : float
        From the partials, from where the pipes stood alone, from their levels, from their ranks.
    """

    spectrum: float = 0.0
    alone: float = 0.0
    level: float = 0.0
    neighbours: float = 0.0

    @property
    def odds(self) -> float:
        """All together, each capped."""
        parts = (self.spectrum, self.alone, self.level, self.neighbours)
        return sum(min(max(part, -_MOST_ODDS), _MOST_ODDS) for part in parts)

    @property
    def sureness(self) -> float:
        """Probability that the names as given are right."""
        return 1.0 / (1.0 + math.exp(-self.odds))


def name_pipes(organ: Organ, walk: HeardWalk, memory: Memory) -> HeardWalk:
    """The walk with names given to near unisons wherever all evidence together makes them sure.

    Parameters
    ----------
    organ : Organ
    walk : HeardWalk
    memory : Memory
        From holds in which they sounded without each other; this walk's own may be among them.
    """

    def target(pipe: PipeRef) -> float:
        return target_hz(organ, pipe, walk.air_celsius)

    holds = []
    for hold in walk.holds:
        readings = list(hold.readings)
        for i, j in pairs_of(hold):
            readings[i], readings[j] = name_pair(readings[i], readings[j], memory, target)
        holds.append(replace(hold, readings=tuple(readings)))
    return replace(walk, holds=tuple(holds))


def pairs_of(hold: Hold) -> list[tuple[int, int]]:
    """Readings of a hold that share two places."""
    found = []
    for i, one in enumerate(hold.readings):
        for j in range(i + 1, len(hold.readings)):
            other = hold.readings[j]
            if one.either_hz is not None and one.either_hz[::-1] == other.either_hz:
                found.append((i, j))
    return found


def name_pair(
    one: Reading, other: Reading, memory: Memory, target: Callable[[PipeRef], float]
) -> tuple[Reading, Reading]:
    """Two readings that share two places, each at its own where that is sure, else as they were.

    Parameters
    ----------
    target : callable
        A pipe's target [Hz].
    """
    evidence = weigh(one, other, memory, target)
    if one.either_hz is None or one.either_sigma_cents is None:
        return one, other
    if max(evidence.sureness, 1.0 - evidence.sureness) < SURE:
        return one, other
    places = list(zip(one.either_hz, one.either_sigma_cents, strict=True))
    spectra = [(one.level_db, one.partials), (other.level_db, other.partials)]
    sureness = evidence.sureness
    if sureness < 0.5:
        places.reverse()
        spectra.reverse()
        sureness = 1.0 - sureness
    named = []
    for reading, (hz, sigma_cents), (level_db, partials) in zip(
        (one, other), places, spectra, strict=True
    ):
        named.append(
            replace(
                reading,
                hz=hz,
                sigma_cents=sigma_cents,
                cents=cents_of_ratio(hz / target(reading.pipe)),
                level_db=level_db,
                partials=partials,
                flags=tuple(flag for flag in reading.flags if flag is not ReadingFlag.MERGED),
                name_sureness=sureness,
            )
        )
    return named[0], named[1]


def weigh(
    one: Reading, other: Reading, memory: Memory, target: Callable[[PipeRef], float]
) -> Evidence:
    """What speaks for the two names as given."""
    if one.either_hz is None or one.either_sigma_cents is None:
        return Evidence()
    first, second = one.either_hz
    sigma = max(one.either_sigma_cents)
    alone = neighbours = 0.0
    for pipe, here, there in ((one.pipe, first, second), (other.pipe, second, first)):
        known = memory.alone.get(pipe)
        if known is not None and known.hz is not None:
            spread = math.hypot(sigma, known.sigma_cents or 0.0, _UNSTEADY_CENTS)
            alone += _nearer(here / known.hz, there / known.hz, 0.0, spread)
        else:
            due = target(pipe)
            neighbours += _by_neighbours(memory, pipe, here / due, there / due)
    spectrum = _by_spectrum(one, other, memory)
    return Evidence(spectrum, alone, _by_level(one, other, memory), neighbours)


def _nearer(here: float, there: float, due_cents: float, spread_cents: float) -> float:
    """Logarithm of the odds that a pipe stands here and not there, as ratios to its due place."""
    away = [(cents_of_ratio(ratio) - due_cents) / spread_cents for ratio in (here, there)]
    # Wide tails (Student's t of 4): pipes slip.
    return 2.5 * (math.log1p(away[1] ** 2 / 4.0) - math.log1p(away[0] ** 2 / 4.0))


def _by_neighbours(memory: Memory, pipe: PipeRef, here: float, there: float) -> float:
    cents = [r.cents for r in memory.near(pipe, itself=False) if r.cents is not None]
    if len(cents) < _LEAST_NEIGHBOURS:
        return 0.0
    middle = float(np.median(cents))
    spread = 1.4826 * float(np.median(np.abs(np.array(cents) - middle)))
    spread = math.hypot(max(spread, _LEAST_SPREAD_CENTS), spread / math.sqrt(len(cents)))
    return _nearer(here, there, middle, spread)


def _by_level(one: Reading, other: Reading, memory: Memory) -> float:
    due = memory.level_db(one.pipe), memory.level_db(other.pipe)
    heard = one.level_db, other.level_db
    if None in due or None in heard:
        return 0.0
    return 2.0 * _apart(due) * _apart(heard) / _LEVEL_DB**2


def _apart(levels_db: Sequence[float | None]) -> float:
    return (levels_db[0] or 0.0) - (levels_db[1] or 0.0)


def _by_spectrum(one: Reading, other: Reading, memory: Memory) -> float:
    """From remembered partials of both, else what listening made of their kinds."""
    due = memory.partials_db(one.pipe), memory.partials_db(other.pipe)
    if due[0] is not None and due[1] is not None and one.partials and other.partials:
        combs = [
            Comb(str(reading.pipe), 440.0, levels_db=levels)
            for reading, levels in zip((one, other), due, strict=True)
        ]
        heard = [{p.number: p.level_db for p in reading.partials} for reading in (one, other)]
        return odds_as_named(combs[0], combs[1], heard[0], heard[1])
    if one.name_sureness is None:
        return 0.0
    held = min(max(one.name_sureness, 1e-9), 1.0 - 1e-9)
    return math.log(held / (1.0 - held))
