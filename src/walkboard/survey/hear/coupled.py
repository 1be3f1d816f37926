"""A stop that sounds but was not stated: the walk is measured again with all ranks together.

A coupler left on need not ruin the walk. If recognition identifies what else sounds, the keys are
named and the holds measured again with that stop's pipes among those expected. The stated stops'
values count only if nothing is then left unexplained. The other stop's own values are kept only if
it can be no other stop, and never if it is in unison with a stated one: then their pipes cannot be
separated by ear.

Stops an octave apart hide a trap: 8′ and 4′ sound like 16′ and 8′ an octave lower. The compass
decides, so the walk must have reached both its lowest and its highest octave.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.readings import Measured, withheld
from walkboard.listening.types import Comb, ExpectedKey, HoldFlag, ReadingFlag, Walk
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.quantities import cents_of_ratio
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.hear.holds import NamedWalk
from walkboard.survey.hear.sentence import measured_together
from walkboard.survey.kinds import spectrum_of
from walkboard.survey.recognise.verdict import AlsoSounding, Heard
from walkboard.survey.recognise.walked import fit, in_order

_UNISON_CENTS = 60.0  # chosen: closer pipes may be confused
_MOST_ASTRAY = 0.1  # share of holds out of order; chosen
_OCTAVE = 12
_SAME_PIPE_CENTS = 1.0  # from one hold to another: what wind and room do; fitted
_DIFFERENT_SHARE = 0.3  # of the pipes so near, up to which it is a stop of its own; chosen
_LEAST_COMPARED = 6  # pipes, below which neither is sure; chosen
_EACH_STOP = 0.02  # share of the fit that one more stop must explain; chosen


def may_be_joined(organ: Organ, walk: HeardWalk) -> bool:
    """Whether what else sounds in a walk may be measured together with the stated stops."""
    heard = walk.heard
    if heard is None or heard.believed or not heard.also_sounding or heard.not_sounding:
        return False
    if heard.tremulant is not None:
        return False
    stops = {stop.id for stop in organ.stops}
    return all(one.stop in stops for one in heard.also_sounding)


def heard_together(
    organ: Organ,
    walk: HeardWalk,
    keys: Sequence[Key],
    expected: Sequence[ExpectedKey],
    *,
    name: Callable[[Sequence[ExpectedKey]], NamedWalk],
    judged: Callable[[NamedWalk, Sequence[ExpectedKey], Sequence[str]], HeardWalk],
) -> HeardWalk:
    """The walk measured with the stops that also sound, if that explains it; else unchanged.

    Parameters
    ----------
    organ : Organ
    walk : HeardWalk
        The walk heard with the stated stops only; its verdict names the others.
    keys : sequence of Key
    expected : sequence of ExpectedKey
        What the stated stops sound at each key.
    name : callable
        Names the recording's holds, given what each key sounds.
    judged : callable
        Measures and judges named holds, given what each key sounds and which stops that is.
    """
    assert walk.heard is not None
    best: tuple[float, NamedWalk, tuple[ExpectedKey, ...], tuple[AlsoSounding, ...]] | None = None
    for also in _companies(organ, walk.drawn, walk.heard.also_sounding):
        every = _with_pipes(organ, walk.air_celsius, keys, expected, also)
        if every is None:
            continue
        holds = name(every)
        score = in_order(holds.walk) * fit(holds.walk) - _EACH_STOP * len(also)
        if best is None or score > best[0]:
            best = score, holds, every, also
    if best is None:
        return walk
    _, holds, every, also = best
    joined = judged(holds, every, _stops(walk, also))
    absent = set(joined.heard.not_sounding if joined.heard else ())
    if absent and not absent & set(walk.drawn):
        # The added stop explains what seemed to sound.
        also = tuple(one for one in also if one.stop not in absent)
        every = _with_pipes(organ, walk.air_celsius, keys, expected, also) or every
        holds = name(every)
        joined = judged(holds, every, _stops(walk, also))
    heard = joined.heard
    if heard is None or not heard.believed or heard.also_sounding or heard.cipher:
        return walk
    joined = _with_verdict(organ, joined, heard, also, dict(zip(keys, expected, strict=True)))
    return joined if _compass_decides(holds.walk, len(keys)) else _not_believed(walk, joined)


def _stops(walk: HeardWalk, also: Sequence[AlsoSounding]) -> tuple[str, ...]:
    """The stated stops and those that sound independently beside them."""
    return tuple(dict.fromkeys((*walk.drawn, *(one.stop for one in also if not one.semitones))))


def _companies(
    organ: Organ, drawn: Sequence[str], also: Sequence[AlsoSounding]
) -> list[tuple[AlsoSounding, ...]]:
    """What may sound beside the stated stops: the stop found, alone or with one more pitch."""
    found = tuple(also)
    named = {stop for one in also for stop in (one.stop, *one.or_stops)} | set(drawn)
    more: list[AlsoSounding] = []
    tried: list[object] = []
    for stop in organ.stops:
        ranks = tuple(organ.rank(plays.rank).multiple_of(1) for plays in stop.plays)
        if stop.id in named or len(ranks) != 1:
            continue
        if ranks in tried:
            at = tried.index(ranks)
            more[at] = replace(more[at], or_stops=(*more[at].or_stops, stop.id))
            continue
        tried.append(ranks)
        more.append(AlsoSounding(stop.id, 0, 0))
    return [found, *((*found, one) for one in more)]


def _with_pipes(
    organ: Organ,
    air_celsius: float | None,
    keys: Sequence[Key],
    expected: Sequence[ExpectedKey],
    also: Sequence[AlsoSounding],
) -> tuple[ExpectedKey, ...] | None:
    """The keys with the other stops' pipes; None if one is in unison with a stated pipe."""
    found = []
    for key, due in zip(keys, expected, strict=True):
        combs = list(due.combs)
        for one in also:
            for pipe in organ.stop(one.stop).pipes_at(key.up(one.semitones)):
                hz = target_hz(organ, pipe, air_celsius)
                if any(abs(cents_of_ratio(hz / comb.hz)) < _UNISON_CENTS for comb in combs):
                    return None
                combs.append(Comb(str(pipe), hz, spectrum_of(organ, pipe)))
        found.append(replace(due, combs=tuple(combs)))
    return tuple(found)


def _compass_decides(walk: Walk, count: int) -> bool:
    """Whether the walk is in order and reaches the lowest and the highest octave of the keys."""
    held = np.array([hold.key for hold in walk.holds if hold.key is not None])
    if len(held) == 0:
        return False
    astray = np.mean([HoldFlag.OUT_OF_ORDER in hold.flags for hold in walk.holds])
    ends = held.min() < _OCTAVE and held.max() >= count - _OCTAVE
    return bool(ends and astray <= _MOST_ASTRAY)


def _with_verdict(
    organ: Organ,
    joined: HeardWalk,
    heard: Heard,
    also: Sequence[AlsoSounding],
    expected_at: Mapping[Key, ExpectedKey],
) -> HeardWalk:
    """The joint walk: reports what also sounds, and keeps its values if its name is sure."""
    decided = [_or_coupled(organ, joined, one) for one in also]
    holds = []
    met = [0] * len(also)
    able = [0] * len(also)
    for hold in joined.holds:
        sure: set[str] = set()
        # One that is out of order may be named an octave off: ranks an octave apart allow it.
        if hold.key is not None and HoldFlag.OUT_OF_ORDER not in hold.flags:
            sure = {comb.label for comb in expected_at[hold.key].combs}
            for at, one in enumerate(also):
                pipes = organ.stop(one.stop).pipes_at(hold.key.up(one.semitones))
                theirs = {str(pipe) for pipe in pipes}
                read = [reading for reading in hold.readings if str(reading.pipe) in theirs]
                able[at] += bool(read)
                met[at] += any(reading.place_hz_or_none is not None for reading in read)
                if not decided[at].or_stops:
                    sure |= theirs
        readings = tuple(
            reading if str(reading.pipe) in sure else withheld(reading, ReadingFlag.OTHER)
            for reading in hold.readings
        )
        holds.append(replace(hold, readings=readings))
    counted = tuple(
        replace(one, keys=keys, of_keys=of)
        for one, keys, of in zip(decided, met, able, strict=True)
    )
    said = measured_together(organ, replace(heard, also_sounding=counted))
    return replace(
        joined, holds=tuple(holds), heard=said, warnings=(*joined.warnings, said.question)
    )


def _or_coupled(organ: Organ, joined: HeardWalk, one: AlsoSounding) -> AlsoSounding:
    """A stop an octave from a stated one, or that one's own octave coupler, by its pitch.

    A coupler adds the very pipe that the key an octave away sounds. Measured together the
    two agree, but for what the wind does between two holds; pipes of another stop do not.
    """
    if one.semitones or one.or_stops:
        return one
    for stated in organ.stops_among(joined.drawn):
        for semitones in (_OCTAVE, -_OCTAVE):
            away = _apart_cents(organ, joined, one.stop, stated.id, semitones)
            if len(away) == 0:
                continue
            share = float(np.mean(np.abs(away) < _SAME_PIPE_CENTS))
            if len(away) < _LEAST_COMPARED or share > _DIFFERENT_SHARE:
                return AlsoSounding(stated.id, one.keys, one.of_keys, semitones, (one.stop,))
    return one


def _apart_cents(
    organ: Organ, joined: HeardWalk, stop: str, stated: str, semitones: int
) -> NDArray[np.float64]:
    """How far a stop's pipes are from the stated stop's at the keys an octave away [cents]."""

    def read(which: str) -> dict[int, Measured[PipeRef]]:
        found = {}
        for hold in joined.holds:
            pipes = set() if hold.key is None else set(organ.stop(which).pipes_at(hold.key))
            for reading in hold.readings:
                if hold.key is not None and reading.pipe in pipes and isinstance(reading, Measured):
                    found[hold.key.semitone] = reading
        return found

    theirs, own = read(stop), read(stated)
    pairs = [(one, own[key + semitones]) for key, one in theirs.items() if key + semitones in own]
    away = np.array([cents_of_ratio(one.hz / other.hz) for one, other in pairs], np.float64)
    return np.asarray(away[np.abs(away) < _UNISON_CENTS])


def _not_believed(walk: HeardWalk, joined: HeardWalk) -> HeardWalk:
    """The original walk, with the fuller list of what sounds."""
    assert walk.heard is not None
    assert joined.heard is not None
    return replace(walk, heard=replace(walk.heard, also_sounding=joined.heard.also_sounding))
