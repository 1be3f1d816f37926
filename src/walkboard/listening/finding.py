"""Finding the holds of a walk: which key was held, and when.

Two steps, so that naming can be retried with another stop's keys without reading the sound again:
`gather_features` keeps the spectral peaks (finding_features), `name_holds` links them to events
without knowing any key (finding_atoms), names the events by pitch and order (finding_naming), and
tells what was odd.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.finding_atoms import Event, find_atoms, group_events, is_tail, link_tracks
from walkboard.listening.finding_features import WalkFeatures, gather_features, hz_of_cents
from walkboard.listening.finding_holds import Span, follow_lines, key_down
from walkboard.listening.finding_naming import (
    Keyboard,
    Naming,
    Reading,
    Stride,
    find_stride,
    in_order,
    name_events,
    read_event,
)
from walkboard.listening.heard import ExpectedKey, FoundHold, HoldFlag, Walk

__all__ = ["WalkFeatures", "gather_features", "name_holds"]

_SHORT_S = 0.8
_UNKNOWN_LEAST_S = 0.8
_UNKNOWN_LEAST_COST = 12.0
_LEAST_SURE = 0.5
_UNDER_WALK_DB = 38.0
_SAME_STRETCH_S = 3.0
_AROUND_FRAMES = 20

FloatArray = NDArray[np.float64]


def name_holds(features: WalkFeatures, keys: Sequence[ExpectedKey]) -> Walk:
    """Find and name the holds of a walk.

    Parameters
    ----------
    features : WalkFeatures
    keys : sequence of ExpectedKey
        In the order in which the walk should go if it goes up; it may as well go down, start
        anywhere, or take only some of them.

    Returns
    -------
    Walk

    Raises
    ------
    ValueError
        When no key is expected.
    """
    if not keys:
        raise ValueError("a walk needs at least one expected key")
    events = group_events(find_atoms(link_tracks(features)))
    board = Keyboard(keys)
    events, leaves = _worth_naming(events, features.hop_s)
    if not events:
        return Walk((), (), 0.0)
    shift, stride = 0.0, Stride()
    for _ in range(3):
        readings = [
            read_event(event, before, board, shift, leave)
            for event, before, leave in zip(events, [None, *events], leaves, strict=False)
        ]
        naming = name_events(readings, board, stride)
        named = [i for i, state in enumerate(naming.state) if state >= 0]
        if not named:
            break
        stride = find_stride([board.key_of(naming.state[i]) for i in named])
        shift = float(np.median([readings[i].offset[naming.state[i]] for i in named]))
    holds = _holds(features, events, readings, board, naming, stride)
    return Walk(
        holds=tuple(holds),
        silent=_silent(holds, stride),
        explained=_explained(events, readings, naming),
    )


def _worth_naming(events: list[Event], hop_s: float) -> tuple[list[Event], list[float]]:
    """The events that may be holds, each with the cost of leaving it unnamed."""
    if not events:
        return [], []
    level = np.array([event.total_db for event in events])
    long = np.array([event.end - event.start for event in events]) * hop_s
    usual = float(np.percentile(level[long >= min(1.0, float(long.max()))], 75))
    kept, leaves = [], []
    for event, total, seconds in zip(events, level, long, strict=True):
        if total < usual - _UNDER_WALK_DB or seconds < 0.2 or is_tail(event, events, hop_s):
            continue
        strength = float(np.clip((total - usual + 35.0) / 16.0, 0.0, 1.8))
        steady = float(np.clip(2.0 / max(event.waver_cents, 0.1), 0.2, 1.0))
        leaves.append(min(22.0, 22.0 * max(0.0, seconds - 0.15) * strength * steady))
        kept.append(event)
    return kept, leaves


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Events in a row that were named the same key and overtone; state -1: one without a name."""

    state: int
    members: tuple[int, ...]


def _substance(event: Event) -> float:
    """How much an event says of its key: its time and its lines, weak ones counting too."""
    lines = 10.0 ** (0.35 * event.level_db / 10.0) * event.share
    return float(lines.sum() * (event.end - event.start))


def _stretches(
    events: list[Event], board: Keyboard, naming: Naming, hop_s: float
) -> list[_Stretch]:
    result: list[_Stretch] = []
    reach = _SAME_STRETCH_S / hop_s
    for number, state in enumerate(naming.state):
        last = next((s for s in reversed(result) if s.state >= 0), None)
        # One line of a key may go on by itself, and then looks like an overtone of the key.
        if state < 0 or last is None or board.key_of(last.state) != board.key_of(state):
            result.append(_Stretch(state, (number,)))
            continue
        if events[number].start - max(events[i].end for i in last.members) > reach:
            result.append(_Stretch(state, (number,)))
            continue
        members = (*last.members, number)
        main = max(members, key=lambda i: _substance(events[i]))
        result[result.index(last)] = _Stretch(naming.state[main], members)
    return result


def _holds(
    features: WalkFeatures,
    events: list[Event],
    readings: list[Reading],
    board: Keyboard,
    naming: Naming,
    stride: Stride,
) -> list[FoundHold]:
    hop = features.hop_s
    rough: list[FoundHold] = []
    for stretch in _stretches(events, board, naming, hop):
        main = max(stretch.members, key=lambda i: _substance(events[i]))
        reading, state = readings[main], stretch.state
        if state < 0:
            event = events[main]
            seconds = (event.end - event.start) * hop
            if seconds >= _UNKNOWN_LEAST_S and reading.leave >= _UNKNOWN_LEAST_COST:
                rough.append(
                    FoundHold(
                        key=None,
                        start_s=event.start * hop,
                        end_s=event.end * hop,
                        level_db=event.total_db,
                        heard_hz=None,
                        overtone=1,
                        sureness=naming.sureness[main],
                    )
                )
            continue
        overtone = board.overtone_of(state)
        spoken = board.base[state] + reading.offset[state]
        sure = min(1.0, max(naming.sureness[i] for i in stretch.members))
        if sure < _LEAST_SURE and reading.leave < _UNKNOWN_LEAST_COST:
            continue
        for span in _spans(features, [events[i] for i in stretch.members], spoken):
            inside = [
                i
                for i in stretch.members
                if min(events[i].end, span.end) - max(events[i].start, span.start) > 0
            ]
            rough.append(
                FoundHold(
                    key=board.key_of(state),
                    start_s=span.start * hop,
                    end_s=span.end * hop,
                    level_db=max(events[i].total_db for i in inside or stretch.members),
                    heard_hz=hz_of_cents(float(spoken[0])) / overtone,
                    overtone=overtone,
                    sureness=min(1.0, max(naming.sureness[i] for i in inside or stretch.members)),
                )
            )
    rough.sort(key=lambda hold: hold.start_s)
    return _flagged(features, rough, stride)


def _spans(features: WalkFeatures, events: list[Event], spoken: FloatArray) -> list[Span]:
    """The times that one key was down within the time of its events."""
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


def _flagged(
    features: WalkFeatures, holds: list[FoundHold], stride: Stride
) -> list[FoundHold]:
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
        result.append(replace(hold, flags=tuple(flags)))
    return result


def _silent(holds: list[FoundHold], stride: Stride) -> tuple[int, ...]:
    """Keys between the lowest and the highest found that the walk's stride should have met."""
    found = {hold.key for hold in holds if hold.key is not None}
    if not found:
        return ()
    step = max(1, abs(stride.keys))
    homes = [key % step for key in found]
    home = max(set(homes), key=homes.count)
    return tuple(
        key for key in range(min(found), max(found) + 1) if key not in found and key % step == home
    )


def _explained(events: list[Event], readings: list[Reading], naming: Naming) -> float:
    total = 0.0
    met = 0.0
    for event, reading, state in zip(events, readings, naming.state, strict=True):
        # Root of the power, so that the loudest pipes do not speak for the whole rank.
        mass = (event.end - event.start) * 10.0 ** (event.total_db / 20.0)
        total += mass
        if state >= 0:
            met += mass * float(reading.energy[state])
    return met / total if total else 0.0
