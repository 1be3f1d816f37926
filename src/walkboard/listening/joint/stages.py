"""The steps to the joint estimate of a hold: pipe by pipe, then all together.

Pipes with partials of their own come first, then those whose groups contain only known pipes
besides: never by largest gain, because a pipe whose partials all coincide with another's would take
over that pipe's sound. Two in near unison have no partials of their own; they are started from
several places, and the most likely result is kept. Each iteration of the joint estimate uses the
groups in which no turn can be lost (`courses.clear_bands`), so the frequency is refined from low
groups to high.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.listening.hold.movement import Movement
from walkboard.listening.hold.place import SEARCH_CENTS, find_place, numbers_below, own_numbers
from walkboard.listening.hold.spectrum import HoldSpectrum
from walkboard.listening.joint.bands import Band, bands_of
from walkboard.listening.joint.courses import Courses, clear_bands, lowest_bands
from walkboard.listening.joint.groups import group_partials
from walkboard.listening.joint.model import merit_of, take_turn
from walkboard.listening.joint.search import search_one, search_two
from walkboard.listening.joint.stacks import BandSet
from walkboard.quantities import ratio_of_cents


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of the steps to the joint estimate. *Fitted*: by bench registrations."""

    fastest_hz: float = 3.0  # fastest movement modelled; chosen
    most_terms: int = 40  # slow terms; chosen, for speed
    search_hz: float = 3_500.0  # a pipe is searched for below this; chosen
    first_hz: float = 700.0  # a first iteration looks below this; fitted
    whole_cents: float = 18.0  # how far each pipe may be out individually; fitted
    loud: float = 3.0  # power over noise of a band that sounds [-]; chosen
    reach_cents: float = 25.0  # either side, in the search for one pipe; fitted
    settled: float = 0.03  # largest last step of any pipe, in sigma [-]; chosen
    most_turns: int = 12  # of the joint estimate; chosen
    unison_cents: float = 30.0  # between two combs expected in near unison; chosen
    better: float = 1.5  # fit with all combs moved over that without [-]; chosen
    pair_hz: float = 1_500.0  # two unisons are searched for below this; chosen
    pair_number: float = 3.0  # and always up to this partial number; chosen
    pair_reach_cents: float = 20.0  # either side, in the search for both; fitted
    pair_apart: float = 1.2  # resolutions of the window between two; derived: a line's own width
    first_turns: int = 3  # iterations before only the best starts of two unisons go on; chosen
    most_ends: int = 2  # starts that go on; chosen
    hopeless: float = 60.0  # log likelihood behind the best from which a start is dropped; chosen
    enough_own: int = 2  # own groups of a pipe that are judged separately; chosen
    unfit: float = 12.0  # factor on the room above which another place is tried [-]; fitted


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Unrest:
    """Movement of a hold's pipes and room, and how much a pipe usually wanders [cents]."""

    movement: Movement
    usual_cents: float


STEADY = Unrest(Movement.usual(), 0.08)
QUICK = Unrest(Movement(np.array([0.0, 3.0, 1.8, 2.0, -1.8])), 0.3)
"""Recorded pipes that the single measurement fitted: 5 Hz, not .6; nearly all of it in the room."""


@dataclass(frozen=True, slots=True)
class Joint:
    """The joint estimate of a hold, not yet judged.

    Attributes
    ----------
    courses : Courses
    bands : BandSet
    chosen : tuple of int
        Bands used.
    merit : float
        Log likelihood of the lower bands.
    """

    courses: Courses
    bands: BandSet
    chosen: tuple[int, ...]
    merit: float

    def room(self, pipe: int) -> float:
        """Factor on the room's variance that a pipe's groups show (`room_asked`)."""
        return room_asked(self.bands, self.chosen, self.courses, pipe)

    def rooms(self, pipe: int) -> tuple[list[float], list[float]]:
        """The same, group by group: the pipe's own groups, and those it shares."""
        return rooms_asked(self.bands, self.chosen, self.courses, pipe)


def unison_sets(hz: Sequence[float]) -> list[list[int]]:
    """Combs grouped with all others expected within `unison_cents` of them."""
    sets: list[list[int]] = []
    for pipe in sorted(range(len(hz)), key=lambda p: hz[p]):
        if sets and hz[pipe] < hz[sets[-1][-1]] * ratio_of_cents(LIMITS.unison_cents):
            sets[-1].append(pipe)
        else:
            sets.append([pipe])
    return sets


def common_shift(spectrum: HoldSpectrum, hz: Sequence[float]) -> float:
    """The lowest comb's frequency over its expected one; all combs are moved by this ratio."""
    lowest = min(hz)
    numbers = numbers_below(lowest, spectrum.sample_rate)
    others = [other for other in hz if other > lowest * 1.02]
    own = own_numbers(lowest, numbers, others) if others else numbers
    if len(own) == 0:
        return 1.0
    if find_place(spectrum, lowest, own, LIMITS.whole_cents).heard:
        return 1.0
    place = find_place(spectrum, lowest, own, SEARCH_CENTS)
    ratio = place.hz / lowest
    # A dead pipe is not heard either; moving all then does not help the others.
    if place.heard and _together(spectrum, hz, ratio) > LIMITS.better * _together(
        spectrum, hz, 1.0
    ):
        return ratio
    return 1.0


def _together(spectrum: HoldSpectrum, hz: Sequence[float], ratio: float) -> float:
    """How well all combs fit when moved by a ratio, and then each individually."""
    numbers = [numbers_below(value, spectrum.sample_rate, 12) for value in hz]
    return sum(
        find_place(spectrum, value * ratio, own, LIMITS.whole_cents).score
        for value, own in zip(hz, numbers, strict=True)
    )


def _loud(band: Band) -> bool:
    power = (band.values.real**2 + band.values.imag**2).mean(axis=1)
    return bool((power > LIMITS.loud * band.noise).any())


def estimate_jointly(
    spectrum: HoldSpectrum, hz: Sequence[float], window_s: tuple[float, float]
) -> Joint:
    """Estimate all pipes of a hold, expected at these fundamentals [Hz].

    Raises
    ------
    ValueError
        When no group of partials can be separated from its neighbours.
    """
    shift = common_shift(spectrum, hz)
    centred = [value * shift for value in hz]
    first = _estimate(spectrum, centred, window_s, STEADY)
    if all(first.room(pipe) < LIMITS.unfit for pipe in range(len(hz))):
        return first
    second = _estimate(spectrum, centred, window_s, QUICK)
    return second if second.merit > first.merit else first


def _estimate(
    spectrum: HoldSpectrum, centred: Sequence[float], window_s: tuple[float, float], unrest: Unrest
) -> Joint:
    groups = group_partials(centred, spectrum.sample_rate)
    seconds = window_s[1] - window_s[0]
    terms = max(3, min(LIMITS.most_terms, int(2.0 * seconds * LIMITS.fastest_hz)))
    made = bands_of(spectrum, groups, min(centred), window_s, terms, unrest.movement)
    bands = BandSet.of((band for band in made if _loud(band)), centred)
    if not bands.bands or not (bands.numbers > 0).any(axis=0).all():
        raise ValueError("a pipe has no audible group of partials that can be separated")
    courses = Courses.start(bands, terms, unrest.usual_cents)
    waiting = unison_sets(centred)
    known: list[int] = []
    chosen: list[int] = []
    while waiting:
        best = max(waiting, key=lambda held: _open_to(bands, held, known))
        waiting.remove(best)
        usable = _bands_for(bands, best, known)
        turns = 2 if waiting else LIMITS.most_turns
        if len(best) == 2:
            courses, _, chosen = _pair(bands, usable, courses, (best[0], best[1]), known)
            known += best
        else:
            for pipe in best:
                found = search_one(bands, usable, courses, pipe, known, LIMITS.reach_cents)
                courses.course[pipe, 0] = found[0].offset_hz
            known += best
            _, chosen = refine(bands, courses, known, turns)
    tried: set[int] = set()
    while len(tried) < len(known):
        unfit = {p: room_asked(bands, chosen, courses, p) for p in known if p not in tried}
        worst = max(unfit, key=lambda p: unfit[p])
        if unfit[worst] < LIMITS.unfit:
            break
        tried.add(worst)
        courses, chosen = _another_place(bands, chosen, courses, worst, known)
    every = range(len(bands.bands))
    merit = merit_of(bands, _below(bands, every) or every, courses, known)
    # What a band last showed under other courses says nothing about these.
    used = np.zeros(len(bands.bands), bool)
    used[chosen] = True
    courses.seen &= used[:, np.newaxis]
    return Joint(courses, bands, tuple(chosen), merit)


def _below(bands: BandSet, asked: Sequence[int], hz: float = LIMITS.search_hz) -> list[int]:
    return [i for i in asked if bands.centre_hz[i] < hz]


def _pair(
    bands: BandSet,
    usable: Sequence[int],
    courses: Courses,
    pair: tuple[int, int],
    known: Sequence[int],
) -> tuple[Courses, float, list[int]]:
    """Two pipes in near unison: several starts, the most likely result."""
    low, high = pair
    reference = courses.reference_hz[low]
    seconds = bands.nodes.seconds
    near = _below(bands, usable, max(LIMITS.pair_hz, LIMITS.pair_number * reference))
    top = int(bands.numbers[near, low].max())
    apart_hz = LIMITS.pair_apart / seconds / top
    found = search_two(bands, near, courses, pair, known, LIMITS.pair_reach_cents, apart_hz)
    starts = [(a, b) for a, b, _ in found]
    # The louder one first, then the other beside it.
    alone = courses.copy()
    first = search_one(bands, near, alone, low, known, LIMITS.reach_cents)[0].offset_hz
    alone.course[low, 0] = first
    single = bands.without(high)
    for _ in range(4):
        refine(single, alone, [*known, low], 1)
    beside = search_one(bands, usable, alone, high, [*known, low], LIMITS.reach_cents, most=2)
    starts += [(float(alone.course[low, 0]), second.offset_hz) for second in beside]
    both = [*known, *pair]
    closed = bands.closed(both)
    asked = [i for i in usable if closed[i]]
    asked = _below(bands, asked) or asked or list(usable)  # at the top of a 2′ all bands are high
    trials = []
    for a, b in starts:
        trial = courses.copy()
        trial.course[low, 0], trial.course[high, 0] = a, b
        refine(bands, trial, both, LIMITS.first_turns)
        trials.append((merit_of(bands, asked, trial, both), trial))
    trials.sort(key=lambda end: -end[0])
    ends = []
    for merit, trial in trials[: LIMITS.most_ends]:
        if merit < trials[0][0] - LIMITS.hopeless:
            break
        chosen = _go_on(bands, trial, both, LIMITS.most_turns - LIMITS.first_turns)[1]
        ends.append((merit_of(bands, asked, trial, both), trial, chosen))
    best = max(ends, key=lambda end: end[0])
    return best[1], best[0], best[2]


def refine(
    bands: BandSet,
    courses: Courses,
    pipes: Sequence[int],
    turns: int,
) -> tuple[float, list[int]]:
    """Iterate the joint estimate; higher groups join as the courses become sure.

    Returns
    -------
    merit : float
        Merit of the last iteration.
    chosen : list of int
        Bands used in it.
    """
    chosen = lowest_bands(bands, pipes, LIMITS.first_hz, 3)
    if not chosen:
        return -np.inf, chosen
    merit = take_turn(bands, chosen, courses, pipes)
    return _go_on(bands, courses, pipes, turns - 1) if turns > 1 else (merit, chosen)


def _go_on(
    bands: BandSet, courses: Courses, pipes: Sequence[int], turns: int
) -> tuple[float, list[int]]:
    """Iterate further, until no pipe moves and no band joins."""
    merit = -np.inf
    chosen: list[int] = []
    rows = list(pipes)
    for _ in range(turns):
        before, chosen = chosen, clear_bands(bands, courses, pipes, 2)
        stood = courses.course[rows, 0]
        merit = take_turn(bands, chosen, courses, pipes)
        sigma = np.sqrt(courses.covariance[rows, 0, rows, 0])
        moved = np.abs(courses.course[rows, 0] - stood)
        if chosen == before and (moved < LIMITS.settled * sigma).all():
            break
    return merit, chosen


def _bands_for(bands: BandSet, held: Sequence[int], known: Sequence[int]) -> list[int]:
    every = [int(i) for i in np.flatnonzero((bands.numbers[:, held] > 0).all(axis=1))]
    with_it = _below(bands, every) or every
    closed = bands.closed([*held, *known])
    return [i for i in with_it if closed[i]] or with_it


def _open_to(bands: BandSet, held: Sequence[int], known: Sequence[int]) -> float:
    usable = (bands.numbers[:, held] > 0).all(axis=1) & bands.closed([*held, *known])
    members = (bands.numbers > 0).sum(axis=1)
    return float((np.minimum(1.0, bands.loudness / 100.0) / members)[usable].sum())


def room_asked(bands: BandSet, chosen: Sequence[int], courses: Courses, pipe: int) -> float:
    """Median factor on the room's variance that a pipe's chosen groups show.

    Near 1 where the model holds; far above where the course is in the wrong place. The pipe's own
    groups are also judged separately: a course that follows another pipe's partials fits the shared
    groups.
    """
    own, shared = rooms_asked(bands, chosen, courses, pipe)
    every = own + shared
    asked = float(np.median(every)) if every else 1.0
    return max(asked, float(np.median(own))) if len(own) >= LIMITS.enough_own else asked


def rooms_asked(
    bands: BandSet, chosen: Sequence[int], courses: Courses, pipe: int
) -> tuple[list[float], list[float]]:
    """Factors on the room's variance in a pipe's own groups, and in those it shares."""
    seen = [i for i in chosen if courses.seen[i, pipe]]
    alone = (bands.numbers > 0).sum(axis=1) == 1
    own = [float(courses.room[i, pipe]) for i in seen if alone[i]]
    shared = [float(courses.room[i, pipe]) for i in seen if not alone[i]]
    return own, shared


def _another_place(
    bands: BandSet,
    chosen: list[int],
    courses: Courses,
    pipe: int,
    pipes: Sequence[int],
) -> tuple[Courses, list[int]]:
    """Move a pipe whose groups fit badly to its best other place, if that is more likely.

    All others are known by now, so every group can be searched. Also returns the bands used.
    """
    theirs = [int(i) for i in bands.with_pipe(pipe)]
    asked = _below(bands, theirs) or theirs
    others = [p for p in pipes if p != pipe]
    best, used, likeliest = courses, chosen, merit_of(bands, asked, courses, pipes)
    # Its current place also competes, with its wander fitted again.
    for found in search_one(bands, asked, courses, pipe, others, LIMITS.reach_cents, most=2):
        trial = courses.copy()
        trial.moved(pipe, found.offset_hz)
        _, seen = refine(bands, trial, pipes, 5)
        merit = merit_of(bands, asked, trial, pipes)
        if merit > likeliest:
            best, used, likeliest = trial, seen, merit
    return best, used
