"""Builds the frozen organ from a description that was found to be without fault."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from walkboard.organ.description import (
    BreakTable,
    Description,
    DivisionTable,
    PlaysTable,
    RankTable,
    StopTable,
    TemperamentTable,
)
from walkboard.organ.model import Chest, Division, Organ, Pitch, Plays, Rank, Stop
from walkboard.scales.harmonics import multiple_of_feet, multiple_of_interval
from walkboard.scales.keys import Key
from walkboard.scales.temperament import Temperament, from_fifths, known


def build_organ(description: Description) -> Organ:
    """The organ of a description that `walkboard.organ.checking` found no fault in."""
    divisions = {d.id: build_division(d) for d in description.division}
    ranks = {r.id: build_rank(r, divisions[r.division]) for r in description.rank}
    spans = {r.id: Span(r.id, r.division, r.from_key, r.pipes) for r in ranks.values()}
    tables = [*description.stop, *stops_of_their_own(description)]
    return Organ(
        name=description.name.strip(),
        pitch=Pitch(description.pitch.a4_hz, description.pitch.at_celsius),
        temperament=build_temperament(description.temperament),
        divisions=tuple(divisions.values()),
        chests=_chests(description, ranks),
        ranks=tuple(ranks.values()),
        stops=tuple(_build_stop(s, divisions[s.division], spans) for s in tables),
        travel_minutes=MappingProxyType(
            {
                pair: way.minutes
                for way in description.travel
                for pair in ((way.from_chest, way.to_chest), (way.to_chest, way.from_chest))
            }
        ),
    )


def build_temperament(given: str | TemperamentTable) -> Temperament:
    """Temperament of a name or of a table of fifths."""
    return known(given) if isinstance(given, str) else from_fifths(given.name, given.fifths)


def build_division(table: DivisionTable) -> Division:
    """Division of its table."""
    return Division(
        table.id, table.name.strip(), table.keys, Key.parse(table.lowest), table.enclosed
    )


def build_rank(table: RankTable, division: Division) -> Rank:
    """Rank of its table."""
    from_key = division.lowest if table.from_key is None else Key.parse(table.from_key)
    if table.feet is not None:
        multiples: tuple[tuple[Key, Fraction], ...] = ((from_key, multiple_of_feet(table.feet)),)
    else:
        multiples = tuple((Key.parse(b.from_key), _multiple(b)) for b in table.breaks or ())
    return Rank(
        id=table.id,
        division=table.division,
        name=table.name.strip(),
        chest=table.chest or table.division,
        family=table.family,
        tuned_by=table.tuned_by,
        from_key=from_key,
        pipes=table.pipes,
        multiples=multiples,
        minutes=table.minutes,
        celeste_beats_hz=table.beats,
        wind_mm=table.wind_mm,
        historic=table.historic,
        diameters_mm=_by_pipe(table.diameter_mm),
        tongues_mm=_by_pipe(table.tongue_mm),
    )


def stops_of_their_own(description: Description) -> list[StopTable]:
    """A stop for each rank that no stop names, in the order of the file."""
    played = {plays.rank for stop in description.stop for plays in stop.plays}
    return [
        StopTable(id=r.id, name=r.name, division=r.division, plays=[PlaysTable(rank=r.id)])
        for r in description.rank
        if r.id not in played
    ]


@dataclass(frozen=True, slots=True)
class Span:
    """The keys that a rank's own pipes stand for.

    Attributes
    ----------
    rank, division : str
    from_key : Key
    pipes : int
    """

    rank: str
    division: str
    from_key: Key
    pipes: int


def first_key(table: PlaysTable, division: Division, span: Span) -> Key:
    """The lowest key at which a stop sounds a rank.

    Told by ``from``; else the division's lowest key, or the rank's own first key where that is
    higher and either the rank is the division's own or the stop plays it at the rank's own keys.
    """
    if table.from_key is not None:
        return Key.parse(table.from_key)
    if span.division == division.id or table.first_pipe is None:
        return max(division.lowest, span.from_key)
    return division.lowest


def build_plays(table: PlaysTable, division: Division, span: Span) -> Plays:
    """What a stop of a division draws from a rank, clipped to the keys and pipes there are."""
    low = first_key(table, division, span)
    first = table.first_pipe
    if first is None:
        first = low.semitone - span.from_key.semitone + 1
    if table.to_key is not None:
        high = Key.parse(table.to_key)
    else:
        last = low.semitone + span.pipes - first
        high = Key(min(division.highest.semitone, last))
    return Plays(span.rank, low, high, first)


def _build_stop(table: StopTable, division: Division, spans: dict[str, Span]) -> Stop:
    plays = tuple(build_plays(p, division, spans[p.rank]) for p in table.plays)
    return Stop(table.id, table.name.strip(), table.division, plays)


def _chests(description: Description, ranks: dict[str, Rank]) -> tuple[Chest, ...]:
    named = {c.id: Chest(c.id, c.division, c.minutes) for c in description.chest}
    for rank in ranks.values():
        named.setdefault(rank.chest, Chest(rank.chest, rank.division))
    return tuple(named.values())


def _multiple(table: BreakTable) -> Fraction:
    if table.feet is not None:
        return multiple_of_feet(table.feet)
    assert table.interval is not None  # one of the two is there: checked
    return multiple_of_interval(table.interval)


def _by_pipe(table: dict[str, float]) -> MappingProxyType[int, float]:
    return MappingProxyType({int(number): mm for number, mm in table.items()})
