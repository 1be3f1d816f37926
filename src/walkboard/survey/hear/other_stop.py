"""Whether a different stop than stated was walked, alone or with others."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from walkboard.listening.sound.recording import LONGEST_SPAN_S, Sound
from walkboard.listening.types import ExpectedKey, Walk
from walkboard.organ.model import Organ
from walkboard.quantities import ratio_of_cents
from walkboard.survey.hear.expected import expected_keys, pitches, widened
from walkboard.survey.hear.sentence import other_stop, several_stops
from walkboard.survey.hear.weigh import named_companion
from walkboard.survey.recognise.companions import find_companions
from walkboard.survey.recognise.evidence import Evidence, evidence_of
from walkboard.survey.recognise.hypotheses import Hypothesis, hypotheses
from walkboard.survey.recognise.limits import LIMITS
from walkboard.survey.recognise.shift import MARGIN_KEYS
from walkboard.survey.recognise.verdict import AlsoSounding, Heard
from walkboard.survey.recognise.walked import LOOKS_WRONG, Candidate, fit, walked_instead

_LOOKED_AT = 14  # holds checked for whether the other stop sounds alone
_LEAST_HOLDS = 5  # of these needed to say what sounds beside it
_SPEAKS_DB = 26.0  # below the loudest line: range of a stop's own first or third partial
_OCTAVES = {"+12", "-12"}
_ALIKE = 1e-3  # relative: pitches of two stops


def other_stop_walked(
    organ: Organ,
    drawn: Sequence[str],
    air_celsius: float | None,
    *,
    name: Callable[[Sequence[ExpectedKey]], Walk],
    walk: Walk,
    sound: Sound,
) -> Heard | None:
    """The verdict if another stop, or the stated one an octave off, fits clearly better.

    Parameters
    ----------
    organ, drawn, air_celsius
        As stated.
    name : callable
        Names the recording's holds on given keys.
    walk : Walk
        The walk named on the stated stops' keys.
    sound : Sound
        The recording, to see whether the other stop sounds alone.
    """

    def of_stop(stop: str) -> Candidate:
        return Candidate(stop, widened(expected_keys(organ, [stop], air_celsius)))

    def off_by(semitones: int) -> Candidate:
        stated = expected_keys(organ, drawn, air_celsius)
        ratio = ratio_of_cents(100.0 * semitones)
        keys = tuple(
            replace(key, combs=tuple(replace(comb, hz=comb.hz * ratio) for comb in key.combs))
            for key in stated
            if 10.0 < key.combs[0].hz * ratio < 20_000.0
        )
        return Candidate(f"{semitones:+d}", keys)

    candidates: list[Callable[[], Candidate]] = []
    tried = {pitches(organ, drawn)}
    played = organ.stop(_stops(organ, drawn)[0]).division
    in_order = sorted(organ.stops, key=lambda stop: stop.division != played)
    for stop in in_order:
        theirs = pitches(organ, [stop.id])
        if theirs and theirs not in tried:
            tried.add(theirs)
            candidates.append(partial(of_stop, stop.id))
    candidates += [partial(off_by, 12), partial(off_by, -12)]
    best = walked_instead(walk, candidates, name)
    if best is None:
        return None
    found, other = best
    heard = len({hold.key for hold in other.holds if hold.key is not None})
    stops = _stops(organ, drawn)
    keys = (
        widened(off_by(int(found)).keys)
        if found in _OCTAVES
        else widened(expected_keys(organ, [found], air_celsius))
    )
    due = [key.combs[0].hz for key in keys[MARGIN_KEYS:-MARGIN_KEYS]]
    alike = [
        stop.id for stop in organ.stops if stop.id not in drawn and _sounds_at(organ, stop.id, due)
    ]
    if found not in _OCTAVES:
        alike = [found, *(stop for stop in alike if stop != found)]
    first = (
        AlsoSounding(alike[0], heard, heard, 0, tuple(alike[1:]))
        if alike
        else AlsoSounding(stops[0], heard, heard, int(found))
    )
    evidence = _looked_at(other, sound)
    if not _speaks(evidence):
        return None  # a lower comb includes the lines of any higher one
    more = _with_it(organ, drawn, air_celsius, evidence=evidence, keys=keys)
    if more is None:
        return other_stop(organ, stops, first)
    if fit(walk) >= LOOKS_WRONG:
        return None  # the stated stop sounds too, so that all are measured together
    named = {*drawn, first.stop, *first.or_stops}
    beside = [one for one in more if one.stop not in named]
    return several_stops(organ, stops, [first, *beside])


def _stops(organ: Organ, drawn: Sequence[str]) -> list[str]:
    return [stop.id for stop in organ.stops_among(drawn)]


def _sounds_at(organ: Organ, stop: str, due_hz: Sequence[float]) -> bool:
    """Whether a stop's keys sound these pitches, over their common range."""
    mine = expected_keys(organ, [stop], None)
    if any(len(key.combs) > 1 for key in mine):
        return False
    pairs = [(key.combs[0].hz, hz) for key, hz in zip(mine, due_hz, strict=False)]
    ratios = np.array([a / b for a, b in pairs])
    return (
        len(ratios) > 0
        and bool(np.abs(ratios / np.median(ratios) - 1.0).max() < _ALIKE)
        and bool(abs(float(np.median(ratios)) - 1.0) < 0.03)
    )


def _looked_at(walk: Walk, sound: Sound) -> list[Evidence]:
    """Evidence of some of the holds, with the other stop in place of the stated one."""
    plain = [
        hold
        for hold in walk.holds
        if hold.key is not None and hold.overtone == 1 and hold.end_s - hold.start_s > 0.8
    ]
    looked = plain[:: max(1, len(plain) // _LOOKED_AT)]
    spans = [(hold.start_s, min(hold.end_s, hold.start_s + LONGEST_SPAN_S)) for hold in looked]
    evidence: list[Evidence] = []
    for hold, samples in zip(looked, sound.spans(spans), strict=True):
        if hold.key is not None and hold.heard_hz is not None:
            evidence.append(
                evidence_of(
                    samples,
                    sound.info.sample_rate,
                    key=hold.key,
                    times_s=(hold.start_s, hold.end_s),
                    expected_hz=[hold.heard_hz],
                    measured_hz=[None],
                )
            )
    return evidence


def _speaks(evidence: Sequence[Evidence]) -> bool:
    """Whether the comb has lines that no comb an octave higher has: its first or third partial."""
    speaking = []
    for one in evidence:
        hz = one.stated_hz[0]
        if hz is None or not one.explained.any():
            speaking.append(False)
            continue
        number = np.rint(one.lines.hz / hz)
        loud = one.lines.level_db > one.lines.level_db.max() - _SPEAKS_DB
        speaking.append(bool((one.explained & loud & ((number == 1) | (number == 3))).any()))
    return bool(speaking) and float(np.mean(speaking)) >= 0.5


def _with_it(
    organ: Organ,
    drawn: Sequence[str],
    air_celsius: float | None,
    *,
    evidence: Sequence[Evidence],
    keys: Sequence[ExpectedKey],
) -> list[AlsoSounding] | None:
    """What sounds beside the other stop; None if nothing does."""
    if len(evidence) < _LEAST_HOLDS:
        return None
    # Every pitch of the organ, counted from the key that the other stop gives.
    own = [key.combs[0].hz for key in keys]
    base = expected_keys(organ, drawn, air_celsius)
    wide = [key.combs[0].hz for key in widened(base)]
    count = min(len(own), len(wide))
    known: dict[str, tuple[Hypothesis | None, float]] = {}
    for one in hypotheses(organ, drawn, organ.keys_of(drawn), air_celsius):
        ratio = [hz / key.combs[0].hz for hz, key in zip(one.due_hz, base, strict=True) if hz]
        known[one.name] = (one, float(np.median(ratio)))
    known[drawn[0]] = (None, 1.0)
    due = {
        name: [
            wide[e.key] * ratio * (e.stated_hz[0] or own[e.key]) / own[e.key]
            if e.key < count
            else None
            for e in evidence
        ]
        for name, (_, ratio) in known.items()
    }
    found = find_companions(evidence, due, LIMITS.also_share)
    disagree = float(np.mean([one.disagrees is not None for one in evidence]))
    if not found and disagree < LIMITS.also_share:
        return None
    also = []
    for companion in found:
        what, _ = known[companion.name]
        if what is not None:
            also.append(named_companion(organ, _stops(organ, drawn), what, companion, evidence))
    return also
