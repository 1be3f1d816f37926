"""Checks the pitch of ranks: feet, intervals, breaks, and the beats of celestes."""

from __future__ import annotations

import math
from fractions import Fraction

from walkboard.errors import InputError, UnknownNameError
from walkboard.organ.building_stops import Span
from walkboard.organ.findings import Findings
from walkboard.organ.positions import Path
from walkboard.organ.rank_tables import BreakTable, RankTable
from walkboard.organ.shape import Draft, Row
from walkboard.quantities import CENTS_PER_NEPER
from walkboard.scales.harmonics import feet_of_multiple, multiple_of_feet, multiple_of_interval
from walkboard.scales.keys import Key

LOWEST_HZ = 8.0  # a 64′ C is 8.18 Hz, the lowest built; common practice, no source
HIGHEST_HZ = 20_000.0  # the limit of hearing
FARTHEST_BEATS_CENTS = 200.0  # more than a whole tone is a typing error; chosen

# Multiples of the 8′ pitch from 64′ up whose harmonic has an odd part up to 15: everything that
# pipes are made for (including 1 7/9′, 8/11′ and 8/13′). Common practice, no source.
MULTIPLES = frozenset(
    Fraction(odd * 2**octave, 8) for odd in range(1, 16, 2) for octave in range(12)
)
USUAL_MULTIPLES = tuple(  # unisons, fifths and thirds: what a wrong length most likely meant
    Fraction(odd * 2**octave, 8) for odd in (1, 3, 5) for octave in range(10)
)


def check_pitch(draft: Draft, row: Row[RankTable], span: Span | None, findings: Findings) -> None:
    """Note faults in a rank's feet, breaks and beats."""
    feet, breaks = "feet" in row.given, "breaks" in row.given
    if feet and breaks:
        findings.note(
            (*row.path, "feet"),
            "it is given together with breaks.",
            "Keep one: feet for a rank without breaks, breaks for a row that breaks back.",
        )
        return
    if not feet and not breaks:
        if row.has("feet", "breaks") and not row.unknown:  # one of those may have been meant
            findings.note(
                (*row.path, "feet"),
                "the rank has neither feet nor breaks.",
                'Add feet = "8", or breaks for a row of a mixture.',
            )
        return
    if breaks:
        steps = _breaks(draft, row, span, findings)
    elif row.table.feet is not None and row.has("feet"):
        multiple = _multiple((*row.path, "feet"), row.table.feet, None, findings)
        start = None if span is None else span.from_key
        steps = [((*row.path, "feet"), start, multiple)]
    else:
        return
    if span is not None:
        _check_hearing(steps, span, findings)
        _check_beats(row, steps, span, findings)


Step = tuple[Path, Key | None, Fraction | None]
"""A place in the file, the key from which it applies, and the multiple; None if wrong."""


def _breaks(draft: Draft, row: Row[RankTable], span: Span | None, findings: Findings) -> list[Step]:
    steps: list[Step] = []
    before: Key | None = None
    for number, one in enumerate(draft.rows(BreakTable, *row.path, "breaks")):
        key = None
        if one.has("from"):
            key = _break_key((*one.path, "from"), one.table.from_key, span, findings)
        if key is not None and before is not None and key <= before:
            findings.note(
                (*one.path, "from"),
                f"the break at {key} is not above the one before it, at {before}.",
                "List the breaks from the lowest key upward.",
            )
        elif key is not None and number == 0 and span is not None and key != span.from_key:
            findings.note(
                (*one.path, "from"),
                f"the first break is at {key}, but the first pipe plays {span.from_key}.",
                f'Write from = "{span.from_key}".',
            )
        before = key or before
        steps.append((one.path, key, _break_multiple(one, findings)))
    return steps


def _break_key(path: Path, name: str, span: Span | None, findings: Findings) -> Key | None:
    try:
        key = Key.parse(name)
    except UnknownNameError as error:
        findings.note(path, error.what, error.fix)
        return None
    if span is None:
        return key
    last = span.to_key
    if not span.from_key <= key <= last:
        findings.note(
            path,
            f"the break at {name} is outside the rank.",
            f"Its pipes play {span.from_key} to {last}.",
        )
        return None
    return key


def _break_multiple(row: Row[BreakTable], findings: Findings) -> Fraction | None:
    interval, feet = "interval" in row.given, "feet" in row.given
    if not interval and not feet and row.unknown:  # one of those may have been meant
        return None
    if interval == feet and row.has("interval", "feet"):
        said = (
            "it is given together with interval."
            if feet
            else "the break has neither interval nor feet."
        )
        fix = "Keep one of them." if feet else "Add interval = 15, or feet."
        findings.note((*row.path, "feet" if feet else "interval"), said, fix)
        return None
    if not row.has("interval", "feet"):
        return None
    name = "interval" if interval else "feet"
    return _multiple((*row.path, name), row.table.feet, row.table.interval, findings)


def _multiple(
    path: Path, feet: str | None, interval: int | None, findings: Findings
) -> Fraction | None:
    """Multiple of feet or of an interval; None, with a note, if no pipe is made for it."""
    try:
        if interval is not None:
            return multiple_of_interval(interval)
        multiple = multiple_of_feet(feet or "")
    except InputError as error:
        findings.note(path, error.what, error.fix)
        return None
    if multiple in MULTIPLES:
        return multiple
    nearest = min(USUAL_MULTIPLES, key=lambda m: abs(float(m / multiple) - 1.0))
    findings.note(
        path, f"no stop is made of {feet} feet.", f"Did you mean {feet_of_multiple(nearest)}?"
    )
    return None


def _check_hearing(steps: list[Step], span: Span, findings: Findings) -> None:
    """Note pitches that no pipe can speak, at A4 = 440 Hz, at the ends of each break."""
    starts = [key for _, key, _ in steps]
    if (
        not starts
        or None in starts
        or sorted(starts, key=lambda key: key or span.from_key) != starts
    ):
        return
    ends = [
        *(key.semitone - 1 for key in starts[1:] if key),
        span.to_key.semitone,
    ]
    for (path, start, multiple), end in zip(steps, ends, strict=True):
        if start is None or multiple is None:
            continue
        if _hz(end, multiple) > HIGHEST_HZ:
            findings.note(
                path,
                f"its pipe at {Key(end)} would speak at {_hz(end, multiple) / 1000:.1f} kHz.",
                "Let the row break back lower down, or give fewer pipes.",
            )
        elif _hz(start.semitone, multiple) < LOWEST_HZ:
            findings.note(
                path,
                f"its pipe at {start} would speak at {_hz(start.semitone, multiple):.1f} Hz.",
                "Give fewer feet, or begin higher.",
            )


def _check_beats(row: Row[RankTable], steps: list[Step], span: Span, findings: Findings) -> None:
    beats = row.table.beats
    if beats is None or not row.has("beats"):
        return
    if beats == 0.0:
        findings.note((*row.path, "beats"), "a celeste must beat.", "Remove it.")
    multiple = steps[0][2] if steps else None
    if multiple is None:
        return
    cents = CENTS_PER_NEPER * abs(beats) / _hz(span.from_key.semitone, multiple)
    if cents > FARTHEST_BEATS_CENTS:
        findings.note(
            (*row.path, "beats"),
            f"the lowest pipe would be {cents:.0f} cents off.",
            "Give slower beats, or the key at which the rank begins.",
        )


def _hz(semitone: int, multiple: Fraction) -> float:
    return math.exp2((semitone - 69) / 12) * 440.0 * float(multiple)
