"""A pipe and a reference sounding together, each followed by a warm-started joint estimate.

The full joint estimate of several pipes (`joint.stages`) takes 0.1 to 0.7 s, so it runs once; after
that, two or three iterations from the last result are enough. If the groups of partials show far
more room effect than possible, or a pipe jumps, the full estimate runs again.

Two pipes whose highest common partials do not part by a full turn in the window cannot be
separated; then the reading is `merged`, and only the mean of both is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from walkboard.listening.hold.spectrum import HoldSpectrum, spectrum_of_hold
from walkboard.listening.joint.bands import bands_of
from walkboard.listening.joint.courses import Courses
from walkboard.listening.joint.groups import Group, group_partials
from walkboard.listening.joint.stacks import BandSet
from walkboard.listening.joint.stages import STEADY, estimate_jointly, refine, room_asked
from walkboard.listening.live.readings import LiveFlag
from walkboard.listening.live.ring import Ring
from walkboard.listening.types import Comb
from walkboard.quantities import CENTS_PER_NEPER, cents_between

EDGE_S = 0.08
_COLD_S = 0.7
_WARM_S = 0.5
_LONGEST_S = 1.5
_UNPARTED_S = 2.5
_COLD_EVERY_S = 0.3
_PERIODS = 40.0  # periods of the lower pipe in the shortest window
_TERMS_HZ = 3.0
_WARM_TURNS = 3
_MOST_GROUPS = 20
_WORST_ROOM = 40.0
_JUMP_CENTS = 6.0
_WORST_SIGMA_CENTS = 1.5
_QUIET = 1e-4
_ONSET = 8.0  # rise in power that begins a hold
_PRESENT = 30.0
_AGREE_CENTS = 0.1
_AGREE_SIGMAS = 5.0


@dataclass(frozen=True, slots=True)
class PairReading:
    """Both pipes; None if one has no value.

    `near_hz` and `bound_cents` of a merged pair: both are within the bound of that place.
    """

    hz: float | None
    sigma_cents: float | None
    reference_hz: float | None
    reference_sigma_cents: float | None
    seconds: float
    flags: tuple[LiveFlag, ...] = ()
    near_hz: float | None = None
    bound_cents: float | None = None


@dataclass(slots=True)
class PairTracker:
    """Follows a pipe beside a reference.

    Attributes
    ----------
    pipe, reference : Comb
    silent : bool
        Whether nothing sounds.
    """

    pipe: Comb
    reference: Comb
    silent: bool = True
    _hz: tuple[float, float] | None = field(init=False, default=None)
    _since_s: float = field(init=False, default=-np.inf)
    _bad: int = field(init=False, default=0)
    _reference_hz: float = field(init=False, default=0.0)
    _cold_s: float = field(init=False, default=-np.inf)
    _parted_last: bool = field(init=False, default=True)
    _lately: list[float] = field(init=False, default_factory=list)

    def __post_init__(self) -> None:
        self._reference_hz = self.reference.hz

    def forget(self) -> None:
        """Start again from the full estimate, as after a gap."""
        self._hz, self._since_s, self._bad = None, -np.inf, 0
        self._cold_s = -np.inf
        self._lately.clear()

    def read(self, ring: Ring, now_s: float) -> PairReading | None:
        """Both pipes now, or None if they are not heard (yet)."""
        recent = ring.last(0.15)
        if float(np.sqrt(np.mean(recent**2))) < _QUIET:
            self.forget()
            self.silent = True
            return None
        self.silent = False
        before = ring.last(0.4)[: -len(recent)]
        begins = len(before) > 0 and float(np.mean(recent**2)) > _ONSET * float(np.mean(before**2))
        if begins or not np.isfinite(self._since_s):
            self.forget()
            self._since_s = now_s - 0.05
        into_s = now_s - self._since_s
        lower = min(self.pipe.hz, self.reference.hz)
        shortest = max(_WARM_S, _PERIODS / lower)
        cold = self._hz is None
        least = max(_COLD_S, shortest) if cold else shortest
        if into_s < least + 2.0 * EDGE_S:
            return None
        if cold and now_s - self._cold_s < _COLD_EVERY_S:
            return None
        longest = _LONGEST_S if self._parted_last else _UNPARTED_S
        window = min(longest if not cold else _COLD_S + 0.3, into_s - 2.0 * EDGE_S)
        window = max(window, shortest)
        spectrum = spectrum_of_hold(
            ring.last(window + 2.0 * EDGE_S)[:, np.newaxis], ring.sample_rate
        )
        times = (EDGE_S, EDGE_S + window)
        try:
            found = (
                self._cold(spectrum, times, now_s) if cold else self._warm(spectrum, times, now_s)
            )
        except (ValueError, np.linalg.LinAlgError):
            found = None
        if found is None:
            self._bad += 1
            if self._bad > 2:
                self._hz, self._bad = None, 0
            return None
        return self._confirmed(found)

    def _confirmed(self, found: PairReading) -> PairReading:
        """The reading, without the pipe's value if the previous one does not confirm it.

        Where partials of one pipe fall on the other's, a single update can settle on the wrong
        split, which looks as good as the right one. A pipe being tuned continues from where it was,
        or stays where it was put.
        """
        if found.hz is None or found.sigma_cents is None:
            self._lately.clear()
            return found
        lately = self._lately
        lately.append(found.hz)
        del lately[:-3]
        near = max(_AGREE_CENTS, _AGREE_SIGMAS * found.sigma_cents)
        stands = len(lately) > 1 and abs(cents_between(lately[-2], found.hz)) < near
        goes_on = False
        if len(lately) > 2:
            step = cents_between(lately[0], lately[1])
            goes_on = abs(cents_between(lately[1], found.hz) - step) < near
        if stands or goes_on:
            return found
        flags = (*found.flags, LiveFlag.MERGED)
        return replace(found, hz=None, sigma_cents=None, flags=flags)

    def _cold(
        self, spectrum: HoldSpectrum, times: tuple[float, float], now_s: float
    ) -> PairReading | None:
        self._cold_s = now_s
        joint = estimate_jointly(spectrum, [self.pipe.hz, self._reference_hz], times)
        return self._judged(joint.courses, joint.bands, joint.chosen, times)

    def _warm(
        self, spectrum: HoldSpectrum, times: tuple[float, float], now_s: float
    ) -> PairReading | None:
        assert self._hz is not None
        was = self._hz
        seconds = times[1] - times[0]
        groups = _telling(group_partials(was, spectrum.sample_rate))
        terms = max(2, int(2.0 * seconds * _TERMS_HZ))
        if {p for group in groups for p in group.pipes} != {0, 1}:
            return None
        bands = BandSet.of(bands_of(spectrum, groups, min(was), times, terms, STEADY.movement), was)
        courses = Courses.start(bands, terms, STEADY.usual_cents)
        _, chosen = refine(bands, courses, [0, 1], _WARM_TURNS)
        found = self._judged(courses, bands, chosen, times)
        if found is not None and self._hz is not None:
            jumps = max(abs(cents_between(a, b)) for a, b in zip(was, self._hz, strict=True))
            if jumps > _JUMP_CENTS:
                self._hz = was
                return None
            if jumps > 0.5 and seconds > _WARM_S:
                # It moves: use only the sound from here on.
                lower = min(self.pipe.hz, self.reference.hz)
                self._since_s = now_s - max(_WARM_S, _PERIODS / lower) - 2.0 * EDGE_S
        return found

    def _judged(
        self,
        courses: Courses,
        bands: BandSet,
        chosen: Sequence[int],
        times: tuple[float, float],
    ) -> PairReading | None:
        seconds = times[1] - times[0]
        heard = [courses.heard(p, seconds) for p in (0, 1)]
        hz = [value for value, _ in heard]
        sigma = [CENTS_PER_NEPER * s / value for value, s in heard]
        if not np.isfinite([*hz, *sigma]).all():
            return None
        unfit = [room_asked(bands, chosen, courses, p) > _WORST_ROOM for p in (0, 1)]
        sounds = [self._stands_out(courses, bands, p) for p in (0, 1)]
        if all(unfit) or not any(sounds):
            return None
        self._bad = 0
        unison = abs(cents_between(hz[0], hz[1])) < 60.0
        pipe, other = 0, 1
        if unison and abs(hz[0] - self._reference_hz) < abs(hz[1] - self._reference_hz):
            # Nobody touches the reference, so it is the pipe that has not moved.
            pipe, other = 1, 0
        hz, sigma = [hz[pipe], hz[other]], [sigma[pipe], sigma[other]]
        unfit, sounds = [unfit[pipe], unfit[other]], [sounds[pipe], sounds[other]]
        self._hz = (hz[0], hz[1])
        flags: list[LiveFlag] = []
        sure = [sounds[p] and not unfit[p] and sigma[p] < _WORST_SIGMA_CENTS for p in (0, 1)]
        self._parted_last = not unison or (
            all(sounds) and self._parted(courses, bands, hz, seconds)
        )
        near_hz = bound_cents = None
        if not self._parted_last:
            sure = [False, False]
            flags.append(LiveFlag.MERGED)
            near_hz = float(np.sqrt(hz[0] * hz[1]))
            apart_hz = 1.0 / seconds / self._highest_of_both(courses, bands)
            bound_cents = CENTS_PER_NEPER * apart_hz / near_hz + 2.0 * min(sigma)
        elif not sure[0]:
            flags.append(LiveFlag.SILENT if not sounds[0] else LiveFlag.MERGED)
        return PairReading(
            hz[0] if sure[0] else None,
            sigma[0] if sure[0] else None,
            hz[1] if sure[1] else None,
            sigma[1] if sure[1] else None,
            seconds,
            tuple(flags),
            near_hz,
            bound_cents,
        )

    def _parted(
        self, courses: Courses, bands: BandSet, hz: Sequence[float], seconds: float
    ) -> bool:
        """Whether two near unisons part by a full turn in the window at a common partial."""
        highest = self._highest_of_both(courses, bands)
        return abs(hz[0] - hz[1]) * highest * seconds > 1.0

    def _highest_of_both(self, courses: Courses, bands: BandSet) -> int:
        return min(max(self._numbers(courses, bands, p), default=1) for p in (0, 1))

    @staticmethod
    def _numbers(courses: Courses, bands: BandSet, pipe: int) -> list[int]:
        return [
            int(bands.numbers[index, pipe])
            for index in courses.seen_in(pipe)
            if (courses.ratio[index, pipe] > _PRESENT).any()
        ]

    def _stands_out(self, courses: Courses, bands: BandSet, pipe: int) -> bool:
        numbers = self._numbers(courses, bands, pipe)
        return bool(numbers) and int(np.gcd.reduce(numbers)) == 1


def _telling(groups: Sequence[Group]) -> tuple[Group, ...]:
    """As many groups as an update has time for: the lowest, and every second one above."""
    if len(groups) <= _MOST_GROUPS:
        return tuple(groups)
    low = list(groups[: _MOST_GROUPS // 2])
    high = groups[_MOST_GROUPS // 2 :]
    step = int(np.ceil(len(high) / (_MOST_GROUPS - len(low))))
    return tuple(low + list(high[::step]))
