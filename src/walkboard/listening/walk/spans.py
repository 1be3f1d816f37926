"""When a named key was down, from all of its lines together.

An event's bounds come from single lines, and single lines mislead: two unisons beat, a pipe wavers,
a room builds up, and a line may dip by 15 dB while the key stays down. When a key goes up and down
again, all its lines leave their steady levels at once, and fast; the new tone meets the old
reverberation at a chance phase, so a line may as well rise. So, over a stretch named as one key, we
follow the mean departure of its lines from their steady levels. Each line counts beyond its own
wavering and up to 8 dB, so that one that beats to nothing does not decide alone.

- A cut (the key was up) is a large and fast departure. The fewer lines there are to check, the
  larger it must be (`_CUTS`, from synthetic walks: `python -m bench holds`). Repeats after 0.12 s
  in 3 s of reverberation showed 3.3 dB and more over four lines, steady holds at most 2.5 dB.
- The sound between cuts is a hold if it returns to within 2.5 dB of the steady levels; a tail that
  swells by chance does not.
- A hold begins where the lines rise through 8 dB below their level, less the time such a pipe takes
  to speak, and ends where they depart from it by 1.5 dB.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from walkboard.listening.walk.bands import hz_of_cents
from walkboard.listening.walk.features import WalkFeatures

FloatArray = NDArray[np.float64]

_MOST_PARTIALS = 24
_MOST_LINES = 8
_UNDER_STRONGEST_DB = 28.0
_DEEPEST_DB = 8.0
_LOST_DB = 40.0
_UNSEEN_DB = -200.0
# From key down to half amplitude; common practice, no source: flues take some ten periods to speak.
_SPEECH_PERIODS = 5.0
_LONGEST_SPEECH_S = 0.15
_UNISON_CENTS = 45.0
_BACK_DB = 2.5
_LEFT_DB = 1.5
_FILLING_FRAMES = 20
_PACE_FRAMES = 4
_SETTLED_DB = 2.0
_SETTLED_FRAMES = 6
_DEEP_FALL_DB = 6.0
# Departure and pace [dB] that make a cut, for one, two, three, four or more lines.
_CUT_STILL = (3.2, 2.8)
_STILL_DB = 0.4
_CUTS = ((5.0, 6.5), (4.5, 5.0), (3.3, 3.5), (3.0, 2.5))


@dataclass(frozen=True, slots=True)
class Span:
    """One time that the key was down [frames, fractions kept]."""

    start: float
    end: float


@dataclass(frozen=True, slots=True)
class Lines:
    """Levels of one key's lines over some frames.

    Attributes
    ----------
    first : int
        Frame of the first column.
    level_db : ndarray, shape (lines, frames)
        A line that was not seen counts as 40 dB below its steady level.
    steady_db : ndarray, shape (lines,)
    slack_db : ndarray, shape (lines,)
        How far a line is below its steady level a fifth of the time, up to 6 dB (more if two
        unisons beat): it wavers, and only lower levels count as a fall.
    weight : ndarray, shape (lines,)
        In a real repeat the strong lines change too, while weak ones waver on their own; but with
        two unisons the strong ones beat. Sums to 1.
    beating : bool
        Whether two unisons are expected.
    speech_frames : float
        How long the lowest pipe takes to speak.
    """

    first: int
    level_db: FloatArray
    steady_db: FloatArray
    slack_db: FloatArray
    weight: FloatArray
    beating: bool
    speech_frames: float

    def fall(self, deepest_db: float) -> FloatArray:
        """Mean fall of the lines below their steady level, each counted to `deepest_db`."""
        below = (self.steady_db - self.slack_db)[:, np.newaxis] - self.level_db
        return np.asarray(np.clip(below, -3.0, deepest_db).mean(axis=0), np.float64)

    def stir(self, deepest_db: float) -> FloatArray:
        """Mean departure of the lines from their steady level either way, beyond their slack."""
        away = np.abs(self.steady_db[:, np.newaxis] - self.level_db) - self.slack_db[:, np.newaxis]
        departure = np.asarray(self.weight @ np.clip(away, 0.0, deepest_db), np.float64)
        # Beating lines rise and fall against each other: then all must fall.
        return np.minimum(departure, self.fall(deepest_db)) if self.beating else departure

    def pace(self) -> FloatArray:
        """Mean change of the lines either way over 0.16 s, each counted to 12 dB."""
        change = np.zeros(self.level_db.shape[1])
        half = _PACE_FRAMES // 2
        if len(change) > _PACE_FRAMES:
            moved = np.abs(self.level_db[:, _PACE_FRAMES:] - self.level_db[:, :-_PACE_FRAMES])
            change[half : half - _PACE_FRAMES] = np.minimum(moved, 12.0).mean(axis=0)
        return change


def follow_lines(
    features: WalkFeatures,
    fundamentals_cents: tuple[float, ...],
    sounding: list[tuple[int, int]],
    begin: int,
    end: int,
) -> Lines | None:
    """Levels of the lines of one key from frame `begin` to `end`.

    Parameters
    ----------
    features : WalkFeatures
    fundamentals_cents : tuple of float
        Fundamental of each comb the key sounds [cents].
    sounding : list of (int, int)
        Frames in which the key certainly sounds; they give the steady levels.
    begin, end : int

    Returns
    -------
    Lines or None
        None if no line can be followed.
    """
    begin, end = max(0, begin), min(features.frames, end)
    chosen = slice(int(features.first[begin]), int(features.first[end]))
    frame = features.frame_between(begin, end)
    cents = features.cents_between(chosen)
    level = features.level_between(chosen)
    # Two pipes of one pitch beat to nothing, again and again.
    unisons = len(fundamentals_cents) > 1 and bool(
        np.min(np.diff(np.sort(fundamentals_cents))) < _UNISON_CENTS
    )
    rare, most_slack = (0.08, 18.0) if unisons else (0.2, 6.0)
    inside = np.zeros(end - begin, bool)
    for low, high in sounding:
        inside[max(0, low - begin) : max(0, high - begin)] = True
    rows: list[tuple[float, float, FloatArray]] = []
    taken: list[float] = []
    for fundamental in fundamentals_cents:
        curves = _curves(frame, cents - fundamental, level, hz_of_cents(fundamental), end - begin)
        # One sort serves all medians and quantiles; unseen values come first.
        ordered = np.sort(curves[:, inside], axis=1)
        times_seen = np.count_nonzero(ordered > _UNSEEN_DB, axis=1)
        for row in np.flatnonzero(times_seen >= max(3.0, 0.6 * ordered.shape[1])):
            place = fundamental + 1200.0 * math.log2(row + 1)
            if any(abs(place - other) < 40.0 for other in taken):
                continue
            taken.append(place)
            seen = ordered[row, -times_seen[row] :]
            usual = _quantile(seen, 0.5)
            under = usual - _quantile(seen, rare)
            rows.append((usual, min(most_slack, under), curves[row]))
    if not rows:
        return None
    strongest = max(row[0] for row in rows)
    rows = sorted(
        (row for row in rows if row[0] > strongest - _UNDER_STRONGEST_DB),
        reverse=True,
        key=lambda row: row[0],
    )[:_MOST_LINES]
    speech_s = min(_LONGEST_SPEECH_S, _SPEECH_PERIODS / hz_of_cents(min(fundamentals_cents)))
    steady = np.array([row[0] for row in rows])
    slack = np.array([row[1] for row in rows])
    weight = 1.0 / (1.0 + (0.0 if unisons else 0.1) * (strongest - steady))
    weight /= weight.sum()
    level_db = np.array([row[2] for row in rows])
    return Lines(
        begin,
        np.maximum(level_db, steady[:, np.newaxis] - _LOST_DB),
        steady,
        slack,
        weight,
        unisons,
        speech_s / features.hop_s,
    )


def _quantile(rising: FloatArray, share: float) -> float:
    """Quantile of sorted values, linear between neighbours."""
    place = share * (len(rising) - 1)
    low = int(place)
    high = min(low + 1, len(rising) - 1)
    return float(rising[low] + (place - low) * (rising[high] - rising[low]))


def _curves(
    frame: NDArray[np.int64], above: FloatArray, level: FloatArray, hz: float, frames: int
) -> FloatArray:
    """Level of each partial of a fundamental, frame by frame, shape (partials, frames).

    `above` is the distance of each peak above the fundamental [cents].
    """
    number = np.rint(2.0 ** np.clip(above / 1200.0, -3.0, 8.0)).astype(np.int64)
    number = np.where(number <= _MOST_PARTIALS, number, 0)
    safe = np.maximum(number, 1)
    reach = 18.0 + 260.0 / (hz * safe)
    near = (number > 0) & (np.abs(above - 1200.0 * np.log2(safe)) < reach)
    curves = np.full((_MOST_PARTIALS, frames), _UNSEEN_DB)
    np.maximum.at(curves, (number[near] - 1, frame[near]), level[near])
    return curves


def key_down(lines: Lines) -> list[Span]:
    """The times at which the key was down."""
    fall = scipy.ndimage.median_filter(lines.fall(_DEEPEST_DB), 3)
    stir = scipy.ndimage.median_filter(lines.stir(_DEEPEST_DB), 3)
    pace = scipy.ndimage.maximum_filter1d(lines.pace(), 2 * _PACE_FRAMES + 1)
    # Lines that are otherwise quite steady are trusted sooner.
    unrest = np.clip((float(lines.weight @ lines.slack_db) - _STILL_DB) / _STILL_DB, 0.0, 1.0)
    usual = np.array(_CUTS[min(len(lines.steady_db), len(_CUTS)) - 1])
    cut_at, pace_at = unrest * usual + (1.0 - unrest) * np.minimum(usual, _CUT_STILL)
    spans: list[Span] = []
    on = False
    start = last_good = 0
    for i in range(len(fall)):
        if not on:
            if fall[i] < _BACK_DB:
                on, start, last_good = True, i, i
            continue
        # While the room fills, the levels are not yet steady: only a fall counts.
        value = float(fall[i] if i - start < _FILLING_FRAMES else stir[i])
        if value < _LEFT_DB:
            last_good = i
        elif value > cut_at and pace[i] > pace_at:
            spans.append(Span(start, last_good))
            on = False
    if on:
        spans.append(Span(start, last_good))
    spans = _settled(spans, stir, fall, len(lines.steady_db))
    deep = lines.fall(20.0)
    return [
        Span(
            lines.first + _rise(deep, span.start) - lines.speech_frames,
            lines.first + span.end + 0.5,
        )
        for span in spans
        if span.end - span.start >= 3
    ]


def _settled(spans: list[Span], stir: FloatArray, fall: FloatArray, lines: int) -> list[Span]:
    """The spans in which the lines reach their steady levels.

    A part before such a span without a deep fall in between is the room filling; a part after it is
    a tail in which lines swell by chance. Three or more strokes of one key shown by only one or two
    lines are taken as a wavering pipe instead.
    """
    if len(spans) <= 1:
        return spans
    quiet = [
        _longest_run(stir[int(span.start) : int(span.end) + 1] < _SETTLED_DB) >= _SETTLED_FRAMES
        for span in spans
    ]
    if not any(quiet):
        return [max(spans, key=lambda span: span.end - span.start)]
    kept: list[Span] = []
    filling: Span | None = None
    for span, good in zip(spans, quiet, strict=True):
        if not good:
            filling = span if not kept or span.start - kept[-1].end > 25 else None
            continue
        start = span.start
        if filling is not None and (
            fall[int(filling.start) : int(start) + 1].max() < _DEEP_FALL_DB
            and start - filling.end < 25
        ):
            start = filling.start
        kept.append(Span(start, span.end))
        filling = None
    if lines <= 2 and len(kept) >= 3:
        return [Span(kept[0].start, kept[-1].end)]
    return kept


def _longest_run(yes: NDArray[np.bool_]) -> int:
    """Length of the longest run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], yes.astype(np.int8), [0]])))
    return int((edges[1::2] - edges[::2]).max()) if len(edges) else 0


def _rise(deep: FloatArray, start: float) -> float:
    """Where the lines rose through 8 dB below their level before a frame, interpolated."""
    i = int(start)
    while i > 0 and deep[i] < 8.0 and start - i < 25:
        if deep[i - 1] < deep[i] - 1.0:
            break
        i -= 1
    if deep[i] < 8.0 or i + 1 >= len(deep) or deep[i + 1] >= deep[i]:
        return float(i)
    return i + float(np.clip((deep[i] - 8.0) / (deep[i] - deep[i + 1]), 0.0, 1.0))
