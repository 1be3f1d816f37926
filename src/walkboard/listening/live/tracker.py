"""The live tracker: follows one pipe, alone or beside a reference, block by block.

Conventions. Times are seconds of the source's clock. A deviation in cents and a beat rate are
positive when the pipe is sharp. A reading that cannot be trusted has no ``hz``, and its flags say
what is heard instead.

Each update takes two looks at the newest sound. A *quick* one (`live.quick`, the last 0.2 s or six
periods) follows a pipe that is being tuned and shows when it began to move; a *steady* one
(`live.steady`: the estimate of `hold`) covers the sound since then, so the reading tightens as the
hold lasts. For a high pipe while the room still fills, `live.reverberation` separates the two.
Beside a reference both pipes are measured jointly (`live.pair`). `live.recognise` identifies what
else sounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.live import reverberation as room
from walkboard.listening.live.hold import Hold, least_movement, stands_still
from walkboard.listening.live.limits import LIMITS
from walkboard.listening.live.now_and_then import has_gap, swings_now
from walkboard.listening.live.pair import PairTracker
from walkboard.listening.live.quick import Quick, quick_look
from walkboard.listening.live.readings import LiveFlag, LiveReading, beats_against
from walkboard.listening.live.recognise import Recognised, recognise
from walkboard.listening.live.ring import Ring
from walkboard.listening.live.steady import Steady, steady_look
from walkboard.listening.types import Comb
from walkboard.quantities import cents_between

UPDATE_S = 0.05
PAIR_UPDATE_S = 0.1
LONGEST_S = 2.5


@dataclass(frozen=True, slots=True)
class Expected:
    """What is being tuned.

    Attributes
    ----------
    pipe : Comb
        Its target: ``hz`` is what the reading is compared with.
    reference : Comb or None
        A pipe that sounds together with it, at its pitch as far as known.
    others : tuple of Comb
        The other keys of the rank, so that a key holder's slip is recognised.
    """

    pipe: Comb
    reference: Comb | None = None
    others: tuple[Comb, ...] = ()


@dataclass(slots=True)
class Tracker:
    """Follows the expected pipe.

    Attributes
    ----------
    sample_rate : int
        Sample rate of the blocks [Hz].
    expected : Expected
        What is being tuned; change it with `expect`.
    update_s : float
        Time between two readings of one pipe [s].
    longest_s : float
        Longest window of a steady reading [s]; may be changed at any time.
    """

    sample_rate: int
    expected: Expected
    update_s: float = UPDATE_S
    longest_s: float = LONGEST_S
    _ring: Ring = field(init=False)
    _hold: Hold | None = field(init=False, default=None)
    _pair: PairTracker | None = field(init=False, default=None)
    _due_s: float = field(init=False, default=-np.inf)
    _looked_s: float = field(init=False, default=-np.inf)
    _recognised: Recognised | None = field(init=False, default=None)
    _quietest: float = field(init=False, default=np.inf)

    def __post_init__(self) -> None:
        if not 4_000 <= self.sample_rate <= 400_000:
            raise ValueError(f"the sample rate must be 4 to 400 kHz, not {self.sample_rate}")
        self._ring = Ring(self.sample_rate, LIMITS.ring_s)
        self.expect(self.expected)

    def expect(self, expected: Expected) -> None:
        """Follow another pipe from now on."""
        self.expected = expected
        self._hold = None
        self._recognised = None
        self._pair = None
        if expected.reference is not None:
            self._pair = PairTracker(expected.pipe, expected.reference)

    def take(self, samples: NDArray[np.floating], start_s: float) -> tuple[LiveReading, ...]:
        """Take a block and return the readings now due, mostly one or none.

        Parameters
        ----------
        samples : ndarray, shape (n,) or (n, channels)
            Full scale ±1. Values that are not numbers count as 0.
        start_s : float
            Time of the first sample. Where it is later than the end of the last block by more than
            a few milliseconds, blocks were lost, and tracking of the hold restarts.
        """
        step_s = self.update_s if self._pair is None else max(self.update_s, PAIR_UPDATE_S)
        if self._ring.put(np.asarray(samples, dtype=np.float32), start_s):
            self._forget()
        if self._ring.end_s < self._due_s:
            return ()
        self._due_s = max(self._due_s + step_s, self._ring.end_s + 0.5 * step_s)
        return (self._read(),)

    def _forget(self) -> None:
        self._hold = None
        if self._pair is not None:
            self._pair.forget()

    def _read(self) -> LiveReading:
        now_s = self._ring.end_s
        recent = self._ring.last(max(LIMITS.quick_s, LIMITS.quick_periods / self.expected.pipe.hz))
        if len(recent) < LIMITS.shortest_s * self.sample_rate:
            return LiveReading.none(now_s, -120.0, LiveFlag.SILENT)
        level = float(np.sqrt(np.mean(recent**2)))
        flags = [LiveFlag.CLIPPED] if _clips(recent) else []
        if self._pair is not None:
            return self._read_pair(now_s, level, flags)
        near_hz = self.expected.pipe.hz if self._hold is None else self._hold.hz
        wide = self._hold is None or self._hold.missed > 0 or self._hold.is_lost
        company = None if self._hold is None else self._hold.company
        look = quick_look(recent, self.sample_rate, near_hz, wide=wide, company=company)
        if look is None or not look.heard:
            return self._not_heard(now_s, level, recent, flags)
        self._look_around(now_s, level, recent, look)
        named = self._recognised
        nearer = self._nearer(look.hz)
        if named is None and nearer is not None:
            self._hold = None
            return LiveReading.none(
                now_s, _db(level), *flags, LiveFlag.OTHER_KEY, heard=nearer.label
            )
        if named is not None and named.instead:
            self._hold = None
            return LiveReading.none(now_s, _db(level), *flags, named.flag, heard=named.label)
        if named is not None:
            flags.append(named.flag)
        reading = self._follow(now_s, level, look, flags, None if named is None else named.label)
        return self._judged(reading, look)

    def _plain(self, look: Quick) -> bool:
        """Whether it is clearly the expected pipe and nothing else."""
        away = abs(cents_between(self.expected.pipe.hz, look.hz))
        return (
            look.explained > 1.0 - LIMITS.unexplained
            and look.every_nth is None
            and away < LIMITS.plain_cents
        )

    def _nearer(self, hz: float) -> Comb | None:
        """The other key of the rank that a frequency is nearer to than to the expected pipe."""
        away = abs(cents_between(self.expected.pipe.hz, hz))
        if away < LIMITS.own_cents:
            return None
        near = min(
            self.expected.others, key=lambda comb: abs(cents_between(comb.hz, hz)), default=None
        )
        if near is None or abs(cents_between(near.hz, hz)) > min(away, LIMITS.own_cents):
            return None
        return near

    def _judged(self, reading: LiveReading, look: Quick) -> LiveReading:
        """The reading with what is odd about it; without its value if that is another pipe's."""
        hold = self._hold
        reading = replace(reading, own_db=look.own_db, bright_db=look.bright_db)
        if hold is None:
            return reading
        flags = reading.flags
        if hold.loses(look):
            return reading.without(LiveFlag.UNSTEADY)
        if swings_now(hold, reading.at_s, self._ring):
            return reading.without(LiveFlag.TREMULANT)
        if hold.is_hidden:
            return reading.without(LiveFlag.NEIGHBOUR, LiveFlag.HIDDEN)
        if hold.has_company and LiveFlag.NEIGHBOUR not in flags:
            flags = (*flags, LiveFlag.NEIGHBOUR)
        if has_gap(hold, look, reading.at_s, self._ring):
            flags = (*flags, LiveFlag.GAP)
        if (hold.steady is None or hold.doubts) and not hold.trusts(look):
            flags = (*flags, LiveFlag.UNSTEADY)
        if hold.company is None and reading.window_s < LIMITS.unjudged_s:
            flags = (*flags, LiveFlag.ATTACK)
        return replace(reading, flags=flags, company=hold.company)

    def _follow(
        self,
        now_s: float,
        level: float,
        look: Quick,
        flags: list[LiveFlag],
        heard: str | None,
    ) -> LiveReading:
        hold = self._hold
        if hold is None or abs(cents_between(hold.hz, look.hz)) > LIMITS.jump_cents:
            began_s = now_s - look.seconds
            hold = self._hold = Hold(began_s, began_s, look.hz, look.room_cents)
        hold.missed = 0
        if hold.steady is not None:
            away = abs(cents_between(hold.steady.hz, look.hz))
            limit = least_movement(hold, look, now_s)
            hold.doubts = hold.doubts + 1 if away > limit else 0
            if hold.doubts >= 2:
                hold.quiet_since_s = now_s - 0.5 * look.seconds
                hold.steady, hold.doubts, hold.moved = None, 0, True
        hold.hz, hold.room_cents = look.hz, look.room_cents
        steady = self._steady(now_s, hold) if stands_still(hold, look, now_s) else None
        if steady is None:
            if hold.moved:
                flags.append(LiveFlag.MOVING)
            sigma = float(np.hypot(look.sigma_cents, look.room_cents))
            return self._reading(now_s, look.hz, sigma, look.seconds, level, flags, heard)
        hold.judge(steady.company, steady.seconds)
        seen = None if hold.has_company else self._through_room(now_s, hold, steady)
        if seen is not None:
            hold.steady, hold.hz = seen, seen.hz
            return self._reading(
                now_s, seen.hz, seen.sigma_cents, steady.seconds, level, flags, heard
            )
        hold.steady = steady
        hold.hz = steady.hz
        # σ includes a room that still fills, or still rings with the pitch before a move.
        filled_s = now_s - steady.seconds - hold.quiet_since_s
        filling = hold.room_cents * float(np.exp(-max(0.0, filled_s) / LIMITS.room_fills_s))
        sigma = float(np.hypot(steady.sigma_cents, filling))
        return self._reading(now_s, steady.hz, sigma, steady.seconds, level, flags, heard)

    def _through_room(self, now_s: float, hold: Hold, steady: Steady) -> Steady | None:
        """A high pipe separated from the filling room; None if that does not apply."""
        into_s = now_s - hold.began_s
        is_high = self.expected.pipe.hz >= room.LOWEST_HZ
        if hold.moved or into_s > room.UNTIL_S or not is_high:
            return None
        window_s = now_s - self._begin_s(now_s, hold)
        if into_s > room.LONGEST_S and window_s > room.LONGEST_S - 0.3:
            return None
        sound = self._ring.since(max(hold.began_s, now_s - room.LONGEST_S))
        seen = room.room_look(
            sound,
            self.sample_rate,
            steady.hz,
            window_s,
            from_onset=into_s <= room.LONGEST_S,
        )
        if seen is None:
            return None
        sure = float(np.hypot(np.hypot(seen.sigma_cents, steady.sigma_cents), hold.room_cents))
        return seen if abs(cents_between(steady.hz, seen.hz)) < LIMITS.agree_sigmas * sure else None

    def _begin_s(self, now_s: float, hold: Hold) -> float:
        """Where a steady look begins: the room fills first, so the beginning is skipped."""
        into_s = now_s - hold.quiet_since_s
        return max(hold.quiet_since_s + min(1.0, into_s / 3.0), now_s - self.longest_s)

    def _steady(self, now_s: float, hold: Hold) -> Steady | None:
        hz = self.expected.pipe.hz
        begin_s = self._begin_s(now_s, hold)
        if now_s - begin_s < max(LIMITS.steady_s, LIMITS.steady_periods / hz):
            return None
        found = steady_look(
            self._ring.since(begin_s), self.sample_rate, hold.hz, begin_s - hold.quiet_since_s
        )
        if found is not None and not np.isfinite(found.sigma_cents):
            hold.judge(found.company, found.seconds)
            return None
        return found

    def _reading(  # noqa: PLR0917
        self,
        now_s: float,
        hz: float,
        sigma_cents: float,
        window_s: float,
        level: float,
        flags: Sequence[LiveFlag],
        heard: str | None,
    ) -> LiveReading:
        if sigma_cents > LIMITS.worst_sigma_cents:
            return LiveReading.none(now_s, _db(level), *flags, LiveFlag.FAINT, heard=heard)
        return LiveReading(
            at_s=now_s,
            hz=hz,
            sigma_cents=sigma_cents,
            cents=cents_between(self.expected.pipe.hz, hz),
            beats_per_second=hz - self.expected.pipe.hz,
            level_db=_db(level),
            window_s=window_s,
            flags=tuple(flags),
            heard=heard,
        )

    def _read_pair(self, now_s: float, level: float, flags: list[LiveFlag]) -> LiveReading:
        assert self._pair is not None
        reference = self.expected.reference
        assert reference is not None
        found = self._pair.read(self._ring, now_s)
        if found is None:
            recent = self._ring.last(0.3)
            self._look_around(now_s, level, recent, None)
            named = self._recognised
            flag = LiveFlag.SILENT if self._pair.silent else LiveFlag.MERGED
            if named is not None and named.instead:
                flag = named.flag
            label = None if named is None else named.label
            return LiveReading.none(now_s, _db(level), *flags, flag, heard=label)
        flags += found.flags
        return LiveReading(
            at_s=now_s,
            hz=found.hz,
            sigma_cents=found.sigma_cents,
            cents=None if found.hz is None else cents_between(self.expected.pipe.hz, found.hz),
            beats_per_second=None
            if found.hz is None or found.reference_hz is None
            else beats_against(found.hz, found.reference_hz),
            level_db=_db(level),
            window_s=found.seconds,
            flags=tuple(flags),
            reference_hz=found.reference_hz,
            reference_sigma_cents=found.reference_sigma_cents,
            near_hz=found.near_hz,
            bound_cents=found.bound_cents,
        )

    def _not_heard(
        self, now_s: float, level: float, recent: NDArray[np.float32], flags: list[LiveFlag]
    ) -> LiveReading:
        if self._hold is not None:
            self._hold.missed += 1
            if self._hold.missed > 3:
                self._hold = None
        self._quietest = min(1.02 * self._quietest, max(level, 1e-6))
        self._look_around(now_s, level, recent, None)
        named = self._recognised
        if named is not None:
            return LiveReading.none(now_s, _db(level), *flags, named.flag, heard=named.label)
        loud = level > 4.0 * self._quietest and level > 1e-4
        flag = LiveFlag.NOISE if loud else LiveFlag.SILENT
        return LiveReading.none(now_s, _db(level), *flags, flag)

    def _look_around(
        self, now_s: float, level: float, recent: NDArray[np.float32], look: Quick | None
    ) -> None:
        """Check now and then what else sounds; the last answer is kept in between."""
        if look is not None and self._plain(look):
            self._recognised = None
            return
        # A continuing hold rarely changes to another pipe; a new one is checked at once.
        if self._hold is not None and now_s - self._looked_s < LIMITS.recognise_s:
            return
        if level < 1e-6:
            self._recognised = None
            return
        self._looked_s = now_s
        pipe = self.expected.pipe if self._hold is None else Comb("", self._hold.hz)
        span = self._ring.last(max(0.25, 10.0 / self.expected.pipe.hz))
        span = span if len(span) > len(recent) else recent
        self._recognised = recognise(
            span, self.sample_rate, pipe, self.expected.others, pipe_is_heard=look is not None
        )


def _clips(samples: NDArray[np.float32]) -> bool:
    size = np.abs(samples)
    return bool(np.count_nonzero(size >= LIMITS.clipped) >= 4)


def _db(level: float) -> float:
    """Level of a root mean square; a full-scale sine is 0 dB."""
    return float(20.0 * np.log10(max(level, 1e-7)) + 3.01)
