"""The way to the joint estimate of a hold: pipe by pipe, then all together.

Pipes that have partials to themselves come first, then those whose groups have only known others:
never by largest gain, for a pipe whose partials are all another's would take that one's sound. Two
in near unison have no partials to themselves; they are started from several places and the
likeliest end is kept. Each turn of the joint estimate takes the groups in which no turn can be lost
(`joint.courses.clear_bands`), so the frequency is continued from low groups to high.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from walkboard.listening.hold.movement import Movement
from walkboard.listening.hold.place import SEARCH_CENTS, find_place, numbers_below, own_numbers
from walkboard.listening.hold.spectrum import HoldSpectrum
from walkboard.listening.joint.bands import Band, bands_of
from walkboard.listening.joint.courses import Courses, clear_bands, lowest_bands
from walkboard.listening.joint.groups import group_partials
from walkboard.listening.joint.model import merit_of, take_turn
from walkboard.listening.joint.search import search_one, search_two

FASTEST_HZ = 3.0
_MOST_TERMS = 40
_SEARCH_HZ = 3_500.0
_FIRST_HZ = 700.0
_WHOLE_CENTS = 18.0  # up to which each pipe may be out by itself
_LOUD = 3.0
_REACH_CENTS = 25.0
_SETTLED = 0.03  # of sigma, that no pipe moves further than in a turn
_MOST_TURNS = 12
_FIRST_TURNS = 3  # after which only the likeliest starts of two unisons go on
_MOST_ENDS = 2
_HOPELESS = 60.0  # behind the likeliest by so much in the logarithm
_ENOUGH_OWN = 2
_BADLY_UNFIT = 30.0
_FAR_WORSE = 5.0
_UNFIT = 12.0  # factor on the room from which another place is tried


@dataclass(frozen=True, slots=True)
class Unrest:
    """How the pipes and the room of a hold move, and how much a pipe usually wanders [cents]."""

    movement: Movement
    usual_cents: float


STEADY = Unrest(Movement.usual(), 0.08)
QUICK = Unrest(Movement(np.array([0.0, 3.0, 1.8, 2.0, -1.8])), 0.3)
"""Recorded pipes that the single measurement fitted: 5 Hz, not .6; nearly all of it in the room."""


@dataclass(frozen=True, slots=True)
class Joint:
    """The joint estimate of a hold before it is judged.

    Attributes
    ----------
    courses : Courses
    bands : tuple of Band
    chosen : tuple of int
        Bands that were used.
    merit : float
        Logarithm of how likely the lower bands are.
    """

    courses: Courses
    bands: tuple[Band, ...]
    chosen: tuple[int, ...]
    merit: float

    def room(self, pipe: int) -> float:
        """Factor on the room's variance that a pipe asks for (`room_asked`)."""
        return room_asked(self.bands, self.chosen, self.courses, pipe)

    def misplaced(self, pipe: int) -> bool:
        """Whether what a pipe has to itself fits far worse than what it shares with others.

        Then it follows another's partials. A room that swallows some partial spares neither.
        """
        own, shared = rooms_asked(self.bands, self.chosen, self.courses, pipe)
        if len(own) < _ENOUGH_OWN or not shared:
            return False
        alone = float(np.median(own))
        return alone > _BADLY_UNFIT and alone > _FAR_WORSE * max(1.0, float(np.median(shared)))


def unison_sets(hz: Sequence[float]) -> list[list[int]]:
    """Combs that are due within thirty cents of each other, together."""
    sets: list[list[int]] = []
    for pipe in sorted(range(len(hz)), key=lambda p: hz[p]):
        if sets and hz[pipe] < hz[sets[-1][-1]] * 2.0 ** (30.0 / 1200.0):
            sets[-1].append(pipe)
        else:
            sets.append([pipe])
    return sets


def common_shift(spectrum: HoldSpectrum, hz: Sequence[float]) -> float:
    """How far the lowest comb stands from where it is due, as a ratio; all are moved by it."""
    lowest = min(hz)
    numbers = numbers_below(lowest, spectrum.sample_rate)
    others = [other for other in hz if other > lowest * 1.02]
    own = own_numbers(lowest, numbers, others) if others else numbers
    if len(own) == 0:
        return 1.0
    if find_place(spectrum, lowest, own, _WHOLE_CENTS).heard:
        return 1.0
    place = find_place(spectrum, lowest, own, SEARCH_CENTS)
    ratio = place.hz / lowest
    # A dead pipe is not heard either; then moving all does not help the others.
    if place.heard and _together(spectrum, hz, ratio) > 1.5 * _together(spectrum, hz, 1.0):
        return ratio
    return 1.0


def _together(spectrum: HoldSpectrum, hz: Sequence[float], ratio: float) -> float:
    """How well all combs fit when moved by a ratio and then each by what it may be out."""
    numbers = [numbers_below(value, spectrum.sample_rate, 12) for value in hz]
    return sum(
        find_place(spectrum, value * ratio, own, _WHOLE_CENTS).score
        for value, own in zip(hz, numbers, strict=True)
    )


def _loud(band: Band) -> bool:
    power = (band.values.real**2 + band.values.imag**2).mean(axis=1)
    return bool((power > _LOUD * band.noise).any())


def estimate_jointly(
    spectrum: HoldSpectrum, hz: Sequence[float], window_s: tuple[float, float]
) -> Joint:
    """Estimate all pipes of a hold that are due at these fundamentals [Hz].

    Raises
    ------
    ValueError
        When no group of partials can be kept apart from its neighbours.
    """
    shift = common_shift(spectrum, hz)
    centred = [value * shift for value in hz]
    first = _estimate(spectrum, centred, window_s, STEADY)
    if all(first.room(pipe) < _UNFIT for pipe in range(len(hz))):
        return first
    second = _estimate(spectrum, centred, window_s, QUICK)
    return second if second.merit > first.merit else first


def _estimate(
    spectrum: HoldSpectrum, centred: Sequence[float], window_s: tuple[float, float], unrest: Unrest
) -> Joint:
    groups = group_partials(centred, spectrum.sample_rate)
    seconds = window_s[1] - window_s[0]
    terms = max(3, min(_MOST_TERMS, int(2.0 * seconds * FASTEST_HZ)))
    bands = bands_of(spectrum, groups, min(centred), window_s, terms, unrest.movement)
    bands = tuple(b for b in bands if _loud(b))
    if {p for b in bands for p in b.group.pipes} != set(range(len(centred))):
        raise ValueError("a pipe has no group of partials that sounds and can be kept apart")
    courses = Courses.start(centred, terms, unrest.usual_cents)
    waiting = unison_sets(centred)
    known: list[int] = []
    chosen: list[int] = []
    while waiting:
        best = max(waiting, key=lambda held: _open_to(bands, held, known))
        waiting.remove(best)
        usable = _bands_for(bands, best, known)
        turns = 2 if waiting else _MOST_TURNS
        if len(best) == 2:
            courses, _, chosen = _pair(bands, usable, courses, (best[0], best[1]), known)
            known += best
        else:
            for pipe in best:
                found = search_one(bands, usable, courses, pipe, known, _REACH_CENTS)
                courses.course[pipe, 0] = found[0].offset_hz
            known += best
            _, chosen = refine(bands, courses, known, turns)
    tried: set[int] = set()
    while len(tried) < len(known):
        unfit = {p: room_asked(bands, chosen, courses, p) for p in known if p not in tried}
        worst = max(unfit, key=lambda p: unfit[p])
        if unfit[worst] < _UNFIT:
            break
        tried.add(worst)
        courses, chosen = _another_place(bands, chosen, courses, worst, known)
    low = [i for i, band in enumerate(bands) if band.group.centre_hz < _SEARCH_HZ]
    merit = merit_of(bands, low or range(len(bands)), courses, known)
    # What was last seen of a band under other courses tells nothing of these.
    courses.components = {key: c for key, c in courses.components.items() if key[0] in chosen}
    return Joint(courses, bands, tuple(chosen), merit)


def _pair(
    bands: Sequence[Band],
    usable: Sequence[int],
    courses: Courses,
    pair: tuple[int, int],
    known: Sequence[int],
) -> tuple[Courses, float, list[int]]:
    """Two pipes in near unison: several starts, the likeliest end."""
    low, high = pair
    reference = courses.reference_hz[low]
    seconds = bands[0].nodes.seconds
    near = [i for i in usable if bands[i].group.centre_hz < max(1_500.0, 3.0 * reference)]
    top = max(m.number for i in near for m in bands[i].members if m.pipe == low)
    starts = [
        (a, b)
        for a, b, _ in search_two(bands, near, courses, pair, known, 20.0, 1.2 / seconds / top)
    ]
    # The louder one alone, then the other beside it.
    alone = courses.copy()
    first = search_one(bands, near, alone, low, known, _REACH_CENTS)[0].offset_hz
    alone.course[low, 0] = first
    single = [_without(band, high) for band in bands]
    for _ in range(4):
        refine(single, alone, [*known, low], 1)
    beside = search_one(bands, usable, alone, high, [*known, low], _REACH_CENTS, most=2)
    starts += [(float(alone.course[low, 0]), second.offset_hz) for second in beside]
    asked = [i for i in usable if bands[i].group.pipes <= {*known, *pair}]
    low_bands = [i for i in asked if bands[i].group.centre_hz < _SEARCH_HZ]
    asked = low_bands or asked or list(usable)  # at the top of a 2′ all bands are high
    both = [*known, *pair]
    trials = []
    for a, b in starts:
        trial = courses.copy()
        trial.course[low, 0], trial.course[high, 0] = a, b
        refine(bands, trial, both, _FIRST_TURNS)
        trials.append((merit_of(bands, asked, trial, both), trial))
    trials.sort(key=lambda end: -end[0])
    ends = []
    for merit, trial in trials[:_MOST_ENDS]:
        if merit < trials[0][0] - _HOPELESS:
            break
        chosen = _go_on(bands, trial, both, _MOST_TURNS - _FIRST_TURNS)[1]
        ends.append((merit_of(bands, asked, trial, both), trial, chosen))
    best = max(ends, key=lambda end: end[0])
    return best[1], best[0], best[2]


def _without(band: Band, pipe: int) -> Band:
    members = tuple(m for m in band.members if m.pipe != pipe)
    return replace(band, group=replace(band.group, members=members))


def refine(
    bands: Sequence[Band],
    courses: Courses,
    pipes: Sequence[int],
    turns: int,
) -> tuple[float, list[int]]:
    """Turns of the joint estimate, higher groups joining as the courses get sure.

    Returns
    -------
    merit : float
        Of the last turn.
    chosen : list of int
        Bands that were used in it.
    """
    chosen = lowest_bands(bands, pipes, _FIRST_HZ, 3)
    if not chosen:
        return -np.inf, chosen
    merit = take_turn(bands, chosen, courses, pipes)
    return _go_on(bands, courses, pipes, turns - 1) if turns > 1 else (merit, chosen)


def _go_on(
    bands: Sequence[Band], courses: Courses, pipes: Sequence[int], turns: int
) -> tuple[float, list[int]]:
    """Further turns, until no pipe moves and no band joins."""
    merit = -np.inf
    chosen: list[int] = []
    rows = list(pipes)
    for _ in range(turns):
        before, chosen = chosen, clear_bands(bands, courses, pipes, 2)
        stood = courses.course[rows, 0]
        merit = take_turn(bands, chosen, courses, pipes)
        sigma = np.sqrt(courses.covariance[rows, 0, rows, 0])
        if chosen == before and (np.abs(courses.course[rows, 0] - stood) < _SETTLED * sigma).all():
            break
    return merit, chosen


def _bands_for(bands: Sequence[Band], held: Sequence[int], known: Sequence[int]) -> list[int]:
    with_it = [
        i
        for i, b in enumerate(bands)
        if set(held) <= b.group.pipes and b.group.centre_hz < _SEARCH_HZ
    ] or [i for i, b in enumerate(bands) if set(held) <= b.group.pipes]
    clean = [i for i in with_it if _closed(bands[i], held, known)]
    return clean or with_it


def _closed(band: Band, held: Sequence[int], known: Sequence[int]) -> bool:
    return band.group.pipes <= set(held) | set(known)


def _open_to(bands: Sequence[Band], held: Sequence[int], known: Sequence[int]) -> float:
    score = 0.0
    for band in bands:
        if set(held) <= band.group.pipes and _closed(band, held, known):
            power = float((np.abs(band.values) ** 2).mean())
            score += (
                1.0 / len(band.group.pipes) * min(1.0, power / float(band.noise.mean()) / 100.0)
            )
    return score


def room_asked(bands: Sequence[Band], chosen: Sequence[int], courses: Courses, pipe: int) -> float:
    """Median factor on the room's variance that a pipe's chosen groups ask for.

    Near 1 where the model holds; far above where the course stands in a wrong place. Groups that
    the pipe has to itself are asked by themselves, too: one that follows another pipe's partials
    fits those that they share.
    """
    own, shared = rooms_asked(bands, chosen, courses, pipe)
    every = own + shared
    asked = float(np.median(every)) if every else 1.0
    return max(asked, float(np.median(own))) if len(own) >= _ENOUGH_OWN else asked


def rooms_asked(
    bands: Sequence[Band], chosen: Sequence[int], courses: Courses, pipe: int
) -> tuple[list[float], list[float]]:
    """Factors on the room's variance in the groups a pipe has to itself, and in those it shares."""
    own: list[float] = []
    shared: list[float] = []
    for i in chosen:
        for j, member in enumerate(bands[i].members):
            part = courses.components.get((i, j))
            if member.pipe == pipe and part is not None:
                (own if len(bands[i].members) == 1 else shared).append(part.room)
    return own, shared


def _another_place(
    bands: Sequence[Band],
    chosen: list[int],
    courses: Courses,
    pipe: int,
    pipes: Sequence[int],
) -> tuple[Courses, list[int]]:
    """Courses with a pipe whose groups fit badly in its likeliest other place, if that is likelier.

    All others are known by now, so every group can be searched. Gives the bands used, too.
    """
    theirs = [i for i, band in enumerate(bands) if pipe in band.group.pipes]
    asked = [i for i in theirs if bands[i].group.centre_hz < _SEARCH_HZ] or theirs
    others = [p for p in pipes if p != pipe]
    best, used, likeliest = courses, chosen, merit_of(bands, asked, courses, pipes)
    # Where it stands already counts too, with its wander found anew.
    for found in search_one(bands, asked, courses, pipe, others, _REACH_CENTS, most=2):
        trial = courses.copy()
        trial.moved(pipe, found.offset_hz)
        _, seen = refine(bands, trial, pipes, 5)
        merit = merit_of(bands, asked, trial, pipes)
        if merit > likeliest:
            best, used, likeliest = trial, seen, merit
    return best, used
