"""Hears a recording of a walk on a known organ.

The organ says which combs each key sounds; listening finds the holds and measures them; recognition
says what really sounded and whether to believe it; this module puts the pipes' names to it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from walkboard.errors import InputError, SoundError
from walkboard.listening.evidence.drones import Drone, find_drones, without_drones
from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import CombReading, Measured, named, without_value
from walkboard.listening.sound.decoder import Samples
from walkboard.listening.sound.recording import LONGEST_SPAN_S, Sound
from walkboard.listening.types import (
    Comb,
    ExpectedKey,
    FoundHold,
    HoldFlag,
    Partial,
    ReadingFlag,
    Walk,
)
from walkboard.listening.walk.holds import find_events, gather_features, name_holds
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.quantities import cents_of_ratio, ratio_of_cents
from walkboard.scales.keys import Key
from walkboard.scales.pitch import key_hz
from walkboard.survey.hear.expected import expected_keys, widened
from walkboard.survey.hear.heard_walk import HeardWalk, Hold, Reading
from walkboard.survey.hear.identity import name_pipes
from walkboard.survey.hear.memory import Memory
from walkboard.survey.hear.other_stop import other_stop_walked
from walkboard.survey.hear.played import align_schedule
from walkboard.survey.hear.pulling import with_pulls
from walkboard.survey.hear.sentence import not_a_walk, with_sentence
from walkboard.survey.hear.weigh import apply, weigh
from walkboard.survey.plan.schedule import Schedule
from walkboard.survey.recognise.evidence import Evidence, evidence_of
from walkboard.survey.recognise.shift import MARGIN_KEYS, Shifted, find_shift
from walkboard.survey.recognise.walked import (
    Passed,
    passed_over,
    why_no_walk,
)

Progress = Callable[[float, float], None]
"""Called with seconds of sound dealt with and seconds in all."""

_FAR_CENTS = 50.0  # the interface's limit for a reading that is marked far
_MOST_PARTIALS = 16  # kept of a reading
_LEAST_ALONE_S = 0.9  # of a hold that other holds overlap, from which the rest is left out
_UNEQUAL_CENTS = 2.0  # by which some step of a temperament differs from 100 cents


def hear_walk(
    sound: Sound,
    organ: Organ,
    drawn: Sequence[str],
    air_celsius: float | None,
    *,
    file: str,
    played: Schedule | None = None,
    alone: Sequence[HeardWalk] = (),
    progress: Progress | None = None,
) -> HeardWalk:
    """Find, name and measure every hold of a walk, and say whether to believe it.

    Parameters
    ----------
    sound : Sound
        The recording.
    organ : Organ
    drawn : sequence of str
        Ids of the stops drawn, and of the couplers.
    air_celsius : float or None
        The air that the pipes stand in [°C]; None: the organ's own pitch temperature.
    file : str
        The recording's name, kept with the readings.
    played : Schedule, optional
        What the machine played, if it held the keys; its start in the recording is found.
    alone : sequence of HeardWalk
        Earlier walks in which ranks of this one sounded without each other; they name near unisons
        and show which pipes pull each other into step.
    progress : callable, optional
        Called with seconds done and seconds in all.

    Returns
    -------
    HeardWalk
        Without holds if the recording is not a walk; `heard` says why.

    Raises
    ------
    UnknownNameError
        If the organ has no such stop.
    InputError
        If no stop is drawn, or stops of two keyboards are.
    SoundError
        If the recording cannot be decoded.
    """
    check_drawn(organ, drawn, file)
    keys = organ.keys_of(drawn)
    memory = Memory.of(alone)
    expected = expected_keys(organ, drawn, air_celsius)
    total_s = sound.info.seconds

    def report(done_s: float) -> None:
        if progress is not None:
            progress(done_s, total_s)

    # Finding takes about a third of the work; the bar should move evenly.
    features = gather_features(
        sound.blocks(), sound.info.sample_rate, progress=lambda done_s: report(done_s / 3.0)
    )
    base = HeardWalk(file, sound.info, organ.name, tuple(drawn), air_celsius, (), ())
    try:
        quality = sound.inspect()
    except SoundError:  # all of it was decoded above: it is silent
        return replace(base, heard=not_a_walk("the recording is silent"))
    drones = find_drones(features)
    features = without_drones(features, drones)
    # What sounded is found once, however many stops' keys are then tried on it.
    name = partial(name_holds, features, events=find_events(features))
    wide = widened(expected)
    walk = name(wide)
    why = why_no_walk(walk, total_s)
    if why is not None and played is None:
        return replace(base, heard=not_a_walk(why))
    warnings = list(quality.warnings)
    other = (
        None
        if played is not None
        else other_stop_walked(organ, drawn, air_celsius, name=name, walk=walk, sound=sound)
    )
    if other is not None:
        return replace(base, heard=other, warnings=(*warnings, other.sentence))
    shifted = find_shift(walk.holds, [key.combs[0].hz for key in wide], unequal=_is_unequal(organ))
    walk, passed = _on_the_keys(walk, shifted, len(keys))
    filled: frozenset[int] = frozenset()
    if played is not None:
        walk, filled, said = _put_right(walk, played, keys, expected, total_s)
        warnings += said
        pressed = {press.key for press in played.presses}
        missing = sorted({*passed.not_held, *passed.silent, *passed.unsure})
        passed = Passed(not_held=tuple(n for n in missing if keys[n] not in pressed))

    holds: list[Hold] = []
    evidence: list[Evidence] = []
    silent = [keys[index] for index in passed.silent]
    drone_lines = [hz for drone in drones for hz in drone.lines_hz]
    spans = [(hold.start_s, min(hold.end_s, hold.start_s + LONGEST_SPAN_S)) for hold in walk.holds]
    for place, (found, samples) in enumerate(zip(walk.holds, sound.spans(spans), strict=True)):
        readings: tuple[Reading, ...] = ()
        key = None if found.key is None else keys[found.key]
        if found.key is not None:
            combs = _searched(expected[found.key].combs, found)
            measured = measure_hold(samples, sound.info.sample_rate, combs, start_s=found.start_s)
            readings = tuple(_on_the_organ(organ, air_celsius, heard, found) for heard in measured)
        if (
            key is not None
            and place in filled
            and not any(isinstance(r, Measured) for r in readings)
        ):
            silent.append(key)  # played, and nothing that can be read answered
            continue
        by_itself = _alone(samples, sound.info.sample_rate, walk.holds, place)
        if found.key is not None and len(by_itself) >= sound.info.sample_rate // 2:
            ratio = ratio_of_cents(shifted.cents)
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
        report(total_s / 3.0 + 2.0 / 3.0 * found.end_s)
    report(total_s)
    heard_walk = replace(
        base,
        sound=sound.info,
        holds=tuple(holds),
        silent_keys=tuple(dict.fromkeys(silent)),
        warnings=tuple(warnings),
        not_held=tuple(keys[index] for index in passed.not_held),
        unsure_keys=tuple(keys[index] for index in passed.unsure),
    )
    # Pipes of this walk whose names are sure help to name their neighbours, too.
    known = Memory.of([heard_walk, *alone])
    named = with_pulls(name_pipes(organ, heard_walk, known), memory)[0]
    return _judged(organ, named, keys, evidence, shifted=shifted, drones=drones)


def _alone(samples: Samples, sample_rate: int, holds: Sequence[FoundHold], place: int) -> Samples:
    """The part of a hold in which no other hold sounds, if that is long enough."""
    hold = holds[place]
    before = [one.end_s for one in holds[:place]]
    after = [one.start_s for one in holds[place + 1 :]]
    start_s = max([hold.start_s, *before])
    end_s = min([hold.start_s + len(samples) / sample_rate, *after])
    if end_s - start_s < _LEAST_ALONE_S:
        return samples
    first, last = (int((at - hold.start_s) * sample_rate) for at in (start_s, end_s))
    return samples[first:last]


def check_drawn(organ: Organ, drawn: Sequence[str], where: str) -> None:
    """Refuse what cannot be one walk: no stop, or stops of two keyboards without a coupler.

    Raises
    ------
    InputError
        If so.
    UnknownNameError
        If the organ has no such stop.
    """
    stops = {stop.id: stop for stop in organ.stops}
    consoles = {one.id for one in organ.couplers} | {one.id for one in organ.tremulants}
    named = [stops.get(one) or organ.stop(one) for one in drawn if one not in consoles]
    if not named:
        raise InputError("No stop is drawn.", where=where, fix="Name at least one stop.")
    divisions = dict.fromkeys(stop.division for stop in named)
    couplers = [one for one in drawn if one in {coupler.id for coupler in organ.couplers}]
    if len(divisions) > 1 and not couplers:
        names = " and ".join(organ.division(one).name for one in divisions)
        raise InputError(
            f"The stops drawn belong to several keyboards ({names}); one walk is played on one.",
            where=where,
            fix="Give each keyboard its own recording, or name the coupler that was on as well.",
        )


def _judged(
    organ: Organ,
    walk: HeardWalk,
    keys: Sequence[Key],
    evidence: Sequence[Evidence],
    *,
    shifted: Shifted,
    drones: Sequence[Drone],
) -> HeardWalk:
    """The walk with what recognition makes of it."""
    weighed = weigh(
        organ,
        walk.drawn,
        keys,
        walk.air_celsius,
        holds=walk.holds,
        evidence=evidence,
        shifted=shifted,
        drones=drones,
    )
    held = [hold.key for hold in walk.holds if hold.key is not None]
    heard = with_sentence(weighed, organ, walk.drawn, held, shifted)
    said = (heard.question,) if heard.question else ()
    return replace(
        walk,
        holds=apply(weighed, walk.holds),
        heard=heard,
        warnings=(*walk.warnings, *said),
    )


def _is_unequal(organ: Organ) -> bool:
    steps = np.diff(
        [cents_of_ratio(key_hz(Key(60 + n), 440.0, organ.temperament) / 440.0) for n in range(13)]
    )
    return bool(np.abs(steps - 100.0).max() > _UNEQUAL_CENTS)


def _on_the_keys(walk: Walk, shifted: Shifted, count: int) -> tuple[Walk, Passed]:
    """The walk named on the organ's own keys, the shift taken out; and the keys without a hold."""

    def own(index: int) -> int | None:
        key = index - shifted.keys - MARGIN_KEYS
        return key if 0 <= key < count else None

    holds = []
    for hold in walk.holds:
        key = None if hold.key is None else own(hold.key)
        flags = hold.flags
        if key is None and hold.key is not None:
            flags = tuple(flag for flag in HoldFlag if flag in {*flags, HoldFlag.UNKNOWN_KEY})
        holds.append(replace(hold, key=key, flags=flags))
    missing = [key for index in walk.silent if (key := own(index)) is not None]
    kept = tuple(holds)
    return Walk(kept, tuple(missing), walk.explained), passed_over(kept, missing)


def _put_right(
    walk: Walk,
    played: Schedule,
    keys: Sequence[Key],
    expected: Sequence[ExpectedKey],
    seconds: float,
) -> tuple[Walk, frozenset[int], list[str]]:
    """The walk by the schedule, which holds were filled in, and what is to be said of it."""
    first_hz = [key.combs[0].hz for key in expected]
    aligned = align_schedule(walk, played, keys, first_hz, seconds=seconds)
    if aligned is None:
        return walk, frozenset(), ["What was said to be played does not fit: heard by ear alone."]
    said = []
    if aligned.dropped:
        said.append(f"Left out: {aligned.dropped} sounds at times when no key was played.")
    return aligned.walk, aligned.filled, said


def _searched(combs: tuple[Comb, ...], found: FoundHold) -> tuple[Comb, ...]:
    """The combs moved to where the finder heard them, so that the search starts near."""
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
    """The reading of a comb as that of the organ's pipe."""
    pipe = PipeRef.parse(heard.pipe)
    reading: Reading = named(heard, pipe, target_hz(organ, pipe, air_celsius))
    if found.overtone != 1:
        # It speaks a partial instead of its own pitch: what was measured is not where it is tuned.
        reading = without_value(reading, ReadingFlag.OCTAVE)
    flags = list(reading.flags)
    if ReadingFlag.FAR in flags:  # from where it was searched for
        flags.remove(ReadingFlag.FAR)
    if isinstance(reading, Measured) and abs(reading.cents) > _FAR_CENTS:
        flags.append(ReadingFlag.FAR)
    partials = [Partial(p.number, round(p.level_db, 2)) for p in reading.partials[:_MOST_PARTIALS]]
    return replace(reading, flags=tuple(flags), partials=tuple(partials))
