"""Measure all pipes of a hold at once, and say which of them cannot be told apart.

The estimate is made in `joint.stages`; here each pipe's value is judged. A value is given only
where the pipe's partials stand out of what the others' may do, its uncertainty is small, and it is
plain which pipe it belongs to; else the reading is `merged` with the place and the bound that can
be given (`near_hz`, `bound_cents`), `silent` or `faint`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from walkboard.listening.hold.spectrum import HoldSpectrum
from walkboard.listening.joint.bounds import with_bounds
from walkboard.listening.joint.names import name_unisons, withheld
from walkboard.listening.joint.stages import Joint, estimate_jointly, unison_sets
from walkboard.listening.types import Comb, CombReading, Partial, ReadingFlag
from walkboard.quantities import CENTS_PER_NEPER, cents_of_ratio

_WORST_SIGMA_CENTS = 0.3  # beyond, what is left is no longer normal
_WORST_WIDENED_CENTS = 0.2  # of sigma as it grew where the model fits badly
_FAR_CENTS = 50.0
_WITHIN_CENTS = 28.0  # of the pipes' common shift; beyond, groups are cut
_UNSTEADY_CENTS = 3.0
_RESTLESS_CENTS = 0.6  # wander from which a pipe is asked why it moves so much more than the others
_RESTLESS_TIMES = 4.0
_PRESENT = 30.0  # power over variance of a partial that counts as heard
_STANDS_OUT = 300.0  # the same for at least one, where a dead pipe's place is another's skirt
_HALF_HEARD = 30.0  # the same from which a pipe that does not stand out is not silent either
_PLAIN = 4_000.0  # the same from which sigma stands as it is; below, it grows with the root
_WORST_ROOM = 250.0  # factor on the room's variance, from which the model does not hold
_HARD_ROOM = 30.0  # the same from which sigma as it grew must be small
_EASY_ROOM = 10.0  # the same up to which sigma stands as it is; beyond, it grows with the root
_MOST_EXCESS = 100.0  # power of a partial over all in its group, from which two cancel each other
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
        return CombReading(comb.label, None, None, None, start, end, flags=(*shared, *flags))

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
    found = [withheld(r) if p in lone else r for p, r in enumerate(found)]
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
    half = [p for p in range(len(combs)) if _HALF_HEARD <= _standing_out(joint, p) < _STANDS_OUT]
    for pipe in range(len(combs)):
        if _shares_all(joint, pipe, half):
            readings[pipe] = withheld(readings[pipe])
    for held in unison_sets([comb.hz for comb in combs]):
        if len(held) == 2:
            pair = name_unisons(combs, joint, readings, (held[0], held[1]))
            readings[held[0]], readings[held[1]] = pair
        elif len(held) > 2:
            for pipe in held:
                readings[pipe] = withheld(readings[pipe])
    return readings


def _without_lines_of_the_lost(
    joint: Joint, combs: Sequence[Comb], readings: Sequence[CombReading]
) -> list[CombReading]:
    """The readings, those withheld whose line may be that of a pipe which found no place.

    Such a value rests only on groups with a pipe that is merged, and that pipe may stand there.
    """
    lost = [p for p, r in enumerate(readings) if ReadingFlag.MERGED in r.flags and not r.either_hz]

    def may_stand_there(hz: float, pipe: int, other: int) -> bool:
        near_hz, bound_cents = readings[other].near_hz, readings[other].bound_cents
        if near_hz is None or bound_cents is None:
            return True
        apart = cents_of_ratio(hz / combs[pipe].hz) - cents_of_ratio(near_hz / combs[other].hz)
        return abs(apart) < bound_cents

    kept = list(readings)
    for pipe, reading in enumerate(readings):
        if reading.hz is None:
            continue
        rivals = {p for p in lost if may_stand_there(reading.hz, pipe, p)}
        rests_on = [
            joint.bands.bands[index].group.pipes
            for index in joint.courses.seen_in(pipe)
            if joint.courses.ratio[index, pipe].max() > _STANDS_OUT
        ]
        if all(pipes & rivals for pipes in rests_on):
            kept[pipe] = withheld(reading)
    return kept


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


def _cancelling(joint: Joint, pipe: int) -> bool:
    """Whether the pipe's loudest partial is far louder than all that sounds in its group."""
    loudest = excess = 0.0
    for index in joint.courses.seen_in(pipe):
        power = float((np.abs(joint.courses.amplitude[index, pipe]) ** 2).sum())
        if power > loudest:
            loudest = power
            values = joint.bands.bands[index].values
            excess = power / float((np.abs(values) ** 2).mean(axis=1).sum())
    return excess > _MOST_EXCESS


def _restless(joint: Joint, pipe: int) -> bool:
    """Whether a pipe wanders much, and far more than those that sound with it on the same wind."""
    wander_cents = joint.courses.wander_cents
    others = [float(cents) for other, cents in enumerate(wander_cents) if other != pipe]
    if len(others) < 2:
        return False  # recorded pairs: one often moves so much more than the other
    limit = max(_RESTLESS_CENTS, _RESTLESS_TIMES * float(np.median(others)))
    return bool(wander_cents[pipe] > limit)


def _standing_out(joint: Joint, pipe: int) -> float:
    """How far the pipe's plainest partial is above what its neighbours' sound leaves unsure [-]."""
    seen = joint.courses.seen[:, pipe]
    return float(joint.courses.ratio[seen, pipe].max(initial=0.0))


def _judged(  # noqa: PLR0917
    spectrum: HoldSpectrum,
    joint: Joint,
    comb: Comb,
    pipe: int,
    times_s: tuple[float, float],
    shared: tuple[ReadingFlag, ...],
) -> CombReading:
    flags = list(shared)
    courses = joint.courses
    levels = _heard_partials(spectrum, joint, pipe)
    hz, sigma_hz = courses.heard(pipe, times_s[1] - times_s[0])
    sigma_cents = CENTS_PER_NEPER * sigma_hz / hz
    away_cents = abs(cents_of_ratio(hz / float(courses.reference_hz[pipe])))
    own = any(band.group.pipes == {pipe} for band in joint.bands.bands)
    room = joint.room(pipe)
    trusted = True
    standing_out = _standing_out(joint, pipe)
    widened_cents = sigma_cents * float(
        np.sqrt(max(1.0, room / _EASY_ROOM) * max(1.0, _PLAIN / max(standing_out, 1.0)))
    )
    if _cancelling(joint, pipe) or joint.misplaced(pipe):
        flags.append(ReadingFlag.MERGED)
        trusted = False
    elif standing_out < _STANDS_OUT:
        flags.append(ReadingFlag.SILENT if own else ReadingFlag.MERGED)
        trusted = False
    elif room > _WORST_ROOM or (room > _HARD_ROOM and widened_cents > _WORST_WIDENED_CENTS):
        flags.append(ReadingFlag.MERGED)
        trusted = False
    elif sigma_cents > _WORST_SIGMA_CENTS or away_cents > _WITHIN_CENTS:
        flags.append(ReadingFlag.FAINT if own else ReadingFlag.MERGED)
        trusted = False
    elif float(courses.wander_cents[pipe]) > _UNSTEADY_CENTS - 0.1:
        flags.append(ReadingFlag.UNSTEADY)
        trusted = False
    elif _restless(joint, pipe):
        # A course that takes up what it should have left to another's partials.
        flags.append(ReadingFlag.UNSTEADY if own else ReadingFlag.MERGED)
        trusted = False
    if trusted and abs(cents_of_ratio(hz / comb.hz)) > _FAR_CENTS:
        flags.append(ReadingFlag.FAR)
    level = 10.0 * np.log10(sum(10.0 ** (x / 10.0) for x in levels.values())) if levels else None
    return CombReading(
        comb.label,
        hz if trusted else None,
        float(widened_cents) if trusted else None,
        None if level is None else float(level),
        times_s[0],
        times_s[1],
        tuple(Partial(number, value) for number, value in levels.items()),
        float(courses.wander_cents[pipe]) if trusted else None,
        tuple(flags),
    )
