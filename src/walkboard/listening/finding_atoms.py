"""From peaks to events, without knowing any key.

1. Lines that stand all the time (blower hum) are taken away: a place that has a line in most frames.
2. Peaks of neighbouring frames within a few cents are linked to tracks. Speech glides and thumps are
   broad, so they leave short tracks, which are dropped.
3. A track is *driven* while its level does not fall: reverberation of T seconds falls by 60/T dB a
   second, so over the lag of 0.32 s even a room of 6 s shows 3 dB. What is driven without a break
   is an *atom*: one partial of one hold.
4. Atoms that begin and end together are one *event*: the strongest first, each taking the atoms
   that lie within its time.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import scipy.ndimage
import scipy.sparse
from numpy.typing import NDArray

from walkboard.listening.finding_features import BAND_EDGES_HZ, WalkFeatures, cents_of_hz

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_FALL_DB = 2.5  # over the lag; a room of 6 s falls by 3.2 dB
_LAG_FRAMES = (10, 6, 4)  # half the lag in each band: the longer windows smear the fall
_LINK_CENTS = (45.0, 25.0, 18.0)
_LEAST_FRAMES = 6
_UNDER_MOMENT_DB = 38.0
_UNDER_WALK_DB = 50.0
_SAME_LINE_CENTS = 15.0
_GOES_ON_FRAMES = 15
_GLIDE_CENTS = 40.0
_BIG = 16_384.0


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
class Event:
    """Something that sounded steadily: perhaps a hold.

    Attributes
    ----------
    start, end : int
        [frames]
    cents, level_db : ndarray, shape (atoms,)
        Place and level of its lines, strongest first.
    share : ndarray, shape (atoms,)
        The part of the event's time that each line was driven.
    waver_cents : float
        How far its strongest lines stray from their places: a tenth of a cent is usual for a pipe,
        several cents for the last of speech in a room.
    """

    start: int
    end: int
    cents: FloatArray
    level_db: FloatArray
    share: FloatArray
    waver_cents: float

    @property
    def total_db(self) -> float:
        """Power of all lines together [dB]."""
        return float(10.0 * np.log10(np.sum(10.0 ** (self.level_db / 10.0) * self.share)))


@dataclass(frozen=True, slots=True)
class Tracks:
    """Linked peaks: arrays over peaks sorted by track, then frame; track i is first[i]:first[i+1]."""

    first: IntArray
    frame: IntArray
    cents: FloatArray
    level_db: FloatArray


def standing_lines(features: WalkFeatures) -> tuple[FloatArray, FloatArray]:
    """Places [cents, 5-cent grid] and levels [dB] of lines that stand through the recording.

    A line counts as standing when it is there in more than 60 % of the frames; in a recording
    under 20 s a single hold can last as long, so there it takes 95 %.
    """
    bins = np.minimum((features.cents / 5.0).astype(np.int64), 2_600)
    width = 2_601
    count = np.bincount(bins, minlength=width).astype(float)
    level = np.bincount(bins, weights=features.level_db, minlength=width)
    count = scipy.ndimage.uniform_filter1d(count, 5) * 5
    level = scipy.ndimage.uniform_filter1d(level, 5) * 5
    need = 0.6 if features.seconds > 20.0 else 0.95
    standing = count > need * max(1, features.frames)
    usual = np.where(standing, level / np.maximum(count, 1.0), -np.inf)
    usual = scipy.ndimage.maximum_filter1d(usual, 5)
    return np.arange(width) * 5.0, usual


def _band_of(cents: FloatArray) -> IntArray:
    edges = np.array([cents_of_hz(edge) for edge in BAND_EDGES_HZ])
    return np.searchsorted(edges, cents)


def link_tracks(features: WalkFeatures) -> Tracks:
    """Link peaks to tracks, standing lines left out."""
    _, usual = standing_lines(features)
    cents = features.cents.astype(np.float64)
    level = features.level_db.astype(np.float64)
    keep = level > usual[np.minimum((cents / 5.0).astype(np.int64), len(usual) - 1)] + 6.0
    frame, cents, level = features.frame[keep], cents[keep], level[keep]
    heard = _worth_linking(frame, level, features.frames)
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
        # Across a gap only like levels belong together: a lost frame, not another sound.
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


def _worth_linking(frame: IntArray, level: FloatArray, frames: int) -> NDArray[np.bool_]:
    """Leave out peaks far below the loudest line of their moment or of the whole walk."""
    loudest = np.full(max(1, frames), -200.0)
    np.maximum.at(loudest, frame, level)
    near = scipy.ndimage.maximum_filter1d(loudest, 9)
    usual = np.percentile(loudest, 90.0)
    return (level > near[frame] - _UNDER_MOMENT_DB) & (level > usual - _UNDER_WALK_DB)


def _nearest(key: FloatArray, wanted: FloatArray) -> IntArray:
    """Index of the key nearest to each wanted value (key rises)."""
    right = np.clip(np.searchsorted(key, wanted), 1, max(1, len(key) - 1))
    if len(key) == 1:
        return np.zeros(len(wanted), np.int64)
    left = right - 1
    return np.where(wanted - key[left] <= key[right] - wanted, left, right)


def find_atoms(tracks: Tracks) -> list[Atom]:
    """Cut every track into its driven parts."""
    atoms: list[Atom] = []
    for begin, end in itertools.pairwise(tracks.first.tolist()):
        frame = tracks.frame[begin:end]
        cents = tracks.cents[begin:end]
        level = tracks.level_db[begin:end]
        start = int(frame[0])
        grid = np.arange(start, int(frame[-1]) + 1)
        curve = np.interp(grid, frame, level)
        half = _LAG_FRAMES[int(_band_of(np.array([np.median(cents)]))[0])]
        place = np.interp(grid, frame, cents)
        for low, high in _driven_parts(curve, place, half):
            inside = (frame >= start + low) & (frame < start + high)
            if inside.sum() < _LEAST_FRAMES - 2:
                continue
            strong = level[inside] > np.median(level[inside]) - 6.0
            atoms.append(
                Atom(
                    float(np.median(cents[inside][strong])),
                    float(np.median(curve[low:high])),
                    start + low,
                    start + high,
                    _waver(cents[inside]),
                )
            )
    return atoms


def _waver(cents: FloatArray) -> float:
    """Median departure from the median, the blurred ends left out."""
    edge = max(2, len(cents) // 5)
    middle = cents[edge:-edge] if len(cents) > 6 else cents
    return float(np.median(np.abs(middle - np.median(middle))))


def _driven_parts(curve: FloatArray, place: FloatArray, half: int) -> list[tuple[int, int]]:
    """First and one-past-last index of the parts of a track that neither fall nor glide.

    Parameters
    ----------
    curve, place : ndarray, shape (frames,)
        Level [dB] and place [cents] of the track.
    half : int
        Half the lag over which a fall is judged [frames].
    """
    padded = np.concatenate([np.full(half, -200.0), curve, np.full(half, -200.0)])
    change = padded[2 * half :] - padded[: -2 * half]
    driven = scipy.ndimage.binary_closing(
        np.pad(change > -_FALL_DB, 4), structure=np.ones(4, bool)
    )[4:-4]
    # Through a long window one key's line slides into the next's: that is where to cut.
    wide = np.pad(place, half, mode="edge")
    driven &= np.abs(wide[2 * half :] - wide[: -2 * half]) < _GLIDE_CENTS
    edges = np.flatnonzero(np.diff(np.concatenate([[0], driven.astype(np.int8), [0]])))
    parts: list[tuple[int, int]] = []
    past_peak = -np.inf
    for low, high in edges.reshape(-1, 2):
        # The rise of the window before a step counts from 6 dB under what follows.
        level = float(np.median(curve[low : min(high, low + 25)]))
        above = np.flatnonzero(curve[low:high] > level - 6.0)
        begin = low + int(above[0])
        # The end: the last frame within 2 dB of the level before the fall.
        body = float(np.median(curve[max(begin, high - 25) : high])) if high > begin else level
        stop = min(len(curve), high + half)
        after = np.flatnonzero(curve[begin:stop] > body - 2.5)
        finish = begin + int(after[-1]) + 1
        if parts:
            dip = float(curve[min(parts[-1][1] - 1, begin) : begin + 1].min())
            if body < past_peak - 12.0:
                continue
            if level - dip < 3.0:
                # No rise: what goes on for long is still driven, what does not is a tail.
                if level > past_peak - 3.0 or high - low >= _GOES_ON_FRAMES:
                    parts[-1] = (parts[-1][0], finish)
                continue
        if finish - begin >= _LEAST_FRAMES - 2:
            parts.append((begin, finish))
            past_peak = max(body, level)
    return parts


def group_events(atoms: list[Atom]) -> list[Event]:
    """Gather atoms that begin and end together, strongest first."""
    if not atoms:
        return []
    start = np.array([atom.start for atom in atoms])
    end = np.array([atom.end for atom in atoms])
    cents = np.array([atom.cents for atom in atoms])
    level = np.array([atom.level_db for atom in atoms])
    waver = np.array([atom.waver_cents for atom in atoms])
    energy = 10.0 ** (level / 10.0) * (end - start)
    free = np.ones(len(atoms), bool)
    events: list[Event] = []
    for seed in np.argsort(-_support(start, end, level)):
        if not free[seed]:
            continue
        low, high = start[seed], end[seed]
        for _ in range(2):
            overlap = np.minimum(end, high) - np.maximum(start, low)
            within = free & (overlap >= 0.7 * (end - start)) & (overlap > 0)
            wide = within & (overlap >= 0.6 * (high - low))
            if not wide.any():
                wide = within
            low = round(_weighted_median(start[wide], energy[wide] ** 0.5))
            high = round(_weighted_median(end[wide], energy[wide] ** 0.5))
        within[seed] = True
        free &= ~within
        members = np.flatnonzero(within)
        lines = _joined(cents[members], level[members], (end - start)[members] / max(1, high - low))
        strong = members[np.argsort(-level[members])][:5]
        mass = 10.0 ** (level[strong] / 40.0) * (end - start)[strong]
        events.append(Event(int(low), int(high), *lines, float(mass @ waver[strong] / mass.sum())))
    return sorted(_without_shadows(events), key=lambda event: event.start)


def _support(start: IntArray, end: IntArray, level: FloatArray) -> FloatArray:
    """How much each atom's bounds are those of others: the best know when the key was down.

    An atom in which the same place in two keys' sound ran together is long and strong, but alone.
    """
    order = np.argsort(start, kind="stable")
    begins, ends = start[order], end[order]
    weight = 10.0 ** (level[order] / 20.0)
    support = np.zeros(len(start))
    for i, (low, high) in enumerate(zip(begins, ends, strict=True)):
        span = high - low
        left = np.searchsorted(begins, low - 0.4 * span - 1)
        right = np.searchsorted(begins, low + 0.4 * span + 1)
        near = slice(int(left), int(right))
        shared = np.minimum(ends[near], high) - np.maximum(begins[near], low)
        whole = np.maximum(ends[near], high) - np.minimum(begins[near], low)
        alike = shared > 0.65 * whole
        support[order[i]] = weight[near][alike].sum() * span**0.25
    return support


def _joined(
    cents: FloatArray, level: FloatArray, share: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Join pieces of one line; what is left is strongest first."""
    power = 10.0 ** (level / 10.0) * share
    free = np.ones(len(cents), bool)
    rows = []
    for seed in np.argsort(-power):
        if free[seed]:
            same = free & (np.abs(cents - cents[seed]) < _SAME_LINE_CENTS)
            free &= ~same
            mass = power[same].sum()
            time = share[same].sum()
            rows.append(
                (
                    float(power[same] @ cents[same] / mass),
                    10.0 * np.log10(mass / time),
                    min(1.0, float(time)),
                )
            )
    table = np.array(sorted(rows, key=lambda row: -row[1] - 10.0 * np.log10(row[2])))
    return table[:, 0], table[:, 1], table[:, 2]


def _weighted_median(values: NDArray[np.int64], weights: FloatArray) -> float:
    order = np.argsort(values)
    mass = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(mass, 0.5 * mass[-1])])


def _without_shadows(events: list[Event]) -> list[Event]:
    """Leave out what is weak beneath a stronger event at the same time: tails, side bands."""
    kept: list[Event] = []
    for event in sorted(events, key=lambda event: -event.total_db):
        beneath = sum(
            max(0, min(event.end, other.end) - max(event.start, other.start))
            for other in kept
            if other.total_db > event.total_db + 3.0
        )
        if beneath <= 0.4 * (event.end - event.start):
            kept.append(event)
    return kept


def is_tail(event: Event, events: list[Event], hop_s: float) -> bool:
    """Whether an event is only the dying sound of the one before it.

    In reverberation a line may swell by chance: such an event is short, weaker, begins as another
    ends, and has none but its lines.
    """
    if (event.end - event.start) * hop_s > 1.2:
        return False
    for other in events:
        if (other.end - other.start) * hop_s < 0.6 or other.total_db < event.total_db + 5.0:
            continue
        after = (event.start - other.end) * hop_s
        if -0.5 <= after <= 1.0 and other.start < event.start:
            apart = np.abs(event.cents[:, np.newaxis] - other.cents).min(axis=1)
            power = 10.0 ** (event.level_db / 20.0) * event.share
            if power[apart < 30.0].sum() > 0.8 * power.sum():
                return True
    return False
