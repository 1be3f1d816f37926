"""Finding the holds of a walk: which key was held, and when.

Two steps, so that naming can be repeated with another stop's keys without reading the sound again.

1. `gather_features` keeps the spectral peaks of every 40 ms (`walk.features`).
2. `name_holds` links them to lines (`walk.tracks`) and lines to events (`walk.events`) without
   knowing any key, scores every key for every event (`walk.naming`), finds the order that makes
   most sense of all (`walk.order`), follows the lines of each named key to see when it was down
   (`walk.spans`), and flags anything odd.

What it cannot do. A pipe that speaks its octave and a wrong key an octave up sound alike; the order
of keys decides. Two strokes of one key less than 0.1 s apart merge. A single line above about 5 kHz
in long reverberation wavers so much that a repeat may be missed. Sound 35 dB below the walk's usual
level is ignored.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.types import ExpectedKey, FoundHold, HoldFlag, Walk
from walkboard.listening.walk.bands import hz_of_cents
from walkboard.listening.walk.events import Event, group_events, is_tail, window_of
from walkboard.listening.walk.features import WalkFeatures, gather_features
from walkboard.listening.walk.naming import Keyboard, Reading, read_event
from walkboard.listening.walk.order import (
    Naming,
    Stride,
    find_stride,
    in_order,
    name_events,
    sureness_of,
)
from walkboard.listening.walk.spans import Span, follow_lines, key_down
from walkboard.listening.walk.tracks import hear_atoms

__all__ = ["Event", "WalkFeatures", "find_events", "gather_features", "name_holds"]

_LATE_S = 0.4  # of a key into the next one's hold; keys released in time are below −.3. Chosen
_SHORT_S = 0.8
_UNKNOWN_LEAST_S = 0.8
_UNKNOWN_LEAST_COST = 12.0
_LEAST_SURE = 0.6
_LEAST_REPEAT_S = 0.5
_OWN_FRAMES = 5
_OWN_DB = 5.0
_UNDER_WALK_DB = 38.0
_SAME_STRETCH_S = 3.0
_AROUND_FRAMES = 20
_NEIGHBOURS = 20
_SAME_SHIFT_CENTS = 1.0

FloatArray = NDArray[np.float64]


def find_events(features: WalkFeatures) -> list[Event]:
    """What sounded steadily in a recording, whichever key it was."""
    return group_events(hear_atoms(features))


def name_holds(
    features: WalkFeatures,
    keys: Sequence[ExpectedKey],
    *,
    events: Sequence[Event] | None = None,
) -> Walk:
    """Find and name the holds of a walk.

    Parameters
    ----------
    features : WalkFeatures
    keys : sequence of ExpectedKey
        From the lowest to the highest. The walk may go up or down, start anywhere, or take only
        some of them.
    events : sequence of Event, optional
        Result of `find_events` for these features, if naming is tried with several stops.

    Returns
    -------
    Walk

    Raises
    ------
    ValueError
        If no key is expected.
    """
    if not keys:
        raise ValueError("a walk needs at least one expected key")
    board = Keyboard(keys)
    heard = list(find_events(features) if events is None else events)
    worthy, leaves = _worth_naming(heard, features.hop_s)
    if not worthy:
        return Walk((), (), 0.0)
    shift, stride = 0.0, Stride()
    readings = _read(worthy, leaves, board, shift)
    states, repeats = name_events(readings, board, stride)
    for _ in range(3):
        named = [i for i, state in enumerate(states) if state >= 0]
        if not named:
            break
        before = (stride, shift)
        stride = find_stride([board.key_of(states[i]) for i in named])
        shift = float(np.median([readings[i].offset[states[i]] for i in named]))
        moved = abs(shift - before[1]) > _SAME_SHIFT_CENTS
        if stride == before[0] and not moved:
            break
        if moved:
            readings = _read(worthy, leaves, board, shift)
        states, repeats = name_events(readings, board, stride)
    naming = Naming(states, sureness_of(readings, board, stride, (states, repeats)))
    named_walk = _Named(features, board, tuple(worthy), tuple(readings), naming)
    holds = _flagged(features, _alone(_all_holds(named_walk)), stride)
    return Walk(
        holds=tuple(holds),
        silent=_silent(holds, stride),
        explained=_explained(named_walk),
    )


def _read(
    events: list[Event], leaves: list[float], board: Keyboard, shift_cents: float
) -> list[Reading]:
    return [
        read_event(event, before, board, shift_cents, leave)
        for event, before, leave in zip(events, [None, *events], leaves, strict=False)
    ]


def _worth_naming(events: list[Event], hop_s: float) -> tuple[list[Event], list[float]]:
    """Events that may be holds, each with the cost of leaving it unnamed."""
    if not events:
        return [], []
    level = np.array([event.total_db for event in events])
    long = np.array([event.end - event.start for event in events]) * hop_s
    usual = float(np.percentile(level[long >= min(1.0, float(long.max()))], 75))
    kept, leaves = [], []
    for number, (event, total, seconds) in enumerate(zip(events, level, long, strict=True)):
        near = events[max(0, number - _NEIGHBOURS) : number + _NEIGHBOURS]
        if total < usual - _UNDER_WALK_DB or seconds < 0.2 or is_tail(event, near, hop_s):
            continue
        strength = float(np.clip((total - usual + 35.0) / 16.0, 0.0, 1.8))
        steady = float(np.clip(2.0 / max(event.waver_cents, 0.1), 0.2, 1.0))
        # Within a window's length even noise keeps its pitch.
        counted_s = max(0.0, seconds - 0.08 - 0.35 * window_of(event))
        leaves.append(min(22.0, 22.0 * counted_s * strength * steady))
        kept.append(event)
    return kept, leaves


@dataclass(frozen=True, slots=True)
class _Named:
    """A walk with named events."""

    features: WalkFeatures
    board: Keyboard
    events: tuple[Event, ...]
    readings: tuple[Reading, ...]
    naming: Naming


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Consecutive events named as the same key and overtone; state -1: an unnamed one."""

    state: int
    members: tuple[int, ...]


def _substance(event: Event) -> float:
    """How much an event says about its key: its length and its lines, weak ones included."""
    lines = 10.0 ** (0.35 * event.level_db / 10.0) * event.share
    return float(lines.sum() * (event.end - event.start))


def _stretches(walk: _Named) -> list[_Stretch]:
    events, key_of = walk.events, walk.board.key_of
    result: list[_Stretch] = []
    last = -1
    reach = _SAME_STRETCH_S / walk.features.hop_s
    for number, state in enumerate(walk.naming.state):
        # A single line of a key may continue, and then looks like an overtone of the key.
        if (
            state >= 0
            and last >= 0
            and key_of(result[last].state) == key_of(state)
            and events[number].start - max(events[i].end for i in result[last].members) <= reach
        ):
            members = (*result[last].members, number)
            main = max(members, key=lambda i: _substance(events[i]))
            result[last] = _Stretch(walk.naming.state[main], members)
            continue
        result.append(_Stretch(state, (number,)))
        if state >= 0:
            last = len(result) - 1
    return result


def _all_holds(walk: _Named) -> list[FoundHold]:
    """Every hold, without flags, in order of time."""
    holds: list[FoundHold] = []
    for stretch in _stretches(walk):
        if stretch.state >= 0:
            holds += _named_holds(walk, stretch)
        else:
            holds += _unknown_holds(walk, stretch.members[0])
    return _joined(sorted(holds, key=lambda hold: hold.start_s))


def _joined(holds: list[FoundHold]) -> list[FoundHold]:
    """Join two overlapping holds of one key: a key cannot go down again before it came up.

    An overlap of less than half a second may be the room: a hold's end is known only that well.
    """
    result: list[FoundHold] = []
    for hold in holds:
        last = result[-1] if result else None
        if (
            last is not None
            and hold.key is not None
            and hold.key == last.key
            and hold.start_s < last.end_s - _LEAST_REPEAT_S
        ):
            louder = hold if hold.level_db > last.level_db else last
            result[-1] = replace(louder, start_s=last.start_s, end_s=max(last.end_s, hold.end_s))
        else:
            result.append(hold)
    return result


def _unknown_holds(walk: _Named, number: int) -> list[FoundHold]:
    """What was held like a key but fits none; short or weak sounds are ignored."""
    event, hop = walk.events[number], walk.features.hop_s
    seconds = (event.end - event.start) * hop
    if seconds < _UNKNOWN_LEAST_S or walk.readings[number].leave < _UNKNOWN_LEAST_COST:
        return []
    sure = walk.naming.sureness[number]
    start_s, end_s = event.start * hop, event.end * hop
    return [FoundHold(None, start_s, end_s, event.total_db, None, 1, sure)]


def _named_holds(walk: _Named, stretch: _Stretch) -> list[FoundHold]:
    """The holds of one key in a stretch of time."""
    events, board, hop = walk.events, walk.board, walk.features.hop_s
    main = max(stretch.members, key=lambda i: _substance(events[i]))
    sure = max(walk.naming.sureness[i] for i in stretch.members)
    if sure < _LEAST_SURE and walk.readings[main].leave < _UNKNOWN_LEAST_COST:
        return []
    overtone = board.overtone_of(stretch.state)
    spoken = board.base[stretch.state] + walk.readings[main].offset[stretch.state]
    holds: list[FoundHold] = []
    for span in _spans(walk.features, [events[i] for i in stretch.members], spoken):
        inside = [
            i for i in stretch.members if events[i].end > span.start and events[i].start < span.end
        ] or [main]
        hold = FoundHold(
            key=board.key_of(stretch.state),
            start_s=span.start * hop,
            end_s=span.end * hop,
            level_db=max(events[i].total_db for i in inside),
            heard_hz=hz_of_cents(float(spoken[0])) / overtone,
            overtone=overtone,
            sureness=max(walk.naming.sureness[i] for i in inside),
        )
        # A very short stroke right after a hold of the same key is its tail swelling, unless it
        # began as an event of its own.
        own = any(
            abs(events[i].start - span.start) < _OWN_FRAMES
            and events[i].total_db > events[main].total_db - _OWN_DB
            for i in inside
        )
        if holds and hold.end_s - hold.start_s < _LEAST_REPEAT_S and not own:
            continue
        holds.append(hold)
    return holds


def _alone(holds: list[FoundHold]) -> list[FoundHold]:
    """Drop what is beneath a longer and louder hold: one key is held at a time."""
    return [
        hold
        for hold in holds
        if not any(
            other.level_db > hold.level_db
            and other.end_s - other.start_s > hold.end_s - hold.start_s
            and min(other.end_s, hold.end_s) - max(other.start_s, hold.start_s)
            > 0.5 * (hold.end_s - hold.start_s)
            for other in holds
        )
    ]


def _spans(features: WalkFeatures, events: list[Event], spoken: FloatArray) -> list[Span]:
    """The times at which one key was down, within the time of its events."""
    main = max(events, key=_substance)
    sounding = [
        (event.start + (event.end - event.start) // 10, event.end - (event.end - event.start) // 10)
        for event in events
        if event.total_db > main.total_db - 8.0
    ]
    begin = min(event.start for event in events) - _AROUND_FRAMES
    end = max(event.end for event in events) + _AROUND_FRAMES
    fundamentals = tuple(float(cents) for cents in spoken if np.isfinite(cents))
    lines = follow_lines(features, fundamentals, sounding, begin, end)
    spans = [] if lines is None else key_down(lines)
    if not spans:
        return [Span(main.start, main.end)]
    return spans


def _flagged(features: WalkFeatures, holds: list[FoundHold], stride: Stride) -> list[FoundHold]:
    named = [number for number, hold in enumerate(holds) if hold.key is not None]
    path = in_order([holds[number].key or 0 for number in named], stride)
    astray = {number for number, kept in zip(named, path, strict=True) if not kept}
    result: list[FoundHold] = []
    last: int | None = None
    for number, hold in enumerate(holds):
        flags: list[HoldFlag] = []
        if hold.key is None:
            flags.append(HoldFlag.UNKNOWN_KEY)
        else:
            if hold.key == last:
                flags.append(HoldFlag.REPEAT)
            elif number in astray:
                flags.append(HoldFlag.OUT_OF_ORDER)
            last = hold.key
        if hold.end_s - hold.start_s < _SHORT_S:
            flags.append(HoldFlag.SHORT)
        first, stop = (int(t / features.hop_s) for t in (hold.start_s, hold.end_s))
        if features.clipped[first:stop].any():
            flags.append(HoldFlag.CLIPPED)
        after = holds[number + 1].start_s if number + 1 < len(holds) else hold.end_s
        if hold.end_s - after > _LATE_S:
            flags.append(HoldFlag.RELEASED_LATE)
        # Where a recording begins within a sound, its start is fitted before the recording.
        result.append(replace(hold, start_s=max(0.0, hold.start_s), flags=tuple(flags)))
    return result


def _silent(holds: list[FoundHold], stride: Stride) -> tuple[int, ...]:
    """Keys between the lowest and the highest found that the walk's stride should have included."""
    found = {hold.key for hold in holds if hold.key is not None}
    if not found:
        return ()
    step = max(1, abs(stride.keys))
    homes = [key % step for key in found]
    home = max(set(homes), key=homes.count)
    return tuple(
        key for key in range(min(found), max(found) + 1) if key not in found and key % step == home
    )


def _explained(walk: _Named) -> float:
    total = 0.0
    met = 0.0
    for event, reading, state in zip(walk.events, walk.readings, walk.naming.state, strict=True):
        # Root of the power, so that the loudest pipes do not dominate the whole rank.
        mass = (event.end - event.start) * 10.0 ** (event.total_db / 20.0)
        total += mass
        # Sound that fits a key only as an overtone suggests another stop.
        if 0 <= state < walk.board.count:
            met += mass * float(reading.energy[state])
    return met / total if total else 0.0
