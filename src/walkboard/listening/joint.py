"""Measure all pipes of a hold at once, and say which of them cannot be told apart.

The estimate is made in `joint_stages`; here each pipe's value is judged. A value is given only
where
the pipe's partials stand out of what the others' may do, its uncertainty is small, and it is plain
which pipe it belongs to; else the reading is `merged` with the place and the bound that can be
given
(`near_hz`, `bound_cents`), `silent` or `faint`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from walkboard.listening.heard import Comb, CombReading, Partial, ReadingFlag
from walkboard.listening.joint_labels import odds_as_named
from walkboard.listening.joint_stages import Joint, estimate_jointly, room_asked, unison_sets
from walkboard.listening.subbands import HoldSpectrum
from walkboard.quantities import CENTS_PER_NEPER, cents_of_ratio

_WORST_SIGMA_CENTS = 0.3  # beyond, what is left is no longer normal
_FAR_CENTS = 50.0
_WITHIN_CENTS = 28.0  # of the pipes' common shift; beyond, groups are cut
_UNSTEADY_CENTS = 3.0
_PRESENT = 30.0  # power over variance of a partial that counts as heard
_STANDS_OUT = 150.0  # the same for at least one, where a dead pipe's place is another's skirt
_WORST_ROOM = 50.0  # factor on the room's variance, from which the model does not hold
_SURE_ODDS = 4.0  # logarithm: 98 in 100
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
    while sounding:
        try:
            joint = estimate_jointly(spectrum, [comb.hz for comb in sounding], window_s)
        except (ValueError, np.linalg.LinAlgError):
            return tuple(nothing(comb, ReadingFlag.MERGED) for comb in combs)
        dead = _without_own_partials(spectrum, joint, sounding)
        if dead is None or len(sounding) == 1:
            break
        del sounding[dead]
    found = _readings(spectrum, joint, sounding, (start, end), shared)
    by_comb = {id(comb): reading for comb, reading in zip(sounding, found, strict=True)}
    return tuple(by_comb.get(id(comb)) or nothing(comb, ReadingFlag.SILENT) for comb in combs)


def _without_own_partials(
    spectrum: HoldSpectrum, joint: Joint, combs: Sequence[Comb]
) -> int | None:
    """A pipe of which only every second, third … partial is heard: they are another pipe's."""
    for held in unison_sets([comb.hz for comb in combs]):
        if len(held) > 1:
            continue  # which of them is dead cannot be said
        pipe = held[0]
        levels = _heard_partials(spectrum, joint, pipe)
        if not levels:
            continue
        faintest = max(levels.values()) - _RANGE_DB
        if np.gcd.reduce([number for number, level in levels.items() if level > faintest]) > 1:
            return pipe
    return None


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
    for held in unison_sets([comb.hz for comb in combs]):
        if len(held) == 2:
            pair = _named(combs, joint, readings, (held[0], held[1]))
            readings[held[0]], readings[held[1]] = pair
        elif len(held) > 2:
            for pipe in held:
                readings[pipe] = _merged(readings[pipe], readings[pipe])
                readings[pipe] = replace(readings[pipe], near_hz=None, bound_cents=None)
    return readings


def _heard_partials(spectrum: HoldSpectrum, joint: Joint, pipe: int) -> dict[int, float]:
    """Levels [dB] of a pipe's partials that stand out, by number, in the loudest channel."""
    sizes: dict[int, np.ndarray] = {}
    for index, band in enumerate(joint.bands):
        for j, member in enumerate(band.members):
            part = joint.courses.components.get((index, j))
            if member.pipe == pipe and part is not None and (part.ratio > _PRESENT).any():
                sizes[member.number] = np.abs(spectrum.rotation @ part.amplitude)
    if not sizes:
        return {}
    loudest = int(np.argmax(sum(size**2 for size in sizes.values())))
    return {n: float(20.0 * np.log10(size[loudest] + 1e-15)) for n, size in sorted(sizes.items())}


def _stands_out(joint: Joint, pipe: int) -> bool:
    """Whether a partial of the pipe is far above what its neighbours' sound leaves unsure."""
    return any(
        bool((part.ratio > _STANDS_OUT).any())
        for (index, j), part in joint.courses.components.items()
        if joint.bands[index].members[j].pipe == pipe
    )


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
    own = any(band.group.pipes == {pipe} for band in joint.bands)
    trusted = True
    if not _stands_out(joint, pipe):
        flags.append(ReadingFlag.SILENT if own else ReadingFlag.MERGED)
        trusted = False
    elif room_asked(joint.bands, courses, pipe) > _WORST_ROOM:
        flags.append(ReadingFlag.MERGED)
        trusted = False
    elif sigma_cents > _WORST_SIGMA_CENTS or away_cents > _WITHIN_CENTS:
        flags.append(ReadingFlag.FAINT if own else ReadingFlag.MERGED)
        trusted = False
    elif float(courses.wander_cents[pipe]) > _UNSTEADY_CENTS - 0.1:
        flags.append(ReadingFlag.UNSTEADY)
        trusted = False
    if trusted and abs(cents_of_ratio(hz / comb.hz)) > _FAR_CENTS:
        flags.append(ReadingFlag.FAR)
    level = 10.0 * np.log10(sum(10.0 ** (x / 10.0) for x in levels.values())) if levels else None
    return CombReading(
        comb.label,
        hz if trusted else None,
        sigma_cents if trusted else None,
        None if level is None else float(level),
        times_s[0],
        times_s[1],
        tuple(Partial(number, value) for number, value in levels.items()),
        float(courses.wander_cents[pipe]) if trusted else None,
        tuple(flags),
    )


def _named(
    combs: Sequence[Comb], joint: Joint, readings: Sequence[CombReading], pair: tuple[int, int]
) -> tuple[CombReading, CombReading]:
    """The readings of two near unisons under the right names, or merged where that is unsure."""
    first, second = (readings[p] for p in pair)
    one, two = combs[pair[0]], combs[pair[1]]
    of_first, of_second = (_sizes_db(joint, p) for p in pair)
    odds = odds_as_named(one, two, of_first, of_second)
    if odds < 0.0:
        first, second = _renamed(second, one), _renamed(first, two)
    if first.hz is None or second.hz is None:
        return _merged(first, second), _merged(second, first)
    # Apart by less than this the two do not part by a turn in the window at the highest partial
    # that both have, and neither the values nor the spectra are to be trusted one by one.
    highest = min(max(p.number for p in reading.partials) for reading in (first, second))
    finest_hz = 1.0 / ((first.end_s - first.start_s) * highest)
    resolved = abs(first.hz - second.hz) > finest_hz
    if resolved and abs(odds) >= _SURE_ODDS:
        return first, second
    more_cents = 0.0 if resolved else CENTS_PER_NEPER * finest_hz / first.hz
    return _merged(first, second, more_cents), _merged(second, first, more_cents)


def _sizes_db(joint: Joint, pipe: int) -> dict[int, float]:
    """Levels of all a pipe's partials [dB], the unsure ones at what they may be.

    That an even partial of a stopped pipe is not heard tells as much as one that is.
    """
    sizes = {}
    for (index, j), part in joint.courses.components.items():
        member = joint.bands[index].members[j]
        if member.pipe == pipe:
            power = float((np.abs(part.amplitude) ** 2 * (1.0 + 1.0 / part.ratio)).sum())
            sizes[member.number] = 10.0 * float(np.log10(power + 1e-30))
    return sizes


def _renamed(reading: CombReading, comb: Comb) -> CombReading:
    return replace(reading, label=comb.label)


def _merged(reading: CombReading, other: CombReading, more_cents: float = 0.0) -> CombReading:
    """Withhold a value; the bound is given where both are known and only the names are not."""
    near_hz = bound_cents = None
    if reading.hz is not None and other.hz is not None:
        near_hz = float(np.sqrt(reading.hz * other.hz))
        sigma = max(reading.sigma_cents or 0.0, other.sigma_cents or 0.0)
        bound_cents = 0.5 * abs(cents_of_ratio(reading.hz / other.hz)) + 2.0 * sigma + more_cents
    flags = tuple(dict.fromkeys((*reading.flags, ReadingFlag.MERGED)))
    return replace(
        reading,
        hz=None,
        sigma_cents=None,
        wander_cents=None,
        flags=flags,
        near_hz=near_hz,
        bound_cents=bound_cents,
    )
