"""One pipe of the worklist over the whole visit: what was heard, and what was done to it.

The state outlives the pipe's turn: if it is skipped, undone or taken up again, it is still known
when a hand last touched it and where it should settle.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from walkboard.condition.settling.forecast import ANYWHERE, Forecast, Place, Warmth, forecast
from walkboard.condition.settling.ways import LIMITS as WAYS
from walkboard.condition.settling.ways import kept, usual_ways
from walkboard.listening.live.readings import LiveReading


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits for judging one pipe. Chosen, unless marked otherwise.

    Attributes
    ----------
    sure_cents : float
        Largest σ of a reading that represents the pipe's pitch [cents].
    long_s : float
        Least window of such a reading [s]; a shorter one may still contain the attack.
    between_s, forecast_s : float
        Time between two readings kept, and between two forecasts [s].
    most_heard : int
        Number of readings kept.
    moved_cents, moved_quick_cents : float
        Distance from where it should be at which a pipe has moved: by a long window and by a short
        one [cents]. A pipe may wander by 0.15.
    moved_sigmas : float
        The same, in standard deviations of the reading.
    away_s, away_sigmas : float
        Not heard for this long [s], it is expected where the forecast says for now, within so many
        σ of that [-].
    looks : int
        Looks in a row that show it has moved.
    jostled_cents : float
        A smaller move of a pipe untouched so far need not have been a hand [cents].
    unseen : float
        Probability that nobody has warmed a pipe whose key has just gone down [-]; fitted: half of
        it is no safer with warm pipes and makes unhandled ones wait twice as long (``bench
        mishaps``).
    episode_s : float
        Moves seen this close together are one handling of the pipe [s].
    meant, stuck : float
        Belief that a hand moved the pipe about as advised, and that it did not move it at all; else
        it did anything [-].
    meant_share, meant_cents : float
        How far an advised move misses, as a share of it [-] and at least [cents].
    stuck_cents : float
        How far a pipe that was only touched may be from where it stood [cents].
    anything_cents : float
        How far any other handling moves a pipe, at least [cents].
    hand_stays_s, rises_cents : float
        For this long after a move, a pipe that rises by this much is still in the hand [s],
        [cents].
    shaded_db : float
        Drop in the pipe's own level that means a hand shades it [dB]; hands took 4 to 12 (``bench
        mishaps``).
    dulls : float
        Weight of a tone's brightness in its level, since a shaded pipe is softer and duller [-];
        chosen: hands took 1 to 4 dB of it from rich tones (``bench mishaps``).
    quiet_rank_db : float
        Drop below the rank's usual level at which it may be shaded from the start [dB]; pipes of
        one rank differ by σ 3.3 dB at one microphone (a study of the project).
    restless_db, restless_rank_db : float
        A level that scatters this much (σ over a second) shows a hand's tremor; then this drop
        below the rank's level is enough [dB]. Free pipes scatter by 0.1, shaded ones by 0.4 to 1
        (``bench mishaps``).
    accepted_s : float
        How long a quiet pipe must be steady to count as simply quiet [s].
    speaks_s : float
        Time after the key goes down before a level is meaningful [s].
    """

    sure_cents: float = 0.15
    long_s: float = 0.4
    between_s: float = 0.25
    forecast_s: float = 0.5
    most_heard: int = 240
    moved_cents: float = 0.4
    moved_quick_cents: float = 1.2
    moved_sigmas: float = 4.0
    away_s: float = 3.0
    away_sigmas: float = 2.5
    looks: int = 3
    jostled_cents: float = 1.5
    unseen: float = 0.97
    episode_s: float = 3.0
    meant: float = 0.4
    stuck: float = 0.15
    meant_share: float = 0.3
    meant_cents: float = 0.1
    stuck_cents: float = 0.1
    anything_cents: float = 6.0
    hand_stays_s: float = 6.0
    rises_cents: float = 0.25
    shaded_db: float = 3.5
    dulls: float = 0.7
    quiet_rank_db: float = 7.0
    restless_db: float = 0.35
    restless_rank_db: float = 3.0
    accepted_s: float = 7.0
    speaks_s: float = 0.6


LIMITS = Limits()


@dataclass(slots=True)
class AtPipe:
    """What is known of one pipe.

    Attributes
    ----------
    warmth : Warmth
        What is expected of its kind.
    before : LiveReading or None
        Its reading before it was touched.
    quiet_since_s : float
        Time since which it has not moved [s]; infinite while it moves.
    handled_s : float or None
        When it last moved [s].
    is_moved : bool
        Whether it moved since the last advice.
    asked_cents, stood_cents : float or None
        What the last advice asked for, and where the pipe was then.
    forecast : Forecast or None
        Where it will settle.
    free_db : float or None
        Level of its own partials when nothing shades it [dB].
    is_shaded : bool
        Whether a hand is near its mouth now, as far as its level says.
    """

    warmth: Warmth
    before: LiveReading | None = None
    quiet_since_s: float = np.inf
    handled_s: float | None = None
    is_moved: bool = False
    asked_cents: float | None = None
    stood_cents: float | None = None
    forecast: Forecast | None = None
    free_db: float | None = None
    is_shaded: bool = False
    _asked_again: bool = False  # a move was advised before the last one's effect was known
    _strange: int = 0  # looks in a row away from where it should be
    _away_cents: float = 0.0
    _ways: NDArray[np.float64] | None = None  # how its last cooling went
    _offered: tuple[float, float, float] | None = None  # advised: cents, where it stood and σ
    _meant: tuple[float, float, float] | None = None  # the same of the last handling
    _first_s: float | None = None
    _forecast_s: float = -np.inf
    _sounds_since_s: float | None = None
    _quiet_from_s: float | None = None  # since when it has been quieter than its rank
    _heard: list[tuple[float, float, float]] = field(default_factory=list)
    _free_bright_db: float = 0.0
    _levels: deque[tuple[float, float, float]] = field(default_factory=lambda: deque(maxlen=60))

    @property
    def handled_forecast(self) -> Forecast | None:
        """The forecast, if the pipe has been handled or is heard cooling; else None."""
        forecast = self.forecast
        if forecast is None or (self.handled_s is None and forecast.cold_share > 0.5):
            return None
        return forecast

    def stands_as_due(self, reading: LiveReading) -> bool:
        """Whether a reading agrees with the expected pitch; counts those that do not."""
        assert reading.cents is not None
        assert reading.sigma_cents is not None
        if self.forecast is None:
            return True
        is_long = reading.window_s >= LIMITS.long_s
        least = LIMITS.moved_cents if is_long else LIMITS.moved_quick_cents
        limit = max(least, LIMITS.moved_sigmas * reading.sigma_cents)
        later_s = reading.at_s - 0.5 * reading.window_s - self._heard[-1][0]
        if later_s > LIMITS.away_s:  # taken up again: it has cooled meanwhile
            due, sigma = self.forecast.due(later_s)
            limit = max(limit, LIMITS.away_sigmas * sigma)
        else:
            due = self.forecast.settled_cents + self.forecast.above_cents
        self._away_cents = abs(reading.cents - due)
        as_due = self._away_cents <= limit
        self._strange = 0 if as_due else self._strange + 1
        return as_due

    @property
    def has_moved(self) -> bool:
        """Whether several looks in a row were away from where it should be."""
        return self._strange >= LIMITS.looks

    @property
    def is_only_jostled(self) -> bool:
        """Whether it moved so little, untouched so far, that it need not have been a hand."""
        return self.handled_s is None and self._away_cents < LIMITS.jostled_cents

    def move(self, at_s: float, *, by_hand: bool = True) -> None:
        """It has moved: earlier readings belong to another pitch."""
        self.quiet_since_s = np.inf
        if by_hand:
            if self.is_moved and self._asked_again:
                self.asked_cents = None  # two moves after one advice say nothing about the hand
            is_new = self.handled_s is None or at_s - self.handled_s > LIMITS.episode_s
            if is_new or self._offered is not None:
                self._meant, self._offered = self._offered, None
            self._keep_ways()
            self.handled_s, self.is_moved = at_s, True
        else:
            self._first_s = None
        self._strange = 0
        self._heard.clear()
        self.forecast = None
        self._forecast_s = -np.inf

    def ask(self, cents: float, stands_cents: float, sigma_cents: float) -> None:
        """A move is advised; it counts once the last one's effect is seen, or cannot be."""
        self._offered = cents, stands_cents, sigma_cents
        if self.is_moved and self.asked_cents is not None:
            self._asked_again = True
            return
        self.asked_cents, self.stood_cents = cents, stands_cents
        self.is_moved = self._asked_again = False

    def _keep_ways(self) -> None:
        """Remember how this pipe cooled, as a start for its next cooling."""
        seen = self.forecast
        if seen is None or seen.ways is None or self.handled_s is None:
            return
        usual = usual_ways(float(np.log(self.warmth.tau_s)), self.warmth.spread, WAYS)
        self._ways = kept(seen.ways, usual, WAYS)

    @property
    def _places(self) -> tuple[Place, ...]:
        """Where it may settle after the last handling, before it is heard."""
        if self._meant is None:
            return ANYWHERE
        asked, stood, sigma = self._meant
        misses = float(np.hypot(LIMITS.meant_share * asked, LIMITS.meant_cents))
        wide = max(LIMITS.anything_cents, 2.0 * abs(asked))
        return (
            Place(stood + asked, float(np.hypot(misses, sigma)), LIMITS.meant),
            Place(stood, float(np.hypot(LIMITS.stuck_cents, sigma)), LIMITS.stuck),
            Place(stood + asked, wide, 1.0 - LIMITS.meant - LIMITS.stuck),
        )

    def rest(self, at_s: float) -> float:
        """It has not moved; returns for how long [s]."""
        if not np.isfinite(self.quiet_since_s):
            self.quiet_since_s = at_s
        return at_s - self.quiet_since_s

    def leave(self) -> None:
        """Another pipe is taken up: this one's quiet ends, its state is kept."""
        self._strange = 0
        self.fall_silent()

    def fall_silent(self) -> None:
        """It is no longer heard: its level is measured again when it sounds again."""
        self.quiet_since_s = np.inf
        self.is_shaded = False
        self._quiet_from_s = self._sounds_since_s = None
        self._levels.clear()

    def see_level(self, reading: LiveReading, rank_db: float | None) -> bool:
        """Take in its level; returns True if a hand has just left its mouth.

        Parameters
        ----------
        reading : LiveReading
            With a value.
        rank_db : float or None
            Usual level of the rank's pipes when free [dB].
        """
        if reading.own_db is None:
            return False
        if self._sounds_since_s is None:
            self._sounds_since_s = reading.at_s
        if reading.at_s - self._sounds_since_s < LIMITS.speaks_s:
            return False  # it is still starting to speak, and the room fills
        self._levels.append((reading.at_s, reading.own_db, reading.bright_db or 0.0))
        recent = [level[1:] for level in self._levels if level[0] > reading.at_s - 0.3]
        now_db, now_bright_db = (float(value) for value in np.median(recent, axis=0))
        if self.free_db is None:
            gone = self._see_first_level(reading.at_s, now_db, rank_db)
            self._free_bright_db = now_bright_db
            return gone
        was = self.is_shaded
        # A hand near the mouth softens a pipe and dulls it: both count.
        softer_db = self.free_db - now_db + LIMITS.dulls * (self._free_bright_db - now_bright_db)
        self.is_shaded = softer_db > LIMITS.shaded_db
        if softer_db < -LIMITS.shaded_db and not was:
            # Louder than ever: it was shaded before.
            self.free_db, self._free_bright_db = now_db, now_bright_db
            return True
        if not self.is_shaded:
            self.free_db += 0.1 * (now_db - self.free_db)
            self._free_bright_db += 0.1 * (now_bright_db - self._free_bright_db)
        return was and not self.is_shaded

    def _see_first_level(self, at_s: float, now_db: float, rank_db: float | None) -> bool:
        is_restless = self._scatter_db(at_s) > LIMITS.restless_db
        quiet_db = LIMITS.restless_rank_db if is_restless else LIMITS.quiet_rank_db
        if rank_db is None or now_db > rank_db - quiet_db:
            was, self.is_shaded = self.is_shaded, False
            steady = len(self._levels) >= 4 and at_s - self._levels[0][0] > 0.5
            if was or steady:
                self.free_db = now_db
            return was
        if self._quiet_from_s is None:
            self._quiet_from_s = at_s
        self.is_shaded = True
        if at_s - self._quiet_from_s > LIMITS.accepted_s:
            self.free_db, self.is_shaded = now_db, False
        return False

    def _scatter_db(self, at_s: float) -> float:
        """Standard deviation of its level over the last second [dB]; 0 while that is unknown."""
        recent = [db for level_s, db, _ in self._levels if level_s > at_s - 1.05]
        return float(np.std(recent)) if len(recent) >= LIMITS.looks else 0.0

    def remember(self, reading: LiveReading) -> None:
        """Add a reading, and update the forecast now and then."""
        assert reading.cents is not None
        assert reading.sigma_cents is not None
        if self.before is None and is_sure(reading):
            self.before = reading
        if self._first_s is None:
            self._first_s = reading.at_s - reading.window_s
        since_s = self._first_s if self.handled_s is None else self.handled_s
        middle_s = reading.at_s - 0.5 * reading.window_s
        last_s = self._heard[-1][0] if self._heard else -np.inf
        if middle_s - last_s >= LIMITS.between_s and middle_s >= since_s:
            self._heard.append((middle_s, reading.cents, reading.sigma_cents))
            del self._heard[: -LIMITS.most_heard]
            self._see_rise(since_s)
        if reading.at_s - self._forecast_s >= LIMITS.forecast_s and len(self._heard) > 2:
            since_s = self._first_s if self.handled_s is None else self.handled_s
            times, cents, sigma = np.array(self._heard).T
            untouched = LIMITS.unseen if self.handled_s is None else 0.0
            self.forecast = forecast(
                times - since_s,
                cents,
                sigma,
                self.warmth,
                untouched,
                places=ANYWHERE if self.handled_s is None else self._places,
                ways=self._ways,
            )
            self._forecast_s = reading.at_s

    def _see_rise(self, since_s: float) -> None:
        """A pipe that rises just after a move is still being warmed by a hand."""
        if self.handled_s is None or self._heard[-1][0] - since_s > LIMITS.hand_stays_s:
            return
        cents = [c for _, c, _ in self._heard]
        top = int(np.argmax(cents))
        if cents[top] - cents[0] > LIMITS.rises_cents:
            self.handled_s = self._heard[top][0]
            del self._heard[:top]
            self.forecast = None
            self._forecast_s = -np.inf

    def forget_heard(self) -> None:
        """So far it was not the free pipe: start again, as for a pipe just touched."""
        self.before = None


def is_sure(reading: LiveReading) -> bool:
    """Whether a reading can represent the pipe's pitch."""
    sigma = reading.sigma_cents
    return sigma is not None and sigma < LIMITS.sure_cents and reading.window_s >= LIMITS.long_s
