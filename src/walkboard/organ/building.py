"""Builds the frozen organ from a description that passed all checks."""

from __future__ import annotations

from fractions import Fraction
from types import MappingProxyType

from walkboard.organ.building_stops import Span, build_plays
from walkboard.organ.console import Coupler, Toy, Tremulant
from walkboard.organ.description import (
    CouplerTable,
    Description,
    DivisionTable,
    OrganTable,
    PlaysTable,
    StopTable,
    TemperamentTable,
)
from walkboard.organ.keyboards import is_regular, keyboard, rank_keys
from walkboard.organ.kinds import Celeste, Change, ChestLayout, Part
from walkboard.organ.model import Chest, Division, Instrument, Organ, Pitch, Rank, Stop
from walkboard.organ.rank_tables import BreakTable, RankTable
from walkboard.scales.harmonics import multiple_of_feet, multiple_of_interval
from walkboard.scales.keys import Key
from walkboard.scales.temperament import Temperament, from_fifths, known


def build_organ(description: Description) -> Organ:
    """The organ of a description that passed `walkboard.organ.checking`."""
    divisions = {d.id: build_division(d) for d in description.division}
    ranks = {r.id: build_rank(r, divisions[r.division]) for r in description.rank}
    spans = {r.id: Span(r.id, r.division, r.keys) for r in ranks.values()}
    tables = [*description.stop, *stops_of_their_own(description)]
    pitch = Pitch(description.pitch.a4_hz, description.pitch.at_celsius)
    temperament = build_temperament(description.temperament)
    return Organ(
        name=description.name.strip(),
        pitch=pitch,
        temperament=temperament,
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
        couplers=tuple(map(_build_coupler, description.coupler)),
        tremulants=tuple(
            Tremulant(t.id, t.name.strip(), tuple(t.divisions), tuple(t.ranks), t.rate_hz)
            for t in description.tremulant
        ),
        toys=tuple(Toy(t.id, t.name.strip(), t.kind) for t in description.toy),
        instruments=tuple(_build_instrument(o, pitch, temperament) for o in description.organ),
    )


def build_temperament(given: str | TemperamentTable) -> Temperament:
    """Temperament from a name or a table of fifths."""
    return known(given) if isinstance(given, str) else from_fifths(given.name, given.fifths)


def build_division(table: DivisionTable) -> Division:
    """Division from its table."""
    lowest = Key.parse(table.lowest)
    keys = keyboard(lowest, table)
    return Division(
        table.id,
        table.name.strip(),
        table.keys,
        lowest,
        table.enclosed,
        () if is_regular(keys) else keys,
        table.floating,
        table.organ,
        table.octave,
    )


def build_rank(table: RankTable, division: Division) -> Rank:
    """Rank from its table."""
    from_key = division.lowest if table.from_key is None else Key.parse(table.from_key)
    if table.feet is not None:
        multiples: tuple[tuple[Key, Fraction], ...] = ((from_key, multiple_of_feet(table.feet)),)
    else:
        multiples = tuple((Key.parse(b.from_key), _multiple(b)) for b in table.breaks or ())
    keys = rank_keys(division.all_keys, from_key, table.pipes, table.missing)
    return Rank(
        id=table.id,
        division=table.division,
        name=table.name.strip(),
        chest=table.chest or table.division,
        family=table.family,
        tuned_by=table.tuned_by,
        from_key=keys[0],
        pipes=table.pipes,
        multiples=multiples,
        minutes=table.minutes,
        celeste_beats_hz=table.beats,
        wind_mm=table.wind_mm,
        historic=table.historic,
        diameters_mm=_by_pipe(table.diameter_mm),
        tongues_mm=_by_pipe(table.tongue_mm),
        layout=() if is_regular(keys) else keys,
        parts=tuple(
            Part(Key.parse(p.from_key), p.family, p.tuned_by, p.build, (p.name or "").strip())
            for p in table.parts
        ),
        build=table.build,
        celeste=_build_celeste(table),
        a4_hz=table.a4_hz,
        enclosed=table.enclosed,
        chest_layout=_build_layout(table),
        changes=tuple(Change(c.year, c.what, c.was, c.was_first) for c in table.changes),
    )


def stops_of_their_own(description: Description) -> list[StopTable]:
    """A stop for each rank that no stop names, in the order of the file."""
    played = {plays.rank for stop in description.stop for plays in stop.plays}
    return [
        StopTable(id=r.id, name=r.name, division=r.division, plays=[PlaysTable(rank=r.id)])
        for r in description.rank
        if r.id not in played
    ]


def _build_stop(table: StopTable, division: Division, spans: dict[str, Span]) -> Stop:
    plays = tuple(build_plays(p, division, spans[p.rank]) for p in table.plays)
    return Stop(table.id, table.name.strip(), table.division, plays)


def _build_coupler(table: CouplerTable) -> Coupler:
    return Coupler(
        table.id,
        table.name.strip(),
        table.from_division,
        table.to_division,
        12 * table.octave,
        table.keys,
        table.unison_off,
    )


def _build_instrument(table: OrganTable, pitch: Pitch, temperament: Temperament) -> Instrument:
    own = table.pitch
    return Instrument(
        table.id,
        table.name.strip(),
        pitch if own is None else Pitch(own.a4_hz, own.at_celsius),
        temperament if table.temperament is None else known(table.temperament),
    )


def _build_celeste(table: RankTable) -> Celeste | None:
    given = table.celeste
    if given is None:
        return None if table.beats is None else Celeste(beats_hz=((Key(69), table.beats),))
    beats = {Key.parse(name): hz for name, hz in (given.beats or {}).items()}
    return Celeste(given.cents, tuple(sorted(beats.items())), given.partner)


def _build_layout(table: RankTable) -> ChestLayout:
    front = table.front
    return ChestLayout(
        table.order,
        table.toe_board,
        None if front is None else (Key.parse(front.from_key), Key.parse(front.to_key)),
        table.dumb,
    )


def _chests(description: Description, ranks: dict[str, Rank]) -> tuple[Chest, ...]:
    named = {c.id: Chest(c.id, c.division, c.minutes) for c in description.chest}
    for rank in ranks.values():
        named.setdefault(rank.chest, Chest(rank.chest, rank.division))
    return tuple(named.values())


def _multiple(table: BreakTable) -> Fraction:
    if table.feet is not None:
        return multiple_of_feet(table.feet)
    assert table.interval is not None  # checked: one of the two is given
    return multiple_of_interval(table.interval)


def _by_pipe(table: dict[str, float]) -> MappingProxyType[int, float]:
    return MappingProxyType({int(number): mm for number, mm in table.items()})
