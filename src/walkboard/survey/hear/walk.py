"""Listens to a recording of a walk on a known organ.

The organ gives the combs of each key; listening finds the holds and measures them; recognition says
what really sounded and whether to trust it; this module assigns the pipes' names.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from walkboard.errors import InputError, SoundError
from walkboard.listening.evidence.drones import Drone, find_drones, without_drones
from walkboard.listening.sound.recording import Sound
from walkboard.listening.types import (
    ExpectedKey,
    HoldFlag,
    Walk,
)
from walkboard.listening.walk.holds import find_events, gather_features, name_holds
from walkboard.organ.model import Organ
from walkboard.quantities import cents_of_ratio
from walkboard.scales.keys import Key
from walkboard.scales.pitch import key_hz
from walkboard.survey.hear.before import Remembered
from walkboard.survey.hear.beside_merged import without_doubtful
from walkboard.survey.hear.by_clock import by_clock, check_tone
from walkboard.survey.hear.coupled import heard_together, may_be_joined
from walkboard.survey.hear.expected import expected_keys, widened
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.hear.holds import NamedWalk, measure_walk
from walkboard.survey.hear.identity import name_pipes
from walkboard.survey.hear.memory import Memory
from walkboard.survey.hear.one_alone import heard_alone
from walkboard.survey.hear.other_stop import other_stop_walked
from walkboard.survey.hear.played import align_schedule
from walkboard.survey.hear.pulling import with_pulls
from walkboard.survey.hear.sentence import not_a_walk, with_sentence
from walkboard.survey.hear.settling import less_sure
from walkboard.survey.hear.weigh import apply, weigh
from walkboard.survey.plan.schedule import Schedule
from walkboard.survey.recognise.evidence import Evidence
from walkboard.survey.recognise.shift import MARGIN_KEYS, Shifted, find_shift
from walkboard.survey.recognise.walked import (
    Passed,
    passed_over,
    why_no_walk,
)

Progress = Callable[[float, float], None]
"""Called with the seconds of sound done and the total."""

_UNEQUAL_CENTS = 2.0  # a temperament with a step this far from 100 cents is unequal


def hear_walk(
    sound: Sound,
    organ: Organ,
    drawn: Sequence[str],
    air_celsius: float | None,
    *,
    file: str,
    played: Schedule | None = None,
    alone: Sequence[HeardWalk] = (),
    before: Remembered | None = None,
    tone_hz: float | None = None,
    sure: bool = False,
    progress: Progress | None = None,
) -> HeardWalk:
    """Find, name and measure every hold of a walk, and judge whether to trust it.

    Parameters
    ----------
    sound : Sound
        The recording.
    organ : Organ
    drawn : sequence of str
        Ids of the stops drawn, and of the couplers.
    air_celsius : float or None
        The air around the pipes [°C]; None: the organ's own pitch temperature.
    file : str
        The recording's name, kept with the readings.
    played : Schedule, optional
        What the machine played, if it held the keys; its start is found in the recording.
    alone : sequence of HeardWalk
        Earlier walks in which ranks of this one sounded without each other; they name near unisons
        and show which pipes pull each other into step.
    before : mapping of str to RankSound, optional
        How ranks sounded in earlier recordings, by rank: shows another stop of the same pitch.
    sure : bool
        Whether the tuner is sure of the stops: values are then kept although it sounds like another
        family, like another stop did before, or like one an octave away. What contradicts the
        stops, such as more ranks sounding, is not overruled.
    progress : callable, optional
        Called with the seconds done and the total.

    Returns
    -------
    HeardWalk
        Without holds if the recording is not a walk; `heard` says why.

    Raises
    ------
    UnknownNameError
        If the organ has no such stop.
    InputError
        If no stop is drawn, or stops of two keyboards.
    SoundError
        If the recording cannot be decoded.
    """
    check_drawn(organ, drawn, file)
    check_tone(tone_hz)
    keys = organ.keys_of(drawn)
    memory = Memory.of(alone)
    expected = expected_keys(organ, drawn, air_celsius)
    total_s = sound.info.seconds

    def report(done_s: float) -> None:
        if progress is not None:
            progress(done_s, total_s)

    # Finding holds is about a third of the work; keeps the progress bar even.
    features = gather_features(
        sound.blocks(), sound.info.sample_rate, progress=lambda done_s: report(done_s / 3.0)
    )
    base = HeardWalk(file, sound.info, organ.name, tuple(drawn), air_celsius, (), ())
    try:
        quality = sound.inspect()
    except SoundError:  # it was fully decoded above, so it is silent
        return replace(base, heard=not_a_walk("the recording is silent"))
    drones = find_drones(features)
    features = without_drones(features, drones)
    # Find the events once, however many stops' keys are then tried on them.
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
    on_keys = partial(_on_the_keys, unequal=_is_unequal(organ), count=len(keys))
    first = on_keys(walk, wide)
    if played is not None:
        first, said = _put_right(first, played, keys, expected, total_s)
        warnings += said

    def judged(
        walk: NamedWalk,
        every: Sequence[ExpectedKey],
        stops: Sequence[str],
        report: Callable[[float], None] = lambda _: None,
    ) -> HeardWalk:
        found = measure_walk(
            organ,
            drawn,
            air_celsius,
            sound=sound,
            walk=walk,
            keys=keys,
            expected=every,
            drones=drones,
            report=report,
        )
        passed = walk.passed
        silent = [*(keys[index] for index in passed.silent), *found.unanswered]
        late = [
            hold.key.name
            for hold in found.holds
            if hold.key is not None and HoldFlag.RELEASED_LATE in hold.flags
        ]
        said = [f"Released late, into the next hold: {', '.join(late)}."] if late else []
        heard_walk = replace(
            base,
            sound=sound.info,
            holds=less_sure(found.holds),
            silent_keys=tuple(dict.fromkeys(silent)),
            warnings=(*warnings, *said),
            not_held=tuple(keys[index] for index in passed.not_held),
            unsure_keys=tuple(keys[index] for index in passed.unsure),
        )
        surely = without_doubtful(heard_walk.holds, Memory.of([heard_walk]))
        heard_walk = replace(heard_walk, holds=surely)
        # Surely named pipes of this walk also help to name their neighbours.
        known = Memory.of([heard_walk, *alone])
        named = with_pulls(name_pipes(organ, heard_walk, known), memory)[0]
        return _judged(
            organ,
            named,
            stops,
            keys,
            found.evidence,
            shifted=walk.shifted,
            drones=drones,
            before=before or {},
            sure=sure,
            keys_known=played is not None,
        )

    as_stated = judged(
        first, expected, drawn, lambda at_s: report(total_s / 3.0 + 2.0 / 3.0 * at_s)
    )
    report(total_s)

    def named_on(every: Sequence[ExpectedKey]) -> NamedWalk:
        return on_keys(name(widened(every)), widened(every))

    heard = as_stated
    if played is None and may_be_joined(organ, as_stated):
        heard = heard_together(organ, as_stated, keys, expected, name=named_on, judged=judged)
    elif played is None:
        each = {
            stop.id: one
            for stop in organ.stops_among(drawn)
            if len(one := expected_keys(organ, [stop.id], air_celsius)) == len(keys)
        }
        heard = heard_alone(organ, as_stated, each, name=named_on, judged=judged)
    return by_clock(heard, sound, tone_hz)


def check_drawn(organ: Organ, drawn: Sequence[str], where: str) -> None:
    """Reject what cannot be one walk: no stop, or stops of two keyboards without a coupler.

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
    drawn: Sequence[str],
    keys: Sequence[Key],
    evidence: Sequence[Evidence],
    *,
    shifted: Shifted,
    drones: Sequence[Drone],
    before: Remembered,
    sure: bool,
    keys_known: bool,
) -> HeardWalk:
    """The walk with recognition's verdict."""
    weighed = weigh(
        organ,
        drawn,
        keys,
        walk.air_celsius,
        holds=walk.holds,
        evidence=evidence,
        shifted=shifted,
        drones=drones,
        before=before,
        sure=sure,
        keys_known=keys_known,
    )
    held = [hold.key for hold in walk.holds if hold.key is not None]
    stated = [one for one in walk.drawn if one in drawn]
    heard = with_sentence(weighed, organ, stated, held, shifted)
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


def _on_the_keys(
    walk: Walk, wide: Sequence[ExpectedKey], *, unequal: bool, count: int
) -> NamedWalk:
    """The walk named on the organ's own keys, without the shift; and the keys without a hold."""
    shifted = find_shift(walk.holds, [key.combs[0].hz for key in wide], unequal=unequal)

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
    kept = Walk(tuple(holds), tuple(missing), walk.explained)
    return NamedWalk(kept, passed_over(kept.holds, missing), shifted)


def _put_right(
    named: NamedWalk,
    played: Schedule,
    keys: Sequence[Key],
    expected: Sequence[ExpectedKey],
    seconds: float,
) -> tuple[NamedWalk, list[str]]:
    """The walk corrected by the schedule, and the remarks on it."""
    first_hz = [key.combs[0].hz for key in expected]
    aligned = align_schedule(named.walk, played, keys, first_hz, seconds=seconds)
    pressed = {press.key for press in played.presses}
    passed = named.passed
    missing = sorted({*passed.not_held, *passed.silent, *passed.unsure})
    passed = Passed(not_held=tuple(n for n in missing if keys[n] not in pressed))
    if aligned is None:
        said = ["The played file does not fit the recording: identified by ear alone."]
        return replace(named, passed=passed), said
    said = []
    if aligned.dropped:
        said.append(f"Ignored {aligned.dropped} sounds at times when no key was played.")
    return NamedWalk(aligned.walk, passed, named.shifted, aligned.filled), said
