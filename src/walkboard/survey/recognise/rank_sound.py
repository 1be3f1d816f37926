"""How a rank sounds along its keys, and how well two recordings of one agree.

A rank's partials have levels that belong to it: its family, scale and voicing. A recording shows
them through one place in the room, which changes each partial of each pipe by several decibels at
random, and through one microphone, which changes all of them smoothly with frequency. So the
difference of two recordings, in the middle of the pipes of a stretch of keys, is

    y(b, n) = gain + slope . log2 f + p(n) + q(b) + scatter / root(pipes),

normal, with p and q what single partials and stretches of keys depart by from one recording to the
next. How unlikely a difference is under that (`misfit`) says whether both are of one rank; how much
less likely than another rank's says which it is.

Pitch helps too. Pipes stray independently, and unless they were tuned in between they are
still where they were: the likelihood of the walk's deviations given the earlier ones, over
that of any others, is the evidence of `pitch_evidence`. It never speaks against a rank: it may have
been tuned. What repeats in every octave is taken out first: a temperament is the whole organ's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Limits:
    """How recordings of one rank differ. *Fitted*: by bench remembered, unless noted."""

    partials: int = 8  # lowest that are compared; chosen
    highest_hz: float = 6_000.0  # of a partial that is compared; chosen
    deepest_db: float = 40.0  # under a pipe's loudest partial, where it counts as absent; chosen
    about_pipes: int = 4  # either side of a pipe, of which the usual loudness is taken; chosen
    least_in_cell: int = 3  # pipes of a stretch, below which one fade would decide; chosen
    stretch_keys: float = 8.0  # over which pipes are averaged [semitones]; chosen
    near_keys: float = 2.5  # to another pipe's place, where the same one is missing; chosen
    least_scatter_db: float = 4.0  # of a pipe's partial, from one place in a room to another
    partial_db: float = 2.0  # of one partial along all keys
    stretch_db: float = 1.5  # of all partials of one stretch of keys
    cell_db: float = 2.0  # of one partial in one stretch of keys: a room's own unevenness
    slope_db: float = 1.5  # an octave: another microphone, another place
    gain_db: float = 30.0  # of one recording against another: any; chosen
    least_pipes: int = 8  # that two recordings must share to be compared; chosen
    least_strays: int = 18  # shared pipes, below which their pitch says nothing; fitted
    moved_cents: tuple[float, ...] = (0.7, 1.5, 3.0)  # of pipes not tuned in between; chosen
    strays_cents: tuple[float, ...] = (0.2, 0.4, 0.7, 1.0, 1.5, 2.2, 3.3, 5.0, 8.0)  # by chance
    touched: float = 0.3  # of the pipes may have been tuned; chosen
    pattern_cents: float = 5.0  # that a temperament may depart from its description; chosen


LIMITS = Limits()


@dataclass(frozen=True, eq=False)
class RankSound:
    """A rank as one recording shows it.

    Attributes
    ----------
    place : ndarray, shape (pipes,)
        Where each pipe is due [semitones over A4], rising.
    cents : ndarray, shape (pipes,)
        Its deviation from there.
    level_db : ndarray, shape (pipes, partials)
        Levels of its partials; NaN where one is not compared.
    absent : ndarray of bool, shape (pipes, partials)
        Where the level is only the most that the partial can have.
    """

    place: FloatArray
    cents: FloatArray
    level_db: FloatArray
    absent: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class PipeSound:
    """One pipe as recorded: where it is due [Hz], its deviation, its partials' levels [dB]."""

    due_hz: float
    cents: float
    level_db: dict[int, float]


def rank_sound(pipes: Sequence[PipeSound]) -> RankSound | None:
    """A rank from its pipes; None where they are too few to compare.

    Of two readings of one pipe the later counts.
    """
    by_place = {
        round(12.0 * math.log2(pipe.due_hz / 440.0)): pipe for pipe in pipes if pipe.level_db
    }
    kept = [by_place[place] for place in sorted(by_place)]
    if len(kept) < LIMITS.least_pipes:
        return None
    loudest = np.array([max(pipe.level_db.values()) for pipe in kept])
    levels = np.full((len(kept), LIMITS.partials), np.nan)
    absent = np.zeros(levels.shape, bool)
    for row, pipe in enumerate(kept):
        # A fade of one pipe's loudest partial does not make the others louder.
        about = loudest[max(0, row - LIMITS.about_pipes) : row + LIMITS.about_pipes + 1]
        least = float(np.median(about)) - LIMITS.deepest_db
        for n in range(1, LIMITS.partials + 1):
            if n == 1 or n * pipe.due_hz <= LIMITS.highest_hz:
                levels[row, n - 1] = max(pipe.level_db.get(n, least), least)
                absent[row, n - 1] = pipe.level_db.get(n, least) <= least
    place = 12.0 * np.log2(np.array([pipe.due_hz for pipe in kept]) / 440.0)
    return RankSound(place, np.array([pipe.cents for pipe in kept]), levels, absent)


@dataclass(frozen=True, eq=False)
class Difference:
    """One recording over another, the middle over stretches of keys: the cells of y(b, n).

    Attributes
    ----------
    stretch, partial : ndarray of int, shape (cells,)
    octave : ndarray, shape (cells,)
        Frequency of the cell [octaves over A4].
    pipes : ndarray of int, shape (cells,)
    level_db : ndarray, shape (cells,)
    scatter_db : float
        Of a single pipe about its cell, as seen in the two recordings.
    """

    stretch: NDArray[np.int64]
    partial: NDArray[np.int64]
    octave: FloatArray
    pipes: NDArray[np.int64]
    level_db: FloatArray
    scatter_db: float

    def among(self, other: Difference) -> Difference:
        """Only the cells that another difference has as well."""
        theirs = set(zip(other.stretch.tolist(), other.partial.tolist(), strict=True))
        mine = zip(self.stretch.tolist(), self.partial.tolist(), strict=True)
        kept = np.array([cell in theirs for cell in mine], bool)
        return Difference(
            self.stretch[kept],
            self.partial[kept],
            self.octave[kept],
            self.pipes[kept],
            self.level_db[kept],
            self.scatter_db,
        )


def difference(now: RankSound, before: RankSound) -> Difference | None:
    """What a recording shows over an earlier one; None where they share too few pipes."""
    nearest = np.abs(now.place[:, np.newaxis] - before.place).argmin(axis=1)
    shared = np.abs(now.place - before.place[nearest]) <= LIMITS.near_keys
    if shared.sum() < LIMITS.least_pipes:
        return None
    place = now.place[shared]
    level = now.level_db[shared] - before.level_db[nearest[shared]]
    # What neither recording has says nothing of a difference.
    level[now.absent[shared] & before.absent[nearest[shared]]] = np.nan
    stretch = np.floor(place / LIMITS.stretch_keys).astype(np.int64)
    cells = []
    about: list[FloatArray] = []
    for which in np.unique(stretch):
        here = stretch == which
        for n in range(level.shape[1]):
            values = level[here, n]
            values = values[np.isfinite(values)]
            if len(values) >= LIMITS.least_in_cell:
                about.append(np.abs(values - np.median(values)))
                octave = float(place[here].mean()) / 12.0 + math.log2(n + 1)
                cells.append((which, n + 1, octave, len(values), float(np.median(values))))
    if not cells:
        return None
    of_stretch, partial, octaves, pipes, levels = zip(*cells, strict=True)
    return Difference(
        np.array(of_stretch, np.int64),
        np.array(partial, np.int64),
        np.array(octaves, np.float64),
        np.array(pipes, np.int64),
        np.array(levels, np.float64),
        max(LIMITS.least_scatter_db, 1.4826 * float(np.median(np.concatenate(about)))),
    )


def misfit(apart: Difference, scatter_db: float | None = None) -> tuple[float, int]:
    """Squared Mahalanobis distance of a difference from none, and its degrees of freedom.

    Parameters
    ----------
    apart : Difference
    scatter_db : float, optional
        Of a single pipe; default: the difference's own. Two differences are compared with one.
    """
    scatter_db = apart.scatter_db if scatter_db is None else scatter_db
    y = apart.level_db - apart.level_db.mean()
    along = apart.octave - apart.octave.mean()
    spread = np.diag(scatter_db**2 / apart.pipes + LIMITS.cell_db**2)
    spread += LIMITS.partial_db**2 * (apart.partial[:, np.newaxis] == apart.partial)
    spread += LIMITS.stretch_db**2 * (apart.stretch[:, np.newaxis] == apart.stretch)
    spread += LIMITS.slope_db**2 * np.outer(along, along)
    spread += LIMITS.gain_db**2
    return float(y @ np.linalg.solve(spread, y)), len(y) - 1


def pitch_evidence(now: RankSound, before: RankSound) -> float:
    """Logarithm of the odds that a walk's pipes are those of an earlier one, by their pitch.

    Never below zero: pipes may have been tuned in between.
    """
    nearest = np.abs(now.place[:, np.newaxis] - before.place).argmin(axis=1)
    shared = np.abs(now.place - before.place[nearest]) < 0.5
    if shared.sum() < LIMITS.least_strays:
        return 0.0
    place = now.place[shared]
    mine = _own(place, now.cents[shared])
    theirs = _own(place, before.cents[nearest[shared]])
    # By chance they are like pipes of this walk: whatever describes them best.
    chances = [_student(mine, size) for size in LIMITS.strays_cents]
    by_chance = max(chances, key=lambda chance: float(np.log(chance).sum()))
    odds = []
    for moved_cents in LIMITS.moved_cents:
        same = _student(mine - theirs, moved_cents)
        either = (1.0 - LIMITS.touched) * same + LIMITS.touched * by_chance
        odds.append(float(np.log(either / by_chance).sum()))
    top = max(odds)
    mean = top + math.log(float(np.mean(np.exp(np.array(odds) - top))))
    return max(0.0, mean)


def _own(place: FloatArray, cents: FloatArray) -> FloatArray:
    """Deviations without what the rank shares: its middle, slope, and the octave's pattern."""
    left = cents - np.median(cents)
    spread = max(1.0, 1.4826 * float(np.median(np.abs(left))))
    capped = np.clip(left, -3.0 * spread, 3.0 * spread)  # a stray is no temperament
    notes = np.rint(place).astype(np.int64) % 12
    rows = np.column_stack([notes[:, np.newaxis] == np.arange(12), (place - place.mean()) / 12.0])
    prior = np.full(13, LIMITS.pattern_cents)
    weight = rows.T @ rows + np.diag((spread / prior) ** 2)
    shared = rows @ np.linalg.solve(weight, rows.T @ capped)
    left = left - shared
    return np.asarray(left - np.median(left), np.float64)


def _student(away: FloatArray, size: float) -> FloatArray:
    """Density of Student's t of 4 degrees: wide tails, as pipes slip."""
    return np.asarray(0.375 / size * (1.0 + (away / size) ** 2 / 4.0) ** -2.5, np.float64)
