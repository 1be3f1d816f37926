"""Hears a recording of a walk on a known organ.

The organ says which combs each key sounds; listening finds the holds and measures them; this module
puts the pipes' names to what was heard and says in whole sentences what a tuner should know.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

from walkboard.errors import InputError, SoundError
from walkboard.listening.hold.measure import measure_hold
from walkboard.listening.sound.recording import LONGEST_SPAN_S, Sound
from walkboard.listening.types import (
    Comb,
    CombReading,
    ExpectedKey,
    FoundHold,
    Partial,
    ReadingFlag,
    Walk,
)
from walkboard.listening.walk.holds import find_events, gather_features, name_holds
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.quantities import cents_of_ratio
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Hold, Reading
from walkboard.survey.hear.identity import name_pipes
from walkboard.survey.hear.memory import Memory
from walkboard.survey.hear.played import align_schedule
from walkboard.survey.hear.pulling import with_pulls
from walkboard.survey.kinds import spectrum_of
from walkboard.survey.plan.schedule import Schedule

Progress = Callable[[float, float], None]
"""Called with seconds of sound dealt with and seconds in all."""

_FAR_CENTS = 50.0  # the interface's limit for a reading that is marked far
_MOST_PARTIALS = 16  # kept of a reading
_LOOKS_WRONG = 0.9  # a walk that fits less well than this makes other stops be tried
_PLAINLY_BETTER = 0.08  # by which another stop must fit better before it is named


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
    """Find, name and measure every hold of a walk.

    Parameters
    ----------
    sound : Sound
        The recording.
    organ : Organ
    drawn : sequence of str
        Ids of the stops drawn.
    air_celsius : float or None
        The air that the pipes stand in [°C]; None takes the organ's own pitch temperature.
    file : str
        The recording's name, kept with the readings.
    played : Schedule, optional
        What the machine played, where it held the keys; its start in the recording is found.
    alone : sequence of HeardWalk
        Earlier walks in which ranks of this one sounded without each other; by them near unisons
        are named, and pipes that pull each other into step are recognised.
    progress : callable, optional
        Called with seconds done and seconds in all.

    Returns
    -------
    HeardWalk

    Raises
    ------
    UnknownNameError
        When the organ has not such a stop.
    SoundError
        When nothing in the recording is a held key.
    """
    if not drawn:
        raise InputError("No stop is drawn.", where=file, mend="Name at least one stop.")
    keys = organ.keys_of(drawn)
    memory = Memory.of(alone)
    expected = expected_keys(organ, drawn, air_celsius)
    total_s = sound.info.seconds

    def tell(done_s: float) -> None:
        if progress is not None:
            progress(done_s, total_s)

    # Finding takes about a third of the work; the bar should move evenly.
    features = gather_features(
        sound.blocks(), sound.info.sample_rate, progress=lambda done_s: tell(done_s / 3.0)
    )
    # What sounded is found once, however many stops' keys are then tried on it.
    name = partial(name_holds, features, events=find_events(features))
    walk = name(expected)
    warnings = list(sound.inspect().warnings)
    if not walk.holds:
        raise SoundError(
            "No held key was heard in this recording.",
            where=file,
            mend="Record one stop, key by key, each key held for about four seconds.",
        )
    warnings += _sounds_like(organ, drawn, air_celsius, name, walk)
    filled: frozenset[int] = frozenset()
    if played is not None:
        walk, filled, said = _put_right(walk, played, keys, expected, total_s)
        warnings += said

    holds: list[Hold] = []
    silent = [keys[index] for index in walk.silent]
    spans = [(hold.start_s, min(hold.end_s, hold.start_s + LONGEST_SPAN_S)) for hold in walk.holds]
    for place, (found, samples) in enumerate(zip(walk.holds, sound.spans(spans), strict=True)):
        readings: tuple[Reading, ...] = ()
        key = None if found.key is None else keys[found.key]
        if found.key is not None:
            combs = _searched(expected[found.key].combs, found)
            measured = measure_hold(samples, sound.info.sample_rate, combs, start_s=found.start_s)
            readings = tuple(_reading(organ, air_celsius, heard, found) for heard in measured)
        if key is not None and place in filled and all(r.hz is None for r in readings):
            silent.append(key)  # played, and nothing that can be read answered
            continue
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
        tell(total_s / 3.0 + 2.0 / 3.0 * found.end_s)
    tell(total_s)
    heard_walk = HeardWalk(
        file=file,
        sound=sound.info,
        organ=organ.name,
        drawn=tuple(drawn),
        air_celsius=air_celsius,
        holds=tuple(holds),
        silent_keys=tuple(dict.fromkeys(silent)),
        warnings=tuple(warnings),
    )
    # Pipes of this walk whose names are sure tell of their neighbours, too.
    known = Memory.of([heard_walk, *alone])
    return with_pulls(name_pipes(organ, heard_walk, known), memory)[0]


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


def expected_keys(
    organ: Organ, drawn: Sequence[str], air_celsius: float | None
) -> tuple[ExpectedKey, ...]:
    """Every key of the drawn stops, upward, with the comb of each pipe that it sounds."""
    return tuple(
        ExpectedKey(
            label=key.name,
            combs=tuple(
                Comb(
                    str(pipe),
                    target_hz(organ, pipe, air_celsius),
                    spectrum_of(organ, pipe),
                )
                for pipe in organ.sounding(drawn, key)
            ),
        )
        for key in organ.keys_of(drawn)
    )


def _searched(combs: tuple[Comb, ...], found: FoundHold) -> tuple[Comb, ...]:
    """The combs moved to where the finder heard them, so that the search starts near."""
    if found.heard_hz is None or found.overtone != 1:
        return combs
    ratio = found.heard_hz / combs[0].hz
    return tuple(replace(comb, hz=comb.hz * ratio) for comb in combs)


def _key_number(organ: Organ, drawn: Sequence[str], key: Key) -> int:
    return organ.division(organ.stop(drawn[0]).division).key_number(key)


def _reading(
    organ: Organ, air_celsius: float | None, heard: CombReading, found: FoundHold
) -> Reading:
    pipe = PipeRef.parse(heard.label)
    flags = dict.fromkeys(heard.flags)
    hz = heard.hz
    if found.overtone != 1:
        # It speaks a partial instead of its own pitch: what was measured is not where it is tuned.
        flags[ReadingFlag.OCTAVE] = None
        hz = None
    cents = None if hz is None else cents_of_ratio(hz / target_hz(organ, pipe, air_celsius))
    flags.pop(ReadingFlag.FAR, None)
    if cents is not None and abs(cents) > _FAR_CENTS:
        flags[ReadingFlag.FAR] = None
    return Reading(
        pipe=pipe,
        hz=hz,
        sigma_cents=None if hz is None else heard.sigma_cents,
        cents=cents,
        level_db=heard.level_db,
        start_s=heard.start_s,
        end_s=heard.end_s,
        wander_cents=None if hz is None else heard.wander_cents,
        flags=tuple(flags),
        near_hz=heard.near_hz,
        bound_cents=heard.bound_cents,
        either_hz=heard.either_hz,
        either_sigma_cents=heard.either_sigma_cents,
        name_sureness=(
            None if heard.name_odds is None else 1.0 / (1.0 + math.exp(-heard.name_odds))
        ),
        beat_hz=heard.beat_hz,
        partials=tuple(
            Partial(p.number, round(p.level_db, 2)) for p in heard.partials[:_MOST_PARTIALS]
        ),
    )


def _fit(walk: Walk) -> float:
    """How well a stop fits a walk, 0 to 1.

    The energy alone does not tell: a 4′ walked as an 8′ is explained in full by a last octave of
    pipes that all speak their octave. So the plain holds count too.
    """
    plain = sum(hold.key is not None and hold.overtone == 1 for hold in walk.holds)
    return walk.explained * plain / len(walk.holds) if walk.holds else 0.0


def _sounds_like(
    organ: Organ,
    drawn: Sequence[str],
    air_celsius: float | None,
    name: Callable[[Sequence[ExpectedKey]], Walk],
    walk: Walk,
) -> list[str]:
    """A sentence naming the stop that was plainly walked instead of the ones said."""
    said = _fit(walk)
    if said >= _LOOKS_WRONG:
        return []
    best, best_stop = said, None
    tried = {_pitches(organ, drawn)}
    for stop in organ.stops:
        pitches = _pitches(organ, [stop.id])
        if pitches in tried:
            continue
        tried.add(pitches)
        fit = _fit(name(expected_keys(organ, [stop.id], air_celsius)))
        if fit > best:
            best, best_stop = fit, stop
    if best_stop is not None and best >= said + _PLAINLY_BETTER:
        sentence = (
            f"This sounds like {best_stop.name} ({best_stop.id}), not what was said to be drawn: "
            f"it fits {best:.0%} of the walk, what was said {said:.0%}."
        )
        return [sentence]
    if said < 0.5:
        sentence = (
            f"What was said to be drawn fits only {said:.0%} of the walk: "
            "check which stop was walked."
        )
        return [sentence]
    return []


def _pitches(organ: Organ, drawn: Sequence[str]) -> tuple[object, ...]:
    """What tells one stop's walk from another's by ear: its keys and its pipes' pitches."""
    keys = organ.keys_of(drawn)
    return tuple(
        sorted(
            round(target_hz(organ, pipe, None), 3)
            for key in keys
            for pipe in organ.sounding(drawn, key)
        )
    )
