"""One pipe: its readings over the visits, its targets, and how it beats with its neighbours."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from walkboard.book.records import KeptOrgan, KeptReading, KeptVisit, Tick
from walkboard.condition.state import PipeCents
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.organ.years import names_over_years
from walkboard.quantities import ratio_of_cents
from walkboard.scales.beats import beat_of_frequencies, pure_ratio
from walkboard.scales.keys import Key
from walkboard.work.snapshot import described, organ_at, pipe_cents

if TYPE_CHECKING:
    from walkboard.book.cache.seen import SeenBook

_INTERVALS = (-12, -7, -5, -4, 4, 5, 7, 12)  # that a tuner checks by: third, fourth, fifth, octave
_MOST_BEATS_HZ = 20.0  # faster is heard as roughness, not counted


@dataclass(frozen=True, slots=True)
class PipeAtVisit:
    """A pipe at one visit.

    Attributes
    ----------
    visit : KeptVisit
    readings : tuple of KeptReading
        Current readings, in the order in which they sounded.
    tick : Tick or None
    """

    visit: KeptVisit
    readings: tuple[KeptReading, ...]
    tick: Tick | None


@dataclass(frozen=True, slots=True)
class Neighbour:
    """How a pipe beats with another.

    Attributes
    ----------
    pipe : PipeRef
    key : Key
        The key its rank plays it at.
    semitones : int
        From the pipe to it; negative is below.
    heard_hz : float
        Beats a second from both readings [Hz]; positive if the interval is wide.
    wanted_hz : float
        Beats a second at their targets [Hz].
    """

    pipe: PipeRef
    key: Key
    semitones: int
    heard_hz: float
    wanted_hz: float


def history(book: SeenBook, kept: KeptOrgan, pipe: PipeRef) -> tuple[PipeAtVisit, ...]:
    """A pipe over the visits that heard or ticked it, newest first.

    If its rank was moved, earlier visits are looked up under its old name; if it was replaced, they
    belong to another pipe and are left out.
    """
    visits = book.visits(kept.id)
    names = names_over_years(read_organ(kept.description), pipe)
    name_at: dict[int, PipeRef] = {}
    for visit in visits:
        for name, since in names:
            if since is None or visit.opened_at.year >= since:
                name_at[visit.id] = name
                break
    of_visit: dict[int, list[KeptReading]] = {}
    ticks: dict[int, Tick] = {}
    for name, _ in names:
        states = book.states_of_pipe(kept.id, name).items()
        ticks |= {visit_id: tick for visit_id, tick in states if name_at.get(visit_id) == name}
        for reading in book.readings_of_pipe(kept.id, name):
            if name_at.get(reading.visit_id) == name:
                of_visit.setdefault(reading.visit_id, []).append(reading)
    found: list[PipeAtVisit] = []
    for visit in reversed(visits):
        if visit.id in of_visit or visit.id in ticks:
            of_it = tuple(of_visit.get(visit.id, ()))
            found.append(PipeAtVisit(visit, of_it, ticks.get(visit.id)))
    return tuple(found)


def neighbours(
    book: SeenBook, kept: KeptOrgan, visit: KeptVisit, pipe: PipeRef
) -> tuple[Neighbour, ...]:
    """The beats of a pipe with the pipes of its rank used for checking.

    Both pipes must have been measured at the visit; each was measured alone, so these are the beats
    they would make together, in the air of their readings.
    """
    organ, pipes = organ_at(book, visit), pipe_cents(book, visit)
    rank = organ.rank(pipe.rank)
    found: list[Neighbour] = []
    for semitones in _INTERVALS:
        other = pipe.number + semitones
        if not 1 <= other <= described(book, kept).rank(pipe.rank).pipes:
            continue
        neighbour = PipeRef(pipe.rank, other)
        if rank.multiple_of(pipe.number) != rank.multiple_of(other):
            continue  # a mixture breaks between them
        heard, wanted = _hz(organ, pipes, pipe), _hz(organ, pipes, neighbour)
        if heard is None or wanted is None:
            continue
        beat = _beat(semitones, heard[0], wanted[0])
        if abs(beat) <= _MOST_BEATS_HZ:
            found.append(
                Neighbour(
                    neighbour,
                    rank.key_of(other),
                    semitones,
                    beat,
                    _beat(semitones, heard[1], wanted[1]),
                )
            )
    return tuple(found)


def companions(book: SeenBook, visit: KeptVisit, pipe: PipeRef) -> tuple[Neighbour, ...]:
    """The beats of a pipe with those of the same key on other ranks of its division.

    As `neighbours`; the interval is that of the ranks' feet, so it should be pure, celestes apart.
    """
    organ, pipes = organ_at(book, visit), pipe_cents(book, visit)
    rank = organ.rank(pipe.rank)
    key, own = rank.key_of(pipe.number), _hz(organ, pipes, pipe)
    found: list[Neighbour] = []
    for other in organ.ranks:
        number = other.number_at(key)
        if other.id == rank.id or other.division != rank.division:
            continue
        if number is None or own is None:
            continue
        companion = PipeRef(other.id, number)
        theirs = _hz(organ, pipes, companion)
        if theirs is None:
            continue
        mine, hers = rank.multiple_of(pipe.number), other.multiple_of(number)
        beats = [
            beat_of_frequencies(a, b, hers / mine).beat_hz
            if hers >= mine
            else beat_of_frequencies(b, a, mine / hers).beat_hz
            for a, b in zip(own, theirs, strict=True)
        ]
        if abs(beats[0]) <= _MOST_BEATS_HZ:
            found.append(Neighbour(companion, key, 0, beats[0], beats[1]))
    return tuple(found)


def _beat(semitones: int, own_hz: float, other_hz: float) -> float:
    lower, upper = (own_hz, other_hz) if semitones > 0 else (other_hz, own_hz)
    return beat_of_frequencies(lower, upper, pure_ratio(abs(semitones))).beat_hz


def _hz(
    organ: Organ, pipes: Mapping[PipeRef, PipeCents], pipe: PipeRef
) -> tuple[float, float] | None:
    """A pipe's pitch and its target, both in the air of its reading [Hz]."""
    standing_at = pipes.get(pipe)
    if standing_at is None:
        return None
    should = target_hz(organ, pipe, standing_at.air_celsius)
    return should * ratio_of_cents(standing_at.cents), should
