"""The contents of a compound stop if the list does not say: the usual rows and breaks."""

from __future__ import annotations

from fractions import Fraction

from walkboard.organ.stoplist.figures import length, shown
from walkboard.organ.stoplist.names import Role
from walkboard.scales.harmonics import multiple_of_interval
from walkboard.scales.keys import Key

# Unisons and fifths, by interval: the rows of most mixtures. Common practice, no source.
LADDER = (1, 5, 8, 12, 15, 19, 22, 26, 29, 33, 36, 40, 43)
LOWEST_STEP = 2  # a manual mixture rarely breaks back below 4′; common practice, no source
# The first row at the lowest key, by number of ranks, if neither feet nor intervals are given.
USUAL_FIRST = {1: 22, 2: 19, 3: 15, 4: 15, 5: 15, 6: 12, 7: 12, 8: 8}
HIGHEST_HZ = 12_000.0  # rows break back below it; common practice, no source
SMALLEST_HZ = 17_500.0  # no pipe at all is higher; chosen, near the limit of hearing
CORNETS = {
    2: ("2 2/3", "1 3/5"),
    3: ("2 2/3", "2", "1 3/5"),
    4: ("4", "2 2/3", "2", "1 3/5"),
    5: ("8", "4", "2 2/3", "2", "1 3/5"),
}

Breaks = tuple[tuple[str, str], ...]
"""The feet of one row, from each key upward."""


def rows_of(  # noqa: PLR0917
    role: str, count: int, first_feet: str, given: tuple[str, ...], lowest: Key, highest: Key
) -> list[Breaks]:
    """The rows of a compound stop, each with its breaks.

    Parameters
    ----------
    role : str
        One of `Role`.
    count : int
        How many rows.
    first_feet : str
        Feet of the lowest row at the lowest key; may be empty.
    given : tuple of str
        Feet of every row at the lowest key, if the list gives them.
    lowest, highest : Key
        Keys of the stop.
    """
    if role == Role.SESQUIALTERA:
        feet = (given or ("2 2/3", "1 3/5"))[:count]
        feet += tuple(CORNETS[5][: count - len(feet)]) if count > len(feet) else ()
        return [_through(one, lowest, highest) for one in feet]
    if role == Role.CORNET:
        feet = given or CORNETS.get(count) or CORNETS[5]
        return [_through(one, lowest, highest) for one in feet[:count]]
    if role == Role.RAUSCHQUINT:
        return [_through(one, lowest, highest) for one in (given or ("2 2/3", "2"))[:count]]
    starts = _starts(count, first_feet, given)
    if any(isinstance(one, str) for one in starts):
        return [_through(str(one), lowest, highest) for one in given]
    return _breaking([int(one) for one in starts], lowest, highest)


def _starts(count: int, first_feet: str, given: tuple[str, ...]) -> list[int | str]:
    """Steps of the ladder on which the rows begin; feet if they are not on it."""
    feet_of = {shown(Fraction(8) / multiple_of_interval(one)): n for n, one in enumerate(LADDER)}
    if given:
        steps: list[int | str] = [feet_of.get(one, one) for one in given]
        return list(given) if any(isinstance(one, str) for one in steps) else steps
    first = feet_of.get(first_feet)
    if first is None:
        first = LADDER.index(USUAL_FIRST.get(count, 15))
    first = min(first, len(LADDER) - count)
    return [first + n for n in range(count)]


def _breaking(steps: list[int], lowest: Key, highest: Key) -> list[Breaks]:
    """Rows that break back one step of the ladder at each C above the lowest octave."""
    rows: list[list[tuple[str, str]]] = [[] for _ in steps]
    shift = 0
    key = lowest
    while key <= highest:
        end = min(highest.semitone, key.semitone + 11 - key.semitone % 12)
        while _hz(steps[-1] - shift, end) > (
            HIGHEST_HZ if steps[0] - shift > LOWEST_STEP else SMALLEST_HZ
        ):
            shift += 1
        for row, step in zip(rows, steps, strict=True):
            feet = shown(Fraction(8) / multiple_of_interval(LADDER[max(0, step - shift)]))
            if not row or row[-1][1] != feet:
                row.append((key.name, feet))
        key = Key(end + 1)
        if steps[0] - shift > LOWEST_STEP and key.semitone > lowest.semitone + 12:
            shift += 1
    return [tuple(row) for row in rows]


def _hz(step: int, semitone: int) -> float:
    return float(
        float(multiple_of_interval(LADDER[step])) * 440.0 * 2.0 ** ((semitone - 69) / 12.0)
    )


def _through(feet: str, lowest: Key, highest: Key) -> Breaks:
    """A row without breaks, except an octave back where its pipes would be too small to make."""
    return broken_at_top(feet, lowest, highest)


def broken_at_top(feet: str, lowest: Key, highest: Key) -> Breaks:
    """A rank of one pitch, with as many octave breaks as its smallest pipes need.

    Parameters
    ----------
    feet : str
    lowest, highest : Key
    """
    found = length(feet)
    multiple = Fraction(8) / (found[0] if found is not None else Fraction(8))
    steps = [(lowest.name, shown(Fraction(8) / multiple))]
    for semitone in range(lowest.semitone, highest.semitone + 1):
        if float(multiple) * 440.0 * 2.0 ** ((semitone - 69) / 12.0) > SMALLEST_HZ:
            multiple /= 2
            steps.append((Key(semitone).name, shown(Fraction(8) / multiple)))
    return tuple(steps)
