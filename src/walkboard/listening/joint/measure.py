"""Measure all pipes of a hold at once, and say which of them cannot be separated.

The estimate is made in `joint.stages`; here each pipe's value is judged. A value is given only
where the pipe's partials stand out of what the others' may do, its uncertainty is small, and it is
plain which pipe it belongs to; else the reading is `merged` with the place and the bound that can
be given (`near_hz`, `bound_cents`), `silent` or `faint`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from walkboard.listening.hold.spectrum import HoldSpectrum
from walkboard.listening.joint.accept import LIMITS, Case, refused_by
from walkboard.listening.joint.bounds import with_bounds
from walkboard.listening.joint.names import name_unisons
from walkboard.listening.joint.stages import Joint, estimate_jointly, unison_sets
from walkboard.listening.readings import (
    CombReading,
    Measured,
    Withheld,
    measured,
    without_value,
)
from walkboard.listening.types import Comb, Partial, ReadingFlag
from walkboard.quantities import cents_of_ratio

_FAR_CENTS = 50.0
_PRESENT = 30.0  # power over variance of a partial that counts as heard
_RANGE_DB = 35.0  # below a pipe's loudest partial, in which its own must be heard
_SHORT_S = 0.6
_SHORT_PERIODS = 20.0


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
        To be measured, from the start of the hold.
    offset_s : float
        Where the hold begins in the recording.
    shared : tuple of ReadingFlag
        Flags of the whole hold.
    """
    start, end = offset_s + window_s[0], offset_s + window_s[1]
    length = window_s[1] - window_s[0]

    def nothing(comb: Comb, *flags: ReadingFlag) -> CombReading:
        return Withheld(pipe=comb.label, start_s=start, end_s=end, flags=(*shared, *flags))

    if length < _SHORT_S or length * min(comb.hz for comb in combs) < _SHORT_PERIODS:
        return tuple(nothing(comb, ReadingFlag.SHORT) for comb in combs)
    sounding = list(combs)
    while True:
        try:
            joint = estimate_jointly(spectrum, [comb.hz for comb in sounding], window_s)
        except (ValueError, np.linalg.LinAlgError):
            return tuple(nothing(comb, ReadingFlag.MERGED) for comb in combs)
        lone = _without_own_partials(spectrum, joint, sounding)
        silent = [p for p in lone if any(b.group.pipes == {p} for b in joint.bands.bands)]
        if not silent or len(sounding) == 1:
            break
        del sounding[silent[0]]
    found = _readings(spectrum, joint, sounding, (start, end), shared)
    # Under another pipe's partials it may sound and not be heard.
    found = [_merged(r) if p in lone else r for p, r in enumerate(found)]
    found = with_bounds(joint, sounding, found)
    found = _without_lines_of_the_lost(joint, sounding, found)
    by_comb = {id(comb): reading for comb, reading in zip(sounding, found, strict=True)}
    return tuple(by_comb.get(id(comb)) or nothing(comb, ReadingFlag.SILENT) for comb in combs)


def _without_own_partials(spectrum: HoldSpectrum, joint: Joint, combs: Sequence[Comb]) -> list[int]:
    """Pipes of which only every second, third … partial is heard: they may be another pipe's."""
    lone = []
    for held in unison_sets([comb.hz for comb in combs]):
        if len(held) > 1:
            continue  # which of them is dead cannot be said
        pipe = held[0]
        levels = _heard_partials(spectrum, joint, pipe)
        for band in joint.bands.bands:
            # What a group to itself sounds is the pipe's, whether or not it was used.
            if band.group.pipes == {pipe}:
                power = np.abs(spectrum.rotation @ band.values).max(axis=0) ** 2
                levels.setdefault(
                    band.members[0].number, 10.0 * float(np.log10(power.mean() + 1e-30))
                )
        if not levels:
            continue
        faintest = max(levels.values()) - _RANGE_DB
        if np.gcd.reduce([number for number, level in levels.items() if level > faintest]) > 1:
            lone.append(pipe)
    return lone


def _readings(
    spectrum: HoldSpectrum,
    joint: Joint,
    combs: Sequence[Comb],
    times_s: tuple[float, float],
    shared: tuple[ReadingFlag, ...],
) -> list[CombReading]:
    readings = [
        _judged(spectrum, joint, comb, pipe, times_s, shared) for pipe, comb in enumerate(combs)
    ]
    # One that is half heard may stand elsewhere, and a pipe whose every partial is also its own
    # partial may stand in its place.
    seconds = times_s[1] - times_s[0]
    plainest = [Case(joint, pipe, seconds).standing_out for pipe in range(len(combs))]
    half = [p for p, r in enumerate(plainest) if LIMITS.half_heard <= r < LIMITS.standing_out]
    for pipe in range(len(combs)):
        if _shares_all(joint, pipe, half):
            readings[pipe] = _merged(readings[pipe])
    for held in unison_sets([comb.hz for comb in combs]):
        if len(held) == 2:
            pair = name_unisons(combs, joint, readings, (held[0], held[1]))
            readings[held[0]], readings[held[1]] = pair
        elif len(held) > 2:
            for pipe in held:
                readings[pipe] = _merged(readings[pipe])
    return readings


def _without_lines_of_the_lost(
    joint: Joint, combs: Sequence[Comb], readings: Sequence[CombReading]
) -> list[CombReading]:
    """The readings, those withheld whose line may be that of a pipe which found no place.

    Such a value rests only on groups with a pipe that is merged, and that pipe may stand there.
    """
    lost = [
        p for p, r in enumerate(readings) if ReadingFlag.MERGED in r.flags and not _told_apart(r)
    ]

    def may_stand_there(hz: float, pipe: int, other: int) -> bool:
        bound = readings[other].bound_or_none
        if bound is None:
            return True
        apart = cents_of_ratio(hz / combs[pipe].hz)
        apart -= cents_of_ratio(bound.near_hz / combs[other].hz)
        return abs(apart) < bound.bound_cents

    kept = list(readings)
    for pipe, reading in enumerate(readings):
        if not isinstance(reading, Measured):
            continue
        rivals = {p for p in lost if may_stand_there(reading.hz, pipe, p)}
        rests_on = [
            joint.bands.bands[index].group.pipes
            for index in joint.courses.seen_in(pipe)
            if joint.courses.ratio[index, pipe].max() > LIMITS.standing_out
        ]
        if all(pipes & rivals for pipes in rests_on):
            kept[pipe] = _merged(reading)
    return kept


def _merged(reading: CombReading) -> CombReading:
    """The reading without its value, as one that cannot be separated."""
    return without_value(reading, ReadingFlag.MERGED)


def _told_apart(reading: CombReading) -> bool:
    return reading.bound_or_none is not None and reading.bound_or_none.either is not None


def _shares_all(joint: Joint, pipe: int, others: Sequence[int]) -> bool:
    """Whether every partial of a pipe falls on one of a single pipe among the others."""
    theirs = [joint.bands.bands[index].group.pipes for index in joint.bands.with_pipe(pipe)]
    return any(all(p in pipes for pipes in theirs) for p in others if p != pipe)


def _heard_partials(spectrum: HoldSpectrum, joint: Joint, pipe: int) -> dict[int, float]:
    """Levels [dB] of a pipe's partials that stand out, by number, in the loudest channel.

    At most what its whole group sounds: two that are hardly apart may be fitted by far more, the
    one against the other.
    """
    sizes: dict[int, np.ndarray] = {}
    courses = joint.courses
    for index in courses.seen_in(pipe):
        if (courses.ratio[index, pipe] > _PRESENT).any():
            values = joint.bands.bands[index].values
            whole = np.sqrt((np.abs(spectrum.rotation @ values) ** 2).mean(axis=1))
            own = np.abs(spectrum.rotation @ courses.amplitude[index, pipe])
            sizes[int(joint.bands.numbers[index, pipe])] = np.minimum(own, whole)
    if not sizes:
        return {}
    loudest = int(np.argmax(sum(size**2 for size in sizes.values())))
    return {n: float(20.0 * np.log10(size[loudest] + 1e-15)) for n, size in sorted(sizes.items())}


def _judged(  # noqa: PLR0917
    spectrum: HoldSpectrum,
    joint: Joint,
    comb: Comb,
    pipe: int,
    times_s: tuple[float, float],
    shared: tuple[ReadingFlag, ...],
) -> CombReading:
    flags = list(shared)
    levels = _heard_partials(spectrum, joint, pipe)
    case = Case(joint, pipe, times_s[1] - times_s[0])
    hz, _ = joint.courses.heard(pipe, case.seconds)
    rule = refused_by(case)
    cents = cents_of_ratio(hz / comb.hz)
    if rule is not None:
        flags.append(rule.flag_of(case))
    elif abs(cents) > _FAR_CENTS:
        flags.append(ReadingFlag.FAR)
    level = 10.0 * np.log10(sum(10.0 ** (x / 10.0) for x in levels.values())) if levels else None
    reading = Withheld(
        pipe=comb.label,
        start_s=times_s[0],
        end_s=times_s[1],
        level_db=None if level is None else float(level),
        flags=tuple(flags),
        partials=tuple(Partial(number, value) for number, value in levels.items()),
    )
    if rule is not None:
        return reading
    return measured(
        reading,
        hz=hz,
        sigma_cents=case.given_cents,
        cents=cents,
        wander_cents=float(joint.courses.wander_cents[pipe]),
    )
