"""What one hold shows beside the stated pipes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.evidence.lines import (
    HoldLines,
    LongSpectrum,
    best_series,
    lines_of,
    long_spectrum,
)
from walkboard.listening.evidence.modulation import (
    Modulation,
    loudness_unrest_db,
    modulation_of,
)
from walkboard.survey.recognise.limits import LIMITS as RECOGNITION

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Limits:
    """Which lines belong to a stated pipe. *Fitted*: by bench situations."""

    most_partials: int = 240  # derived: lines go up to 7.5 kHz, and a 16′ begins at 32 Hz
    stated_reach_cents: float = 40.0  # from where a stated comb is expected; fitted
    beating_from_hz: float = 100.0  # noise and wind move lower partials as much; fitted
    beating_partials: int = 6  # lowest partials whose loudness is checked; chosen
    beating_below_db: float = 30.0  # their range below the loudest line; chosen
    beside_cents: float = 45.0  # a line this near a stated partial is beside it; fitted
    unison_cents: float = 45.0  # largest distance of two stated pipes of one pitch; derived: < 50
    side_band_hz: float = 12.0  # from its carrier; chosen
    side_band_db: float = 8.0  # largest level difference within a pair; fitted
    tail_db: float = 9.0  # fall that makes a line the last hold's tail; fitted
    tail_s: float = 4.0  # after this nothing rings any more; chosen
    modulated_partials: int = 4  # loudest lines whose movement is measured; chosen
    strong_db: float = 40.0  # range below the loudest line in which a pitch is trusted; fitted
    harmonic_partials: int = 12  # lowest partials that must be harmonic; chosen
    own_cents: float = 22.0  # the loudest line this near a partial's place is its own; fitted
    unsure_cents: float = 0.3  # uncertainty of a line from the pipe's unsteadiness; fitted
    unsure_bins: float = 0.06  # the same from noise and room; fitted
    apart_cents: float = 1.2  # more than partials of one pipe differ; fitted
    apart_sigmas: float = 4.0  # the same in standard deviations; chosen


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Evidence:
    """The lines of one hold, and those that nothing stated explains.

    Attributes
    ----------
    key : int
        Index into the walk's keys.
    start_s, end_s : float
    stated_hz : tuple of float or None
        Where each stated comb is in this hold, if found.
    lines : HoldLines
    explained : ndarray of bool, shape (lines,)
        Lines on a stated comb.
    left : ndarray of int
        Lines that nothing stated explains and that are not far fainter than the stated ones.
    disagrees : int or None
        Set if the partials of a lone stated comb are not harmonic, as one pipe's would be: 2 if the
        even ones are off the odd, 3 if every third is off, 1 if there is no pattern.
    modulation : Modulation or None
    unrest_db : (float, float) or None
        How much the loudness of a lone stated comb's strongest odd, and even, partials varies.
    """

    key: int
    start_s: float
    end_s: float
    stated_hz: tuple[float | None, ...]
    lines: HoldLines
    explained: NDArray[np.bool_]
    left: NDArray[np.int64]
    disagrees: int | None
    modulation: Modulation | None
    unrest_db: tuple[float, float] | None = None


def evidence_of(
    samples: NDArray[np.floating],
    sample_rate: int,
    *,
    key: int,
    times_s: tuple[float, float],
    expected_hz: Sequence[float],
    measured_hz: Sequence[float | None],
    drones_hz: Sequence[float] = (),
    before: Evidence | None = None,
) -> Evidence:
    """Collect the evidence of one hold.

    Parameters
    ----------
    samples : ndarray, shape (n, channels)
    sample_rate : int
    key : int
    times_s : (float, float)
        Start and end of the hold in the recording.
    expected_hz : sequence of float
        Where each stated comb is expected, at the walk's own pitch.
    measured_hz : sequence of float or None
        Where each was measured.
    drones_hz : sequence of float
        Lines of ciphers.
    before : Evidence, optional
        Evidence of the previous hold, whose sound may still ring.
    """
    spectrum = long_spectrum(samples, sample_rate)
    lines = lines_of(spectrum)
    stated = tuple(
        hz if hz is not None else _found_hz(lines, due)
        for hz, due in zip(measured_hz, expected_hz, strict=True)
    )
    explained = _on_combs(lines, [hz for hz in stated if hz is not None])
    explained |= _between_unisons(lines, expected_hz)
    other = explained | _near(lines.hz, np.asarray(drones_hz, float), lines.apart_hz, 12.0)
    if before is not None and times_s[0] - before.end_s < LIMITS.tail_s:
        other |= _tail(lines, before.lines)
    other |= _side_bands(lines, explained)
    left = np.flatnonzero(~other & _loud_enough(lines, explained))
    lone = stated[0] if len(stated) == 1 else None
    return Evidence(
        key,
        *times_s,
        stated,
        lines,
        explained,
        left,
        None if lone is None else _disagreement(lines, other & ~explained, lone),
        _moved(spectrum, lines, explained, stated),
        None if lone is None else _unrest(spectrum, lines, lone),
    )


def _found_hz(lines: HoldLines, due_hz: float) -> float | None:
    found = best_series(lines.hz, due_hz, LIMITS.stated_reach_cents, lines.seconds)
    if found is None or (len(found.numbers) < 2 and 3.0 * due_hz < lines.hz.max(initial=0.0)):
        return None
    return found.hz


def _near(hz: FloatArray, places: FloatArray, reach_hz: float, cents: float) -> NDArray[np.bool_]:
    if len(places) == 0 or len(hz) == 0:
        return np.zeros(len(hz), bool)
    reach = np.maximum(reach_hz, places * cents / 1731.0)
    return np.asarray((np.abs(hz[:, np.newaxis] - places) < reach).any(axis=1))


def _on_combs(lines: HoldLines, fundamentals: Sequence[float]) -> NDArray[np.bool_]:
    """Lines on a partial of one of the combs, within resolution and a cent."""
    explained = np.zeros(len(lines.hz), bool)
    for hz in fundamentals:
        number = np.rint(lines.hz / hz)
        away = np.abs(lines.hz - number * hz)
        reach = 0.7 * lines.apart_hz + lines.hz * 0.8 / 1731.0
        explained |= (number >= 1) & (number <= LIMITS.most_partials) & (away < reach)
    return explained


def _between_unisons(lines: HoldLines, expected_hz: Sequence[float]) -> NDArray[np.bool_]:
    """Lines around the partials of two stated pipes in unison; they may belong to either."""
    explained = np.zeros(len(lines.hz), bool)
    for place, hz in enumerate(expected_hz):
        for other in expected_hz[place + 1 :]:
            if abs(1731.0 * (other / hz - 1.0)) < LIMITS.unison_cents:
                middle = 0.5 * (hz + other)
                number = np.maximum(1.0, np.rint(lines.hz / middle))
                away = np.abs(1731.0 * (lines.hz / (number * middle) - 1.0))
                explained |= (away < LIMITS.unison_cents) & (number <= LIMITS.most_partials)
    return explained


def _tail(lines: HoldLines, before: HoldLines) -> NDArray[np.bool_]:
    """Lines that the previous hold had, louder."""
    if len(before.hz) == 0 or len(lines.hz) == 0:
        return np.zeros(len(lines.hz), bool)
    same = np.abs(lines.hz[:, np.newaxis] - before.hz) < np.maximum(
        0.8 * lines.apart_hz, lines.hz[:, np.newaxis] * 3.0 / 1731.0
    )
    fallen = lines.level_db[:, np.newaxis] < before.level_db - LIMITS.tail_db
    return np.asarray((same & fallen).any(axis=1))


def _side_bands(lines: HoldLines, explained: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Pairs of lines at the same distance either side of a stronger one: unsteady wind."""
    side = np.zeros(len(lines.hz), bool)
    for carrier in np.flatnonzero(explained):
        away = lines.hz - lines.hz[carrier]
        near = np.flatnonzero(
            (np.abs(away) < LIMITS.side_band_hz)
            & (np.abs(away) > 0.0)
            & (lines.level_db < lines.level_db[carrier] - 2.0)
        )
        for one in near[away[near] < 0.0]:
            mate = near[
                (np.abs(away[near] + away[one]) < 0.5 * lines.apart_hz)
                & (np.abs(lines.level_db[near] - lines.level_db[one]) < LIMITS.side_band_db)
            ]
            if len(mate):
                side[one] = True
                side[mate] = True
    return side


def _loud_enough(lines: HoldLines, explained: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Lines not far below the stated partials around them.

    Right beside a partial there is what its own attack and the wind leave in the room, so there a
    line must be nearly as loud; between the partials only another pipe can sound.
    """
    stated = np.flatnonzero(explained)
    if len(stated) == 0:
        return np.ones(len(lines.hz), bool)
    place = np.searchsorted(lines.hz[stated], lines.hz)
    left, right = (stated[np.clip(place + step, 0, len(stated) - 1)] for step in (-1, 0))
    beside = np.maximum(lines.level_db[left], lines.level_db[right])
    enough = lines.level_db > beside - RECOGNITION.also_below_db
    for near in (left, right):
        close = np.abs(1731.0 * (lines.hz / lines.hz[near] - 1.0)) < LIMITS.beside_cents
        enough &= ~close | (lines.level_db > lines.level_db[near] - RECOGNITION.beside_below_db)
    return np.asarray(enough)


def _disagreement(lines: HoldLines, taken: NDArray[np.bool_], fundamental_hz: float) -> int | None:
    """How the partials of one pipe deviate from harmonic; None if they are harmonic."""
    if len(lines.hz) == 0:
        return None
    number = np.rint(lines.hz / fundamental_hz).astype(np.int64)
    away = 1731.23 * (lines.hz / np.maximum(number, 1) / fundamental_hz - 1.0)
    strong = lines.level_db > lines.level_db.max() - LIMITS.strong_db
    own = (
        (number >= 1)
        & (number <= LIMITS.harmonic_partials)
        & (np.abs(away) < LIMITS.own_cents)
        & strong
    )
    own &= ~taken
    # The loudest line of each partial.
    index = np.flatnonzero(own)
    index = index[np.argsort(-lines.level_db[index], kind="stable")]
    _, first = np.unique(number[index], return_index=True)
    index = index[first]
    if len(index) < 3:
        return None
    n, away = number[index], away[index]
    from_noise = 1731.23 * LIMITS.unsure_bins / lines.seconds / lines.hz[index]
    unsure = np.hypot(LIMITS.unsure_cents, from_noise)
    for every in (2, 3):
        these, rest = n % every == 0, n % every != 0
        if these.any() and rest.sum() >= 2:
            middle, spread = _middle(away[rest], unsure[rest])
            mine, own_spread = _middle(away[these], unsure[these])
            apart = abs(mine - middle)
            scatter = np.abs(away[rest] - middle) / unsure[rest]
            sigma_cents = float(np.hypot(spread, own_spread))
            limit = max(LIMITS.apart_cents, LIMITS.apart_sigmas * sigma_cents)
            if apart > limit and scatter.max() < LIMITS.apart_sigmas:
                return every
    middle, _ = _middle(away, unsure)
    off = np.abs(away - middle)
    plain = (off > LIMITS.apart_cents) & (off > LIMITS.apart_sigmas * unsure)
    return 1 if plain.sum() >= 2 else None


def _unrest(
    spectrum: LongSpectrum, lines: HoldLines, fundamental_hz: float
) -> tuple[float, float] | None:
    """Variation of the strongest odd, and the strongest even, partials; 0 if there are none."""
    if fundamental_hz < LIMITS.beating_from_hz or len(lines.hz) == 0:
        return None
    number = np.rint(lines.hz / fundamental_hz).astype(np.int64)
    away = 1731.0 * (lines.hz / (np.maximum(number, 1) * fundamental_hz) - 1.0)
    own = (number >= 1) & (number <= LIMITS.beating_partials) & (np.abs(away) < LIMITS.own_cents)
    own &= lines.level_db > lines.level_db.max() - LIMITS.beating_below_db
    found = []
    for even in (False, True):
        index = np.flatnonzero(own & ((number % 2 == 0) == even))
        loudest = index[np.argsort(-lines.level_db[index])][:2]
        values = [loudness_unrest_db(spectrum, float(lines.hz[i]), fundamental_hz) for i in loudest]
        found.append(float(np.median(values)) if values else 0.0)
    return found[0], found[1]


def _middle(values: FloatArray, unsure: FloatArray) -> tuple[float, float]:
    """Weighted mean and its sigma."""
    weight = 1.0 / unsure**2
    return float(weight @ values / weight.sum()), float(weight.sum() ** -0.5)


def _moved(
    spectrum: LongSpectrum,
    lines: HoldLines,
    explained: NDArray[np.bool_],
    stated: Sequence[float | None],
) -> Modulation | None:
    known = [hz for hz in stated if hz is not None]
    if not known or not explained.any():
        return None
    index = np.flatnonzero(explained)
    # The loudest, preferring low ones: a deep tremulant spreads a high partial beyond its band.
    weight = lines.level_db[index] - 3.0 * np.log2(lines.hz[index] / min(known))
    loudest = index[np.argsort(-weight)][: LIMITS.modulated_partials]
    return modulation_of(spectrum, [float(hz) for hz in lines.hz[loudest]], min(known))
