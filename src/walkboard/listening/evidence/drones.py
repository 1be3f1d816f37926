"""Sounds that continue whichever key is held: a cipher shows as lines in nearly every frame.

A walked pipe's lines come and go with its key. A line that lasts through many holds and the gaps
between them is a ciphering pipe, mains hum, or a machine. Hum is recognised by its frequencies, a
machine by having no series of partials.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.walk.bands import hz_of_cents
from walkboard.listening.walk.features import WalkFeatures

FloatArray = NDArray[np.float64]

_BIN_CENTS = 8.0
_LEAST_S = 16.0  # length of a drone. Chosen: about five holds.
_LEAST_SHARE = 0.85  # of the frames in that time. Chosen.
_LEAST_DB = -36.0  # its loudest line, relative to the strongest of the loud frames
_MAINS_HZ = (50.0, 60.0)
_SAME_CENTS = 14.0
_STRIP_CENTS = 22.0


@dataclass(frozen=True, slots=True)
class Drone:
    """A series of lines that continues through many holds.

    Attributes
    ----------
    hz : float
        Its fundamental, within a cent or two.
    lines_hz, level_db : tuple of float
        Its lines and their levels.
    start_s, end_s : float
    """

    hz: float
    lines_hz: tuple[float, ...]
    level_db: tuple[float, ...]
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class _Lasting:
    """One continuing line."""

    cents: float
    level_db: float
    start: int
    end: int
    mains: bool


def find_drones(features: WalkFeatures) -> list[Drone]:
    """Series of at least two lines that last through many holds, loudest first."""
    lasting = _lasting_lines(features)
    found: list[Drone] = []
    free = sorted(lasting, key=lambda line: -line.level_db)
    while free:
        series = _series(free)
        if series is None:
            break
        hz, members = series
        levels = tuple(line.level_db for line in members)
        found.append(
            Drone(
                hz,
                tuple(hz_of_cents(line.cents) for line in members),
                levels,
                float(np.median([line.start for line in members])) * features.hop_s,
                float(np.median([line.end for line in members])) * features.hop_s,
            )
        )
        free = [line for line in free if line not in members]
    return found


def without_drones(features: WalkFeatures, drones: list[Drone]) -> WalkFeatures:
    """The features with the drones' lines removed."""
    if not drones:
        return features
    keep = np.ones(len(features.cents_code), bool)
    cents = features.cents
    frame = features.frame
    for drone in drones:
        during = (frame >= drone.start_s / features.hop_s - 15) & (
            frame <= drone.end_s / features.hop_s + 15
        )
        for hz in drone.lines_hz:
            keep &= ~(during & (np.abs(cents - 1200.0 * np.log2(hz / 12.0)) < _STRIP_CENTS))
    count = np.bincount(frame[keep], minlength=features.frames)
    return replace(
        features,
        first=np.concatenate([[0], np.cumsum(count)]).astype(np.int64),
        cents_code=features.cents_code[keep],
        level_code=features.level_code[keep],
    )


def _lasting_lines(features: WalkFeatures) -> list[_Lasting]:
    least = int(_LEAST_S / features.hop_s)
    if features.frames < least or len(features.cents_code) == 0:
        return []
    cents, level, frame = features.cents, features.level_db, features.frame
    loud = np.full(features.frames, -200.0)
    np.maximum.at(loud, frame, level)
    top = float(np.percentile(loud, 90))
    code = (cents / _BIN_CENTS).astype(np.int64)
    counts = np.bincount(code, minlength=int(code.max()) + 2)
    pairs = counts[:-1] + counts[1:]
    candidates = np.flatnonzero(pairs >= _LEAST_SHARE * least)
    order = np.argsort(code, kind="stable")
    sorted_code = code[order]
    found: list[_Lasting] = []
    for candidate in candidates[np.argsort(-pairs[candidates])]:
        centre = (candidate + 1.0) * _BIN_CENTS
        if any(abs(centre - line.cents) < _SAME_CENTS for line in found):
            continue
        low, high = np.searchsorted(sorted_code, (candidate - 1, candidate + 3))
        members = order[low:high]
        members = members[np.abs(cents[members] - centre) < 1.25 * _BIN_CENTS]
        there = np.zeros(features.frames, bool)
        there[frame[members]] = True
        span = _longest_span(there, least)
        if span is None:
            continue
        inside = members[(frame[members] >= span[0]) & (frame[members] < span[1])]
        middle = float(np.median(cents[inside]))
        strength = float(np.median(level[inside]))
        if strength < top + _LEAST_DB:
            continue
        found.append(_Lasting(middle, strength, *span, mains=_is_mains(hz_of_cents(middle))))
    return found


def _longest_span(there: NDArray[np.bool_], least: int) -> tuple[int, int] | None:
    """The longest stretch of frames in which a line is nearly always present."""
    # The longest interval whose sum of (there - share) is greatest: Kadane.
    gain = there.astype(np.float64) - _LEAST_SHARE
    total = np.cumsum(gain)
    lowest = np.minimum.accumulate(np.concatenate([[0.0], total[:-1]]))
    best = int(np.argmax(total - lowest))
    first = int(np.flatnonzero(np.concatenate([[0.0], total[:-1]])[: best + 1] <= lowest[best])[-1])
    span = first, best + 1
    return span if span[1] - span[0] >= least else None


def _is_mains(hz: float) -> bool:
    """Whether a line may be hum: mains frequency is stable to a thousandth."""
    return hz < 1_300.0 and any(
        abs(hz - mains * max(1.0, round(hz / mains))) < 0.15 + 0.0008 * hz for mains in _MAINS_HZ
    )


def _series(lines: list[_Lasting]) -> tuple[float, list[_Lasting]] | None:
    """The longest series with at least two lines that are not mains hum."""
    best: tuple[float, list[_Lasting]] | None = None
    for root in lines:
        members = []
        for line in lines:
            number = round(2.0 ** ((line.cents - root.cents) / 1200.0))
            away = line.cents - root.cents - 1200.0 * np.log2(max(number, 1))
            shared = min(line.end, root.end) - max(line.start, root.start)
            alike = shared > 0.5 * (max(line.end, root.end) - min(line.start, root.start))
            if 1 <= number <= 12 and abs(away) < 8.0 and alike:
                members.append(line)
        if sum(not line.mains for line in members) >= 2 and (
            best is None or len(members) > len(best[1])
        ):
            best = hz_of_cents(root.cents), members
    return best
