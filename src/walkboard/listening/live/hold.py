"""What is known of the hold sounding now."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import numpy as np

from walkboard.listening.live.company import Company
from walkboard.listening.live.limits import LIMITS
from walkboard.listening.live.quick import Quick
from walkboard.listening.live.steady import Steady
from walkboard.quantities import cents_between


@dataclass(slots=True)
class Hold:
    """One hold of one pipe.

    Attributes
    ----------
    began_s : float
        When it began [s].
    quiet_since_s : float
        Time since which nothing has moved [s].
    hz : float
        Where the pipe was last heard [Hz].
    room_cents : float
        Uncertainty that a filling room may add [cents].
    steady : Steady or None
        The last steady look, as long as the pipe does not move.
    moved : bool
        Whether the pipe has moved since the hold began.
    company : Company or None
        The current verdict on what else sounds.
    is_hidden : bool
        Whether another pipe covers all its partials.
    swings : bool
        Whether the pitch swings as under a tremulant.
    is_lost : bool
        Whether the last quick look was not trusted, so that the next one searches wider.
    gap_asked_s, gap_s : float
        When samples were last checked for a gap, and when one was found [s].
    voices : deque of (float, bool)
        The last looks: when, and whether something other than the pipe held much of the sound.
    """

    began_s: float
    quiet_since_s: float
    hz: float
    room_cents: float
    steady: Steady | None = None
    looks: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=12))
    moved: bool = False
    doubts: int = 0
    missed: int = 0
    company: Company | None = None
    is_hidden: bool = False
    swings: bool = False
    swing_asked_s: float = -np.inf
    is_lost: bool = False
    gap_asked_s: float = -np.inf
    gap_s: float = -np.inf
    voices: deque[tuple[float, bool]] = field(default_factory=lambda: deque(maxlen=30))
    _usual_explained: float = 0.0
    _usual_db: float = -np.inf
    _alone: int = 0
    _hidden: int = 0

    @property
    def has_company(self) -> bool:
        """Whether another pipe sounds with it."""
        return self.company is not None and not self.company.is_alone

    def trusts(self, look: Quick) -> bool:
        """Whether a quick look explains as much of the sound as usual, and its partials agree.

        If not, it was made while the pipe jumped, or something else sounds.
        """
        self._usual_explained = max(LIMITS.fades * self._usual_explained, look.explained)
        holds = look.explained > LIMITS.holds * self._usual_explained
        # A look that disagrees with the steady one counts once a second one confirms it.
        self.is_lost = not (holds and look.agrees)
        return not self.is_lost and self.doubts != 1

    def loses(self, look: Quick) -> bool:
        """Whether the look follows only the room's echo of a pipe that has moved elsewhere.

        The partials have nearly vanished from where they were, and hold little of the sound.
        """
        self._usual_db = max(self._usual_db - LIMITS.forgets_db, look.own_db)
        gone = look.explained < LIMITS.gone_share and look.own_db < self._usual_db - LIMITS.gone_db
        self.is_lost = self.is_lost or gone
        return gone

    def judge(self, company: Company | None, seconds: float) -> None:
        """Take in a verdict from a window of this length."""
        if company is None:
            return
        self._hidden = self._hidden + 1 if company.is_hidden else 0
        clears = company.is_alone and seconds >= LIMITS.believed_s
        self._alone = self._alone + 1 if clears else 0
        if company.is_hidden:
            if self._hidden >= LIMITS.in_a_row:
                self.is_hidden, self.company = True, company
            return
        cleared = self.company is None or self.company.is_alone or self._alone >= LIMITS.in_a_row
        if cleared or not company.is_alone:
            self.is_hidden, self.company = False, company


def stands_still(hold: Hold, look: Quick, now_s: float) -> bool:
    """Whether the most recent quick looks agree; remembers the newest."""
    hold.looks.append((now_s, look.hz))
    before = [hz for at_s, hz in hold.looks if at_s <= now_s - LIMITS.still_s + 0.01]
    if hold.steady is not None or not before:
        return True
    if abs(cents_between(before[-1], look.hz)) < 0.7 * least_movement(hold, look, now_s):
        return True
    hold.quiet_since_s = max(hold.quiet_since_s, now_s - look.seconds)
    return False


def least_movement(hold: Hold, look: Quick, now_s: float) -> float:
    """Difference of two looks from which a pipe counts as moved [cents]."""
    filling = float(np.exp(-(now_s - hold.began_s) / (2.0 * LIMITS.room_fills_s)))
    sigma = float(np.hypot(look.sigma_cents, look.room_cents * filling))
    return max(LIMITS.moved_cents, LIMITS.moved_sigmas * sigma)
