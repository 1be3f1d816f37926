"""From peaks to atoms: the single partials of single holds, before any key is identified.

1. Lines that are there all the time (blower hum) are removed: frequencies with a line in most
   frames.
2. Peaks of neighbouring frames within a few cents are linked to tracks. Speech glides and thumps
   are broad, so they give short tracks, which are dropped.
3. A track is *driven* while its level does not fall: reverberation of T seconds falls by 60/T dB a
   second, so over the lag of 0.32 s even a room of 6 s shows 3 dB. A part driven without a break is
   an *atom*: one partial of one hold.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.ndimage
import scipy.sparse
from numpy.typing import NDArray

from walkboard.listening.walk.bands import BAND_EDGES_HZ, cents_of_hz
from walkboard.listening.walk.features import WalkFeatures

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_FALL_DB = 2.5  # over the lag; a room of 6 s falls by 3.2 dB
_LAG_FRAMES = (10, 6, 4)  # half the lag in each band: the longer windows smear the fall
_LINK_CENTS = (45.0, 25.0, 18.0)
_LEAST_FRAMES = 6
_UNDER_MOMENT_DB = 38.0
_UNDER_WALK_DB = 50.0
_GOES_ON_FRAMES = 15
_GLIDE_CENTS = 40.0
_BIG = 16_384.0
_PAD = 12  # frames of silence between tracks laid end to end: more than any lag
_SILENT_DB = -200.0
_BODY_FRAMES = 25
_CHUNK_FRAMES = 7_500  # five minutes
_MARGIN_FRAMES = 750  # half a minute of what follows shows the end of any hold


@dataclass(frozen=True, slots=True)
class Atom:
    """One partial of one hold: driven without a break from start to end (frames).

    `waver_cents` is the median departure of its place from its median.
    """

    cents: float
    level_db: float
    start: int
    end: int
    waver_cents: float

    @property
    def frames(self) -> int:
        """How long it is [frames]."""
        return self.end - self.start


@dataclass(frozen=True, slots=True)
class Tracks:
    """Linked peaks, sorted by track, then frame; track i is first[i] to first[i + 1]."""

    first: IntArray
    frame: IntArray
    cents: FloatArray
    level_db: FloatArray


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What must be known about the whole recording to read a part of it.

    Attributes
    ----------
    standing_db : ndarray
        Level of the lines that last through the recording, by pitch in steps of 5 cents; minus
        infinity if there is none.
    lowest_db : float
        Anything lower is too far below the loudest sound of the walk.
    """

    standing_db: FloatArray
    lowest_db: float


def surroundings_of(features: WalkFeatures) -> Surroundings:
    """The standing lines and the loudness of a recording.

    A line counts as standing when it is there in more than 60 % of the frames; in a recording under
    20 s a single hold can last as long, so there the limit is 95 %.
    """
    width = 2_601
    count = np.zeros(width)
    total = np.zeros(width)
    loudest = np.full(max(1, features.frames), _SILENT_DB, np.float32)
    for begin in range(0, features.frames, _CHUNK_FRAMES):
        frame, cents, level = _peaks_between(features, begin, begin + _CHUNK_FRAMES)
        place = _place_of(cents, width)
        count += np.bincount(place, minlength=width)
        total += np.bincount(place, weights=level, minlength=width)
        np.maximum.at(loudest, frame, level)
    count = scipy.ndimage.uniform_filter1d(count, 5) * 5
    total = scipy.ndimage.uniform_filter1d(total, 5) * 5
    need = 0.6 if features.seconds > 20.0 else 0.95
    standing = count > need * max(1, features.frames)
    usual = np.where(standing, total / np.maximum(count, 1.0), -np.inf)
    usual = np.asarray(scipy.ndimage.maximum_filter1d(usual, 5), np.float64)
    return Surroundings(usual, float(np.percentile(loudest, 90.0)) - _UNDER_WALK_DB)


def _place_of(cents: FloatArray, width: int) -> IntArray:
    return np.minimum((cents / 5.0).astype(np.int64), width - 1)


def _peaks_between(
    features: WalkFeatures, begin: int, end: int
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Frame, place [cents] and level [dB] of the peaks of some frames."""
    begin, end = max(0, begin), min(features.frames, end)
    inside = slice(int(features.first[begin]), int(features.first[end]))
    frame = features.frame_between(begin, end) + begin
    return frame, features.cents_between(inside), features.level_between(inside)


def _band_of(cents: FloatArray) -> IntArray:
    edges = np.array([cents_of_hz(edge) for edge in BAND_EDGES_HZ])
    return np.searchsorted(edges, cents)


def hear_atoms(features: WalkFeatures) -> list[Atom]:
    """Every atom of a recording, in parts of some minutes so that memory stays bounded."""
    around = surroundings_of(features)
    atoms: list[Atom] = []
    for begin in range(0, features.frames, _CHUNK_FRAMES):
        end = begin + _CHUNK_FRAMES
        tracks = link_tracks(features, around, begin - _MARGIN_FRAMES, end + _MARGIN_FRAMES)
        atoms += [atom for atom in find_atoms(tracks) if begin <= atom.start < end]
    return atoms


def link_tracks(features: WalkFeatures, around: Surroundings, begin: int, end: int) -> Tracks:
    """Link the peaks of some frames to tracks, without standing and faint lines."""
    frame, cents, level = _peaks_between(features, begin, end)
    standing = around.standing_db[_place_of(cents, len(around.standing_db))]
    heard = (level > standing + 6.0) & (level > around.lowest_db)
    frame, cents, level = frame[heard], cents[heard], level[heard]
    heard = _near_the_loudest(frame, level)
    frame, cents, level = frame[heard], cents[heard], level[heard]
    count = len(frame)
    if not count:
        return Tracks(np.zeros(1, np.int64), frame, cents, level)
    key = frame * _BIG + cents
    tolerance = np.array(_LINK_CENTS)[_band_of(cents)]
    has_next = np.zeros(count, bool)
    has_previous = np.zeros(count, bool)
    starts, stops = [], []
    for step in (1, 2, 3):
        ahead = _nearest(key, key + step * _BIG)
        back = _nearest(key, key - step * _BIG)
        source = np.arange(count)
        close = np.abs(key[ahead] - key - step * _BIG) < tolerance
        mutual = close & (back[ahead] == source) & ~has_next & ~has_previous[ahead]
        # Across a gap, only similar levels belong together: a lost frame, not another sound.
        mutual &= np.abs(level[ahead] - level) < (25.0 if step == 1 else 8.0)
        starts.append(source[mutual])
        stops.append(ahead[mutual])
        has_next[source[mutual]] = True
        has_previous[ahead[mutual]] = True
    start, stop = np.concatenate(starts), np.concatenate(stops)
    graph = scipy.sparse.coo_matrix(
        (np.ones(len(start), np.int8), (start, stop)), shape=(count, count)
    )
    _, label = scipy.sparse.csgraph.connected_components(graph, directed=False)
    sizes = np.bincount(label)
    long_enough = sizes[label] >= _LEAST_FRAMES
    order = np.lexsort((frame, label))
    order = order[long_enough[order]]
    label = label[order]
    first = np.concatenate([[0], np.nonzero(np.diff(label))[0] + 1, [len(label)]])
    if not len(label):
        first = np.zeros(1, np.int64)
    return Tracks(first.astype(np.int64), frame[order], cents[order], level[order])


def _near_the_loudest(frame: IntArray, level: FloatArray) -> NDArray[np.bool_]:
    """Drop peaks far below the loudest line of their moment."""
    if not len(frame):
        return np.zeros(0, bool)
    since = frame - frame[0]
    loudest = np.full(int(since[-1]) + 1, _SILENT_DB)
    np.maximum.at(loudest, since, level)
    near = scipy.ndimage.maximum_filter1d(loudest, 9)
    return np.asarray(level > near[since] - _UNDER_MOMENT_DB)


def _nearest(key: FloatArray, wanted: FloatArray) -> IntArray:
    """Index of the key nearest to each wanted value (keys ascending)."""
    right = np.clip(np.searchsorted(key, wanted), 1, max(1, len(key) - 1))
    if len(key) == 1:
        return np.zeros(len(wanted), np.int64)
    left = right - 1
    return np.where(wanted - key[left] <= key[right] - wanted, left, right)


def find_atoms(tracks: Tracks) -> list[Atom]:
    """Split every track into its driven parts."""
    if len(tracks.first) < 2:
        return []
    laid = _lay_out(tracks)
    driven = _driven(laid)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], driven.astype(np.int8), [0]])))
    runs = edges.reshape(-1, 2)
    owner = np.searchsorted(laid.offset, runs[:, 0], side="right") - 1
    atoms: list[Atom] = []
    for number in np.unique(owner).tolist():
        offset, length = int(laid.offset[number]), int(laid.length[number])
        curve = laid.level_db[offset : offset + length]
        begin, end = int(tracks.first[number]), int(tracks.first[number + 1])
        frame, cents = tracks.frame[begin:end], tracks.cents[begin:end]
        level, start = tracks.level_db[begin:end], int(frame[0])
        for low, high in _parts(curve, runs[owner == number] - offset, int(laid.half[offset])):
            left, right = np.searchsorted(frame, (start + low, start + high))
            if right - left < _LEAST_FRAMES - 2:
                continue
            inside = slice(int(left), int(right))
            strong = level[inside] > middle_of(level[inside]) - 6.0
            atoms.append(
                Atom(
                    middle_of(cents[inside][strong]),
                    middle_of(curve[low:high]),
                    start + low,
                    start + high,
                    _waver(cents[inside]),
                )
            )
    return atoms


def middle_of(values: FloatArray) -> float:
    """The upper median of some values; faster than numpy's on short arrays."""
    return float(np.sort(values)[len(values) // 2])


def _waver(cents: FloatArray) -> float:
    """Median departure from the median, without the blurred ends."""
    edge = max(2, len(cents) // 5)
    middle = cents[edge:-edge] if len(cents) > 6 else cents
    return middle_of(np.abs(middle - middle_of(middle)))


@dataclass(frozen=True, slots=True)
class _Laid:
    """All tracks laid end to end on every frame, gaps filled, silence between them.

    `offset` and `length` say where each track lies; `half` is half the lag of its band, per sample.
    """

    offset: IntArray
    length: IntArray
    level_db: FloatArray
    cents: FloatArray
    half: IntArray


def _lay_out(tracks: Tracks) -> _Laid:
    first, last = tracks.first[:-1], tracks.first[1:] - 1
    length = tracks.frame[last] - tracks.frame[first] + 1
    offset = _PAD + np.concatenate([[0], np.cumsum(length[:-1] + _PAD)])
    count = tracks.first[1:] - tracks.first[:-1]
    place = tracks.frame - np.repeat(tracks.frame[first] - offset, count)
    total = int(offset[-1] + length[-1] + _PAD)
    grid = np.arange(total)
    level = np.interp(grid, place, tracks.level_db)
    cents = np.interp(grid, place, tracks.cents)
    edge = np.zeros(total + 1, np.int64)
    np.add.at(edge, offset, 1)
    np.add.at(edge, offset + length, -1)
    outside = np.cumsum(edge)[:-1] == 0
    level[outside] = _SILENT_DB
    # In silence a line stays at the pitch of the nearer end, so that no glide appears there.
    nearest = np.clip(np.searchsorted(offset, grid, side="right") - 1, 0, None)
    ends = tracks.cents[last][nearest]
    starts = tracks.cents[first][np.minimum(nearest + 1, len(first) - 1)]
    early = grid - (offset + length)[nearest] < _PAD // 2
    cents[outside] = np.where(early, ends, starts)[outside]
    lags = np.array(_LAG_FRAMES)[_band_of(cents)]
    return _Laid(offset, length, level, cents, lags)


def _driven(laid: _Laid) -> NDArray[np.bool_]:
    """Where a line neither falls nor glides."""
    total = len(laid.level_db)
    grid = np.arange(total)
    ahead = np.minimum(grid + laid.half, total - 1)
    behind = np.maximum(grid - laid.half, 0)
    sounding = laid.level_db > _SILENT_DB
    falls = laid.level_db[ahead] - laid.level_db[behind] <= -_FALL_DB
    driven = scipy.ndimage.binary_closing(sounding & ~falls, structure=np.ones(4, bool))
    # In a long window one key's line slides into the next one's: cut there.
    both = sounding[ahead] & sounding[behind]
    glides = both & (np.abs(laid.cents[ahead] - laid.cents[behind]) >= _GLIDE_CENTS)
    return np.asarray(driven & sounding & ~glides)


def _parts(curve: FloatArray, runs: IntArray, half: int) -> list[tuple[int, int]]:
    """First and one-past-last index of the driven parts of one track, from its runs."""
    parts: list[tuple[int, int]] = []
    past_peak = -np.inf
    for low, high in runs.tolist():
        # The window's rise before a step counts from 6 dB below what follows.
        level = middle_of(curve[low : min(high, low + _BODY_FRAMES)])
        begin = low + int(np.argmax(curve[low:high] > level - 6.0))
        # The end: the last frame within 2.5 dB of the level before the fall.
        body = middle_of(curve[max(begin, high - _BODY_FRAMES) : high])
        after = curve[begin : min(len(curve), high + half)] > body - 2.5
        finish = begin + len(after) - int(np.argmax(after[::-1]))
        if parts:
            dip = float(curve[min(parts[-1][1] - 1, begin) : begin + 1].min())
            if body < past_peak - 12.0:
                continue
            if level - dip < 3.0:
                # No rise: a long continuation is still driven, a short one is a tail.
                if level > past_peak - 3.0 or high - low >= _GOES_ON_FRAMES:
                    parts[-1] = (parts[-1][0], finish)
                continue
        if finish - begin >= _LEAST_FRAMES - 2:
            parts.append((begin, finish))
            past_peak = max(body, level)
    return parts
