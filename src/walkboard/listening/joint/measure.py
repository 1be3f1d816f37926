"""Measure all pipes of a hold at once, and report which of them cannot be separated.

`joint.stages` makes the estimate; here each pipe's value is judged. A value is given only if the
pipe's partials stand out from what the others may do, its uncertainty is small, and it is clear
which pipe it belongs to. Otherwise the reading is `merged`, with a place and a bound where possible
(`near_hz`, `bound_cents`), `silent` or `faint`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from walkboard.listening.hold.slow import slow_movement
from walkboard.listening.hold.spectrum import HoldSpectrum
from walkboard.listening.joint.accept import LOST, OVERTONES, Case, refused_by
from walkboard.listening.joint.bounds import with_bounds
from walkboard.listening.joint.names import name_unisons
from walkboard.listening.joint.stages import estimate_jointly, unison_sets
from walkboard.listening.readings import (
    CombReading,
    Withheld,
    flagged,
    measured,
    without_value,
)
from walkboard.listening.types import Comb, Partial, ReadingFlag
from walkboard.quantities import cents_of_ratio


@dataclass(frozen=True, slots=True)
class Limits:
    """Thresholds for measuring a hold of several pipes, and for flagging a reading."""

    short_s: float = 0.6  # not measured below; chosen
    short_periods: float = 20.0  # of the lowest pipe, not measured below; chosen
    far_cents: float = 50.0  # from `../shared/interface.md`


LIMITS = Limits()


def measure_jointly(
    spectrum: HoldSpectrum,
    combs: Sequence[Comb],
    window_s: tuple[float, float],
    offset_s: float,
    shared: tuple[ReadingFlag, ...],
) -> tuple[CombReading, ...]:
    """Readings of several combs that sound together, in their order.

    Parameters
    ----------
    window_s : (float, float)
        Part to measure, from the start of the hold.
    offset_s : float
        Where the hold begins in the recording.
    shared : tuple of ReadingFlag
        Flags of the whole hold.
    """
    start, end = offset_s + window_s[0], offset_s + window_s[1]
    length = window_s[1] - window_s[0]

    def nothing(comb: Comb, *flags: ReadingFlag) -> CombReading:
        return Withheld(pipe=comb.label, start_s=start, end_s=end, flags=(*shared, *flags))

    if length < LIMITS.short_s or length * min(comb.hz for comb in combs) < LIMITS.short_periods:
        return tuple(nothing(comb, ReadingFlag.SHORT) for comb in combs)
    sounding = list(combs)
    while True:
        try:
            joint = estimate_jointly(spectrum, [comb.hz for comb in sounding], window_s)
        except (ValueError, np.linalg.LinAlgError):
            return tuple(nothing(comb, ReadingFlag.MERGED) for comb in combs)
        cases = [Case(spectrum, joint, pipe, end - start) for pipe in range(len(sounding))]
        # If a pipe with groups of its own is silent, the others are estimated again without it.
        silent = next((c.pipe for c in cases if c.own and OVERTONES.refuses(c)), None)
        if silent is None or len(sounding) == 1:
            break
        del sounding[silent]
    found = [_judged(case, sounding[case.pipe], (start, end), shared) for case in cases]
    for held in unison_sets([comb.hz for comb in sounding]):
        if len(held) == 2:
            first, second = held
            found[first], found[second] = name_unisons(sounding, joint, found, (first, second))
    found = with_bounds(joint, sounding, found)
    known = tuple(found)
    for case in cases:
        if LOST.refuses(replace(case, readings=known)):
            found[case.pipe] = without_value(found[case.pipe], LOST.flag)
    by_comb = {id(comb): reading for comb, reading in zip(sounding, found, strict=True)}
    return tuple(by_comb.get(id(comb)) or nothing(comb, ReadingFlag.SILENT) for comb in combs)


def _judged(
    case: Case, comb: Comb, times_s: tuple[float, float], shared: tuple[ReadingFlag, ...]
) -> CombReading:
    """The reading of one pipe: a value, or the flag of the rule that withholds it."""
    levels = case.heard_db
    level = 10.0 * np.log10(sum(10.0 ** (x / 10.0) for x in levels.values())) if levels else None
    reading = Withheld(
        pipe=comb.label,
        start_s=times_s[0],
        end_s=times_s[1],
        level_db=None if level is None else float(level),
        flags=shared,
        partials=tuple(Partial(number, value) for number, value in levels.items()),
    )
    rule = refused_by(case)
    if rule is not None:
        return flagged(reading, rule.flag_of(case))
    hz, _ = case.joint.courses.heard(case.pipe, case.seconds)
    cents = cents_of_ratio(hz / comb.hz)
    value = measured(
        reading,
        hz=hz,
        sigma_cents=case.given_cents,
        cents=cents,
        wander_cents=float(case.joint.courses.wander_cents[case.pipe]),
        slow=slow_movement(case.joint.courses.course[case.pipe], hz, case.seconds),
    )
    return flagged(value, ReadingFlag.FAR) if abs(cents) > LIMITS.far_cents else value
