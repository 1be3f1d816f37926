"""Weighs all evidence of a walk: what sounded, and whether to trust the values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np

from walkboard.listening.evidence.drones import Drone
from walkboard.listening.readings import Measured, flagged, withheld
from walkboard.listening.types import ReadingFlag
from walkboard.organ.model import Family, Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.quantities import ratio_of_cents
from walkboard.scales.keys import Key
from walkboard.survey.hear.audible import heard_of
from walkboard.survey.hear.before import (
    NOT_COMPARED,
    Answer,
    Compared,
    Remembered,
    compare,
)
from walkboard.survey.hear.carried import moved_cents
from walkboard.survey.hear.ciphers import cipher_of
from walkboard.survey.hear.family import family_of_stop, other_family
from walkboard.survey.hear.heard_walk import Hold
from walkboard.survey.hear.octave_doubt import NO_DOUBT, OctaveDoubt, octave_doubt
from walkboard.survey.hear.odd_holds import beside_ciphers, jumped_holds, odd_holds
from walkboard.survey.recognise.companions import (
    Companion,
    find_companions,
    is_octave_of_stated,
)
from walkboard.survey.recognise.evidence import Evidence
from walkboard.survey.recognise.hypotheses import Hypothesis, hypotheses
from walkboard.survey.recognise.limits import LIMITS as RECOGNITION
from walkboard.survey.recognise.shift import Shifted
from walkboard.survey.recognise.verdict import AlsoSounding, Heard, Tremulant


@dataclass(frozen=True, slots=True)
class Limits:
    """When evidence along a walk counts."""

    same_pitch: float = 0.04  # relative: a stop that beats with the stated one [-]; chosen
    least_holds: int = 6  # fewer say nothing about shares along the walk; chosen
    least_moved: int = 3  # holds with moved partials; chosen
    tremulant_holds: int = 4  # fewer with movement: no tremulant is reported; chosen
    tremulant_share: float = 0.6  # share of them at one rate [-]; fitted by bench situations
    shift_readings: int = 3  # with fewer, the shift is the holds' rough one; chosen
    odd_share: float = 0.8  # share of odd partials above which a companion is stopped [-]; chosen


LIMITS = Limits()
_NOTHING: Remembered = MappingProxyType({})


@dataclass(frozen=True)
class Weighed:
    """The verdict, and its consequences for single holds.

    Attributes
    ----------
    heard : Heard
        Its sentence is not yet filled in.
    withheld : dict of int to ReadingFlag
        Holds, by number, whose readings get no value, and the flag that says why.
    marked : ReadingFlag or None
        A flag that every reading gets.
    unnamed : bool
        Whether something unstated sounds that no stop of the organ fits.
    moved_cents : float or None
        Movement of pitch within holds, if more than pipes can make: the microphone was carried.
    compared : Compared
        What earlier recordings of the rank say.
    octave : OctaveDoubt
        Whether it may be a stop an octave away.
    sure : bool
        Whether the tuner is sure of the stops: what it sounds like is then said, but not doubted.
    """

    heard: Heard
    withheld: dict[int, ReadingFlag] = field(default_factory=dict)
    marked: ReadingFlag | None = None
    unnamed: bool = False
    moved_cents: float | None = None
    compared: Compared = NOT_COMPARED
    octave: OctaveDoubt = NO_DOUBT
    sure: bool = False


def weigh(
    organ: Organ,
    drawn: Sequence[str],
    keys: Sequence[Key],
    air_celsius: float | None,
    *,
    holds: Sequence[Hold],
    evidence: Sequence[Evidence],
    shifted: Shifted,
    drones: Sequence[Drone],
    before: Remembered = _NOTHING,
    sure: bool = False,
    keys_known: bool = False,
) -> Weighed:
    """Weigh the hypotheses.

    Parameters
    ----------
    organ, drawn, air_celsius
        As stated.
    keys : sequence of Key
        Keys of the drawn stops, indexed by the evidence.
    holds : sequence of Hold
        The measured holds.
    evidence : sequence of Evidence
        Evidence of every hold that has a key, in order of time.
    shifted : Shifted
    drones : sequence of Drone
    before : mapping of str to RankSound
        How ranks sounded in earlier recordings.
    sure : bool
        Whether the tuner is sure that these stops were drawn.
    keys_known : bool
        Whether the file of a played walk says which keys were held.
    """
    stops = [stop.id for stop in organ.stops_among(drawn)]
    tremulant = _tremulant(evidence)
    ciphers = tuple(cipher_of(organ, drawn, air_celsius, shifted.cents, one) for one in drones)
    also, unnamed = _also(
        organ, stops, keys, air_celsius, evidence=evidence, shift_cents=shifted.cents
    )
    if tremulant is not None:
        also, unnamed = (), False  # a deep tremulant's side bands look like another pipe
    plain = any(2 * one.keys >= one.of_keys for one in also)
    moved = None if tremulant or plain else moved_cents(holds)
    if moved is not None:
        also, unnamed = (), False  # a microphone that moves makes beats and lines of its own
    instead, not_the_family = ((), False) if also or sure else other_family(organ, drawn, holds)
    compared = NOT_COMPARED
    if not (also or unnamed or tremulant or moved or not_the_family):
        compared = compare(organ, drawn, holds, air_celsius, before)
    octave = NO_DOUBT
    if not (also or unnamed or tremulant or moved or not_the_family or sure or keys_known):
        octave = octave_doubt(organ, drawn, holds, air_celsius, before)
    if sure and compared.answer is Answer.UNLIKE:
        compared = NOT_COMPARED
    heard_before = compared.answer is Answer.OTHER and not sure
    if octave.likely:
        count = len(holds)
        instead = (AlsoSounding(octave.likely[0], count, count, 0, octave.likely[1:]),)
    if heard_before:
        instead = (AlsoSounding(compared.stops[0], len(holds), len(holds), 0, compared.stops[1:]),)
    another = not_the_family or heard_before or bool(octave.likely)
    missing = () if also or unnamed else _not_sounding(stops, organ, air_celsius, holds)
    far = abs(shifted.cents) >= RECOGNITION.shift_asked_cents
    believed = not (also or unnamed or tremulant or another or far or moved)
    withheld: dict[int, ReadingFlag] = {}
    if also or unnamed or another:
        withheld = {hold.n: ReadingFlag.OTHER for hold in holds}
    elif far or moved:
        why = ReadingFlag.FAR if far else ReadingFlag.UNSTEADY
        withheld = {hold.n: why for hold in holds}
    elif tremulant is None:
        ratio = ratio_of_cents(shifted.cents)
        due = [
            [target_hz(organ, pipe, air_celsius) * ratio for pipe in organ.sounding(drawn, key)]
            for key in keys
        ]
        withheld = jumped_holds(holds) | odd_holds(holds, evidence, due)
        withheld |= beside_ciphers(holds, evidence, drones)
    marked = ReadingFlag.TREMULANT if tremulant else None
    heard = Heard(
        sentence="",
        also_sounding=also or instead,
        not_sounding=tuple(drawn) if another else missing,
        shift_cents=_shift_cents(holds, shifted),
        tremulant=tremulant,
        cipher=ciphers,
        believed=believed,
    )
    return Weighed(heard, withheld, marked, unnamed, moved, compared, octave, sure)


def _shift_cents(holds: Sequence[Hold], shifted: Shifted) -> float:
    cents = [r.cents for hold in holds for r in hold.readings if isinstance(r, Measured)]
    return float(np.median(cents)) if len(cents) >= LIMITS.shift_readings else shifted.cents


def _tremulant(evidence: Sequence[Evidence]) -> Tremulant | None:
    """A tremulant moves pitch, and nearly always level, of every hold at one rate."""
    seen = [one.modulation for one in evidence if one.modulation is not None]
    if len(seen) < LIMITS.tremulant_holds:
        return None
    rates = np.array([m.rate_hz for m in seen])
    rate = float(np.median(rates))
    if rate < RECOGNITION.tremulant_slowest_hz:
        return None
    same = np.abs(rates - rate) <= RECOGNITION.tremulant_rate_hz
    if same.mean() < LIMITS.tremulant_share:
        return None
    pitch = float(np.median([m.stands_out for m in seen]))
    level = float(np.median([m.level_stands_out for m in seen]))
    cents = float(np.median([m.depth_cents for m in seen]))
    depth_db = float(np.median([m.depth_db for m in seen]))
    level_moves = level >= RECOGNITION.tremulant_times and depth_db >= RECOGNITION.tremulant_db
    least = RECOGNITION.tremulant_cents if level_moves else RECOGNITION.tremulant_deep_cents
    if pitch < RECOGNITION.tremulant_times or cents < least:
        return None
    return Tremulant(float(rates[same].mean()), cents, depth_db)


def _also(
    organ: Organ,
    drawn: Sequence[str],
    keys: Sequence[Key],
    air_celsius: float | None,
    *,
    evidence: Sequence[Evidence],
    shift_cents: float,
) -> tuple[tuple[AlsoSounding, ...], bool]:
    """Unstated stops that sound along the walk; and whether something sounds that none fits."""
    if len(evidence) < LIMITS.least_holds:
        return (), False
    single = all(len(one.stated_hz) == 1 for one in evidence)
    share = RECOGNITION.also_share if single else RECOGNITION.also_share_several
    known = {one.name: one for one in hypotheses(organ, drawn, keys, air_celsius)}
    ratio = ratio_of_cents(shift_cents)
    due = {
        name: [None if (hz := one.due_hz[e.key]) is None else hz * ratio for e in evidence]
        for name, one in known.items()
    }
    companions = _without_the_stated(find_companions(evidence, due, share), evidence, due)
    also = tuple(
        named_companion(organ, drawn, known[companion.name], companion, evidence)
        for companion in companions
    )
    if also:
        return also, False
    beating = _beating(list(known.values()), evidence)
    if beating is not None:
        return (beating,), False
    near = _moving_partials(list(known.values()), evidence)
    if near is not None:
        return (near,), False
    disagree = float(np.mean([one.disagrees is not None for one in evidence]))
    return (), disagree >= share


def _without_the_stated(
    companions: Sequence[Companion],
    evidence: Sequence[Evidence],
    due: Mapping[str, Sequence[float | None]],
) -> list[Companion]:
    """The companions without one in unison with the stated stop, if a clearer one was found.

    The unison one pulls the stated pipe's place to itself, and leaves its own lines unexplained.
    """
    most = max((companion.holds for companion in companions), default=0)

    def in_unison(companion: Companion) -> bool:
        ratios = [
            hz / one.stated_hz[0]
            for hz, one in zip(due[companion.name], evidence, strict=True)
            if hz is not None and one.stated_hz[0] is not None
        ]
        return bool(ratios) and abs(float(np.median(ratios)) - 1.0) < LIMITS.same_pitch

    return [one for one in companions if one.holds == most or not in_unison(one)]


def _beating(known: Sequence[Hypothesis], evidence: Sequence[Evidence]) -> AlsoSounding | None:
    """A stop in unison with the stated one, or at the octave, that shows only by its beats."""
    seen = [one for one in evidence if one.unrest_db is not None]
    if len(seen) < LIMITS.least_holds:
        return None
    for multiple, part in ((1, 0), (2, 1)):
        least_db = RECOGNITION.unrest_db
        unrest = [one.unrest_db[part] for one in seen if one.unrest_db is not None]
        moved = [db for db in unrest if db > least_db]
        plainly = sum(db > RECOGNITION.plain_unrest_db for db in unrest)
        beats = len(moved) >= RECOGNITION.unrest_share * len(seen)
        if not beats and plainly < RECOGNITION.plain_unrest_share * len(seen):
            continue
        stops = _stops_at(multiple, known, seen[0])
        if stops:
            return AlsoSounding(stops[0], len(moved), len(seen), 0, stops[1:])
    return None


def _moving_partials(
    known: Sequence[Hypothesis], evidence: Sequence[Evidence]
) -> AlsoSounding | None:
    """An octave or a twelfth so nearly in tune that it shows only by the partials it moves.

    One pipe's partials are harmonic: in clean walks hardly a hold has every second or third of them
    off the others.
    """
    for multiple in (2, 3):
        moved = sum(one.disagrees == multiple for one in evidence)
        if moved < LIMITS.least_moved or moved < RECOGNITION.moves_share * len(evidence):
            continue
        stops = _stops_at(multiple, known, next(e for e in evidence if e.disagrees == multiple))
        if stops:
            return AlsoSounding(stops[0], moved, len(evidence), 0, stops[1:])
    return None


def _stops_at(multiple: int, known: Sequence[Hypothesis], one: Evidence) -> tuple[str, ...]:
    """Stops whose pipe is due at a partial of the stated one."""
    stated = one.stated_hz[0]
    for what in known:
        due = what.due_hz[one.key]
        if due is None or stated is None or not what.stops:
            continue
        if abs(due / stated / multiple - 1.0) < LIMITS.same_pitch:
            return what.stops
    return ()


def named_companion(
    organ: Organ,
    drawn: Sequence[str],
    what: Hypothesis,
    companion: Companion,
    evidence: Sequence[Evidence],
) -> AlsoSounding:
    """Identifies a companion: the stated stop an octave off, or a stop of that pitch."""
    heard, able = companion.holds, companion.of_holds
    if what.semitones and (
        not what.stops or is_octave_of_stated(companion, evidence, what.semitones)
    ):
        return AlsoSounding(drawn[0], heard, able, what.semitones, what.stops)
    met = [series.numbers for series in companion.series.values() if len(series.numbers)]
    odd = float((np.concatenate(met) % 2).mean()) if met else 0.0
    stopped = odd > LIMITS.odd_share
    stops = sorted(
        what.stops,
        key=lambda stop: (
            (family_of_stop(organ, stop) in (Family.STOPPED, Family.CHIMNEY)) != stopped
        ),
    )
    if not stops:
        return AlsoSounding(drawn[0], heard, able, what.semitones)
    return AlsoSounding(stops[0], heard, able, 0, tuple(stops[1:]))


def _not_sounding(
    stops: Sequence[str], organ: Organ, air_celsius: float | None, holds: Sequence[Hold]
) -> tuple[str, ...]:
    """Stated stops with hardly any pipe heard, while others were."""
    if len(stops) < 2 or len(holds) < LIMITS.least_holds:
        return ()
    sounded = heard_of(organ, air_celsius, holds)
    missing = []
    for stop in stops:
        ranks = {plays.rank for plays in organ.stop(stop).plays}
        read = [heard for hold in sounded for rank, heard in hold if rank in ranks]
        found = [heard for heard in read if heard]
        if len(read) >= LIMITS.least_holds and len(found) <= RECOGNITION.silent_share * len(read):
            missing.append(stop)
    return tuple(missing) if len(missing) < len(stops) else ()


def apply(weighed: Weighed, holds: Sequence[Hold]) -> tuple[Hold, ...]:
    """The holds with the verdict applied to their readings."""
    tremulant = weighed.heard.tremulant
    done = []
    for hold in holds:
        readings = []
        for reading in hold.readings:
            changed = reading
            if hold.n in weighed.withheld:
                changed = withheld(reading, weighed.withheld[hold.n])
            if weighed.marked is not None:
                changed = flagged(changed, weighed.marked)
            if tremulant is not None and isinstance(changed, Measured):
                # The mean over the window is off by the last, unfinished period's part.
                length_s = max(0.2, changed.end_s - changed.start_s)
                left = tremulant.depth_cents / (2.0 * np.pi * tremulant.rate_hz * length_s)
                changed = replace(changed, sigma_cents=float(np.hypot(changed.sigma_cents, left)))
            readings.append(changed)
        done.append(replace(hold, readings=tuple(readings)))
    return tuple(done)


def pipes_of(holds: Sequence[Hold]) -> set[PipeRef]:
    """Every pipe with a reading."""
    return {reading.pipe for hold in holds for reading in hold.readings}
