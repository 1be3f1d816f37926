"""Finds the stop that a borrowed or extended one takes its pipes from."""

from __future__ import annotations

from collections.abc import Sequence
from difflib import SequenceMatcher
from fractions import Fraction

from walkboard.organ.stoplist.entries import StopEntry
from walkboard.organ.stoplist.figures import length
from walkboard.organ.stoplist.names import plain

ALIKE = 0.72  # similarity of two names for the same stop; chosen with the lists in tests


def taken_from(stop: StopEntry, others: Sequence[StopEntry]) -> StopEntry | None:
    """The stop whose pipes a stop uses; None if it can be none of the others.

    Parameters
    ----------
    stop : StopEntry
        A stop with a source.
    others : sequence of StopEntry
        Stops with pipes of their own.
    """
    source = stop.source
    assert source is not None
    if source.number is not None:
        return next((one for one in others if one.number == source.number), None)
    possible = [one for one in others if one.role == stop.role or not one.role]
    if source.division:
        possible = [one for one in possible if one.division == source.division]
    elif any(one.division == stop.division for one in possible) and not source.name:
        possible = [one for one in possible if one.division == stop.division]
    if source.feet:
        exact = [one for one in possible if one.feet == source.feet]
        possible = exact or possible
    if source.name:
        named = [one for one in possible if _alike(one.name, source.name)]
        return _nearest(stop, named)
    if source.division:
        named = [one for one in possible if _alike(one.name, stop.name) or one.scale == stop.scale]
        named.sort(key=lambda one: -_likeness(one.name, stop.name))
        same = [one for one in named if one.feet == stop.feet]
        return next(iter([*same, *named]), None)
    longer = [one for one in possible if feet(one) > feet(stop)]
    alike = [one for one in longer if one.family is stop.family]
    # a plain Flute extends a stopped rank as often as an open one
    return _nearest(
        stop, alike or [one for one in longer if one.family.is_flue == stop.family.is_flue]
    )


def feet(stop: StopEntry) -> Fraction:
    """Length of a stop [feet]; 0 for a mixture without one."""
    found = length(stop.feet) if stop.feet else None
    return Fraction(0) if found is None else found[0]


def _nearest(stop: StopEntry, possible: Sequence[StopEntry]) -> StopEntry | None:
    """The most likely of several: by name, scale, division, octave below, last listed."""
    if not possible:
        return None

    def fitness(item: tuple[int, StopEntry]) -> tuple[bool, bool, bool, bool, int]:
        place, one = item
        return (
            one.division == stop.division,
            _alike(one.name, stop.name),
            one.scale == stop.scale,
            feet(one) == 2 * feet(stop),
            place,
        )

    return max(enumerate(possible), key=fitness)[1]


def _alike(one: str, other: str) -> bool:
    return _likeness(one, other) >= ALIKE


def _likeness(one: str, other: str) -> float:
    a, b = plain(one), plain(other)
    if a and b and (a in b or b in a):
        return 0.95
    return SequenceMatcher(None, a, b).ratio()
