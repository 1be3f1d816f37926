"""Measures the holds of a walk, and collects what each shows beside the stated pipes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from walkboard.listening.evidence.drones import Drone
from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import CombReading, Measured, named, without_value
from walkboard.listening.sound.decoder import Samples
from walkboard.listening.sound.recording import LONGEST_SPAN_S, Sound
from walkboard.listening.types import Comb, ExpectedKey, FoundHold, Partial, ReadingFlag, Walk
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.quantities import ratio_of_cents
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import Hold, Reading
from walkboard.survey.recognise.evidence import Evidence, evidence_of
from walkboard.survey.recognise.shift import Shifted
from walkboard.survey.recognise.walked import Passed

_FAR_CENTS = 50.0  # the interface's limit for a reading marked far
_MOST_PARTIALS = 16  # partials kept with a reading
_LEAST_ALONE_S = 0.9  # of a hold clear of overlapping holds, for only that part to be used


@dataclass(frozen=True)
class NamedWalk:
    """The holds of a recording on the organ's own keys.

    Attributes
    ----------
    walk : Walk
        Its holds refer to keys by index.
    passed : Passed
        Keys within the walk without a hold.
    shifted : Shifted
    filled : frozenset of int
        Indices of holds known only from the played file.
    """

    walk: Walk
    passed: Passed
    shifted: Shifted
    filled: frozenset[int] = frozenset()


@dataclass(frozen=True)
class MeasuredWalk:
    """The holds of a walk, measured.

    Attributes
    ----------
    holds : tuple of Hold
    evidence : tuple of Evidence
        For every hold that has a key and is long enough, in order of time.
    unanswered : tuple of Key
        Keys that the machine played but that gave no reading.
    """

    holds: tuple[Hold, ...]
    evidence: tuple[Evidence, ...]
    unanswered: tuple[Key, ...] = ()


def measure_walk(
    organ: Organ,
    drawn: Sequence[str],
    air_celsius: float | None,
    *,
    sound: Sound,
    walk: NamedWalk,
    keys: Sequence[Key],
    expected: Sequence[ExpectedKey],
    drones: Sequence[Drone],
    report: Callable[[float], None],
) -> MeasuredWalk:
    """Measure every hold.

    Parameters
    ----------
    organ, drawn, air_celsius
        As stated.
    sound : Sound
    walk : NamedWalk
    keys : sequence of Key
    expected : sequence of ExpectedKey
        What each of the keys sounds.
    drones : sequence of Drone
    report : callable
        Called with the seconds of sound measured.
    """
    holds: list[Hold] = []
    evidence: list[Evidence] = []
    unanswered: list[Key] = []
    ratio = ratio_of_cents(walk.shifted.cents)
    drone_lines = [hz for drone in drones for hz in drone.lines_hz]
    held = walk.walk.holds
    spans = [(hold.start_s, min(hold.end_s, hold.start_s + LONGEST_SPAN_S)) for hold in held]
    for place, (found, samples) in enumerate(zip(held, sound.spans(spans), strict=True)):
        readings: tuple[Reading, ...] = ()
        key = None if found.key is None else keys[found.key]
        if found.key is not None:
            combs = _searched(expected[found.key].combs, found)
            measured = measure_hold(samples, sound.info.sample_rate, combs, start_s=found.start_s)
            readings = tuple(_on_the_organ(organ, air_celsius, heard, found) for heard in measured)
        if (
            key is not None
            and place in walk.filled
            and not any(isinstance(r, Measured) for r in readings)
        ):
            unanswered.append(key)
            continue
        by_itself = _alone(samples, sound.info.sample_rate, held, place)
        if found.key is not None and len(by_itself) >= sound.info.sample_rate // 2:
            evidence.append(
                evidence_of(
                    by_itself,
                    sound.info.sample_rate,
                    key=found.key,
                    times_s=(found.start_s, found.end_s),
                    expected_hz=[comb.hz * ratio for comb in expected[found.key].combs],
                    measured_hz=[reading.place_hz_or_none for reading in readings],
                    drones_hz=drone_lines,
                    before=evidence[-1] if evidence else None,
                )
            )
        holds.append(
            Hold(
                n=len(holds) + 1,
                key=key,
                key_number=None if key is None else _key_number(organ, drawn, key),
                start_s=found.start_s,
                end_s=found.end_s,
                readings=readings,
                sureness=found.sureness,
                flags=found.flags,
            )
        )
        report(found.end_s)
    return MeasuredWalk(tuple(holds), tuple(evidence), tuple(unanswered))


def _alone(samples: Samples, sample_rate: int, holds: Sequence[FoundHold], place: int) -> Samples:
    """The part of a hold in which no other hold sounds, if it is long enough."""
    hold = holds[place]
    before = [one.end_s for one in holds[:place]]
    after = [one.start_s for one in holds[place + 1 :]]
    start_s = max([hold.start_s, *before])
    end_s = min([hold.start_s + len(samples) / sample_rate, *after])
    if end_s - start_s < _LEAST_ALONE_S:
        return samples
    first, last = (int((at - hold.start_s) * sample_rate) for at in (start_s, end_s))
    return samples[first:last]


def _searched(combs: tuple[Comb, ...], found: FoundHold) -> tuple[Comb, ...]:
    """The combs moved to where they were heard, so that the search starts close."""
    if found.heard_hz is None or found.overtone != 1:
        return combs
    ratio = found.heard_hz / combs[0].hz
    return tuple(replace(comb, hz=comb.hz * ratio) for comb in combs)


def _key_number(organ: Organ, drawn: Sequence[str], key: Key) -> int:
    couplers = {coupler.id: coupler.to_division for coupler in organ.couplers}
    tremulants = {one.id for one in organ.tremulants}
    played = [couplers[one] for one in drawn if one in couplers] or [
        organ.stop(one).division for one in drawn if one not in tremulants
    ]
    return organ.division(played[0]).key_number(key)


def _on_the_organ(
    organ: Organ, air_celsius: float | None, heard: CombReading, found: FoundHold
) -> Reading:
    """The reading of a comb as a reading of the organ's pipe."""
    pipe = PipeRef.parse(heard.pipe)
    reading: Reading = named(heard, pipe, target_hz(organ, pipe, air_celsius))
    if found.overtone != 1:
        # It speaks a partial instead of its own pitch: the measured pitch is not its tuning.
        reading = without_value(reading, ReadingFlag.OCTAVE)
    flags = list(reading.flags)
    if ReadingFlag.FAR in flags:  # relative to where it was searched for
        flags.remove(ReadingFlag.FAR)
    if isinstance(reading, Measured) and abs(reading.cents) > _FAR_CENTS:
        flags.append(ReadingFlag.FAR)
    partials = [Partial(p.number, round(p.level_db, 2)) for p in reading.partials[:_MOST_PARTIALS]]
    return replace(reading, flags=tuple(flags), partials=tuple(partials))
