"""How much a pipe counts: its loudness, company, use and kind, and the tuner's changes.

A weight of 1 is an open flue pipe of average loudness in the middle of its keyboard that beats with
all its partials. The factors are multiplied. Tuners may disagree with a factor:
`walkboard.planning.reasons.explain` shows each pipe's factors, and `WeightChange` changes them by
stop, rank or pipe.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from walkboard.condition.kinds import Role
from walkboard.condition.state import PipeCents
from walkboard.errors import InputError
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.nearest import meant_instead
from walkboard.planning.arrays import FloatArray
from walkboard.planning.value.belief import PipeForecast
from walkboard.planning.value.company import Company, blended, company_of, levels_db
from walkboard.planning.value.company import ordinary as ordinary_registration
from walkboard.planning.value.cost import LIMITS as COST
from walkboard.planning.value.cost import heard_in_treble
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.ordinary import Purpose, drawn_use, key_use, played_range
from walkboard.planning.value.use import EventUse, exposures, registrations

# Loudness doubles with every 10 dB (the sone: Stevens 1936; ISO 532-1; from memory). Recordings
# differ in gain and place, so a level counts for at most a factor of two either way.
DB_TO_DOUBLE = 10.0
MOST_LOUD, MOST_SOFT = 2.0, 0.5

# A celeste is meant to beat, so its deviation is heard less: common practice, no source.
# Differences of other kinds, in partials, levels and company, are in the company's factor.
KIND_WEIGHTS: Mapping[Role, float] = MappingProxyType(
    {
        Role.UNISON: 1.0,
        Role.REED: 1.0,
        Role.MUTATION: 1.0,
        Role.MIXTURE: 1.0,
        Role.CELESTE: 0.4,
    }
)

# With an event, this share of a pipe's use is the event's; the rest is everything else the organ is
# played for until the next visit. Chosen.
EVENT_SHARE = 0.8
# The use of a pipe in an event goes with the square root of how long it is exposed, 1 at the mean
# of those that sound at all: the tenth bar of a sour note is not the tenth offence. Chosen.
MOST_USE = 2.0
MOST_FACTOR = 10.0  # largest manual change, either way


@dataclass(frozen=True, slots=True)
class Weight:
    """The factors of one pipe's weight [-] and their product.

    Attributes
    ----------
    level : float
        Loudness.
    register : float
        Ordinary use of its key; see `walkboard.planning.value.ordinary`.
    drawn : float
        Ordinary use of its rank.
    kind : float
    company : float
        How much of it is heard as beats.
    use : float or None
        With an event: usual and event's use together, replacing `register` and `drawn`.
    own : float
        The tuner's change.
    stray : float
        Cost of sticking out; not a factor of the weight.
    """

    level: float
    register: float
    kind: float
    company: float = 1.0
    use: float | None = None
    own: float = 1.0
    drawn: float = 1.0
    stray: float = 0.0

    @property
    def whole(self) -> float:
        """The pipe's weight."""
        use = self.register * self.drawn if self.use is None else self.use
        return self.level * use * self.kind * self.company * self.own


@dataclass(frozen=True, slots=True)
class WeightChange:
    """A weight changed by hand.

    Attributes
    ----------
    subject : str
        A stop's id, a rank's id, or a pipe as ``rank:number``.
    factor : float
        0.1 to 10; 0 leaves it out of the cost altogether.
    """

    subject: str
    factor: float

    def __post_init__(self) -> None:
        if self.factor != 0.0 and not 1.0 / MOST_FACTOR <= self.factor <= MOST_FACTOR:
            raise InputError(
                f"A weight cannot be changed by {self.factor:g}.",
                where=self.subject,
                fix="Give a factor from 0.1 to 10, or 0 to leave it out.",
            )


@dataclass(frozen=True, slots=True)
class Weights:
    """The factors of every pipe of the organ.

    Attributes
    ----------
    level, register, drawn, kind, company, own, stray : (pipes,) arrays
    use : (pipes,) array or None
        None without an event.
    beating_partial : (pipes,) array
        From `walkboard.planning.value.company.Company`.
    """

    level: FloatArray
    register: FloatArray
    drawn: FloatArray
    kind: FloatArray
    company: FloatArray
    own: FloatArray
    stray: FloatArray
    use: FloatArray | None
    beating_partial: FloatArray

    @property
    def whole(self) -> FloatArray:
        """Weight of every pipe."""
        use = self.register * self.drawn if self.use is None else self.use
        weight: FloatArray = self.level * use * self.kind * self.company * self.own
        return weight

    def at(self, place: int) -> Weight:
        """The factors of one pipe."""
        return Weight(
            float(self.level[place]),
            float(self.register[place]),
            float(self.kind[place]),
            float(self.company[place]),
            None if self.use is None else float(self.use[place]),
            float(self.own[place]),
            float(self.drawn[place]),
            float(self.stray[place]),
        )


def average_level_db(organ: Organ, pipes: Sequence[PipeCents | PipeForecast]) -> float | None:
    """Median level of the flues heard, else of all pipes heard; None if no level is known."""
    levels = [(p.level_db, organ.rank(p.pipe.rank).family_of(p.pipe.number).is_flue) for p in pipes]
    flues = [level for level, is_flue in levels if level is not None and is_flue]
    known = flues or [level for level, _ in levels if level is not None]
    return float(np.median(known)) if known else None


def weigh(
    layout: Layout,
    pipes: Sequence[PipeCents | PipeForecast],
    event: EventUse | None = None,
    changes: Sequence[WeightChange] = (),
    purpose: Purpose = Purpose.HYMNS,
) -> Weights:
    """Weight of every pipe of an organ.

    Parameters
    ----------
    layout : Layout
    pipes : sequence of PipeCents or PipeForecast
        Pipes with a known level count by it; others have average loudness.
    event : EventUse, optional
        The event the visit is for.
    changes : sequence of WeightChange
    purpose : Purpose
        What the organ mostly does.

    Raises
    ------
    InputError
        If a change names nothing in the organ.
    """
    average = average_level_db(layout.organ, pipes)
    known = {
        layout.place(p.pipe): p.level_db - average
        for p in pipes
        if p.level_db is not None and average is not None
    }
    level = np.ones(len(layout.semitone))
    if known:
        places = np.fromiter(known, dtype=np.int64)
        above = np.fromiter(known.values(), dtype=np.float64)
        level[places] = np.clip(2.0 ** (above / DB_TO_DOUBLE), MOST_SOFT, MOST_LOUD)
    register, drawn = key_use(layout, purpose), drawn_use(layout, purpose)
    loudness = levels_db(layout, known)
    company = company_of(layout, loudness, ordinary_registration(layout))
    own = own_factors(layout, changes)
    stray = COST.stray_badness * played_range(layout) * own
    use = None
    if event is not None and event.registrations:
        use, company = _for_event(layout, event, (register, drawn), loudness, company)
        sounds = use > (1.0 - EVENT_SHARE) * register * drawn
        stray = stray * np.where(sounds, 1.0, 1.0 - EVENT_SHARE)
    partial = company.beating_partial
    kinds = np.array([KIND_WEIGHTS[layout.role[rank.id]] for rank in layout.organ.ranks])
    return Weights(
        level=level,
        register=register,
        drawn=drawn,
        kind=kinds[layout.rank_of],
        company=company.factor * heard_in_treble(layout.nominal_hz * partial),
        own=own,
        stray=stray,
        use=use,
        beating_partial=partial,
    )


def own_factors(layout: Layout, changes: Sequence[WeightChange]) -> FloatArray:
    """Factor of the tuner's changes for every pipe; several are multiplied."""
    own = np.ones(len(layout.semitone))
    for change in changes:
        own[places_named(layout, change.subject)] *= change.factor
    return own


def places_named(layout: Layout, subject: str) -> list[int]:
    """Indices of the pipes of a stop, a rank or ``rank:number``.

    Raises
    ------
    InputError
        If the organ has neither.
    """
    organ = layout.organ
    if any(stop.id == subject for stop in organ.stops):
        found: dict[int, None] = {}
        for plays in organ.stop(subject).plays:
            before = layout.starts[plays.rank] - 1
            found.update(dict.fromkeys(before + number for _, number in plays.sounds()))
        return list(found)
    if subject in layout.starts:
        rank = organ.rank(subject)
        return list(range(layout.starts[subject], layout.starts[subject] + rank.pipes))
    rank_id, colon, number = subject.rpartition(":")
    if colon and rank_id in layout.starts and number.isdecimal():
        pipe = PipeRef.parse(subject)
        if pipe.number <= organ.rank(rank_id).pipes:
            return [layout.place(pipe)]
    raise InputError(
        f"The organ has no stop, rank or pipe {subject!r}.",
        fix=meant_instead(
            subject,
            organ.names_of_pipes(),
            "Write a stop's or a rank's id, or a pipe as rank:number.",
        ),
    )


def _for_event(
    layout: Layout,
    event: EventUse,
    ordinary: tuple[FloatArray, FloatArray],
    loudness: FloatArray,
    company: Company,
) -> tuple[FloatArray, Company]:
    """Use and company of every pipe with an event in view; `ordinary` is use of keys and ranks."""
    register, usual = ordinary[0], ordinary[0] * ordinary[1]
    exposed = exposures(layout, event, register)  # (registrations, pipes)
    total = exposed.sum(axis=0)
    mean = float(total[total > 0.0].mean()) if (total > 0.0).any() else 1.0
    used = np.minimum(np.sqrt(total / mean), MOST_USE)
    share = exposed / np.maximum(total, 1e-300)
    companies = [company, *(company_of(layout, loudness, r) for r in registrations(layout, event))]
    weights = [(1.0 - EVENT_SHARE) * usual, *(EVENT_SHARE * used * share)]
    use = (1.0 - EVENT_SHARE) * usual + EVENT_SHARE * used
    return use, blended(companies, weights)
