"""Checks of a hold that are made only now and then: a tremulant, and missing samples."""

from __future__ import annotations

import numpy as np

from walkboard.listening.hold.gaps import find_gap
from walkboard.listening.hold.spectrum import spectrum_of_hold
from walkboard.listening.live.hold import Hold
from walkboard.listening.live.limits import LIMITS
from walkboard.listening.live.quick import Quick
from walkboard.listening.live.ring import Ring
from walkboard.listening.live.tremulant import swings


def swings_now(hold: Hold, now_s: float, ring: Ring) -> bool:
    """Whether a tremulant is on; between two checks the last answer is kept."""
    if (
        now_s - hold.swing_asked_s >= LIMITS.swings_every_s
        and now_s - hold.began_s > LIMITS.swings_from_s
    ):
        hold.swing_asked_s = now_s
        sound = ring.since(max(hold.began_s + 0.15, now_s - 1.0))
        hold.swings = swings(sound, ring.sample_rate, hold.hz)
    return hold.swings


def has_gap(hold: Hold, look: Quick, now_s: float, ring: Ring) -> bool:
    """Whether samples went missing a moment ago; if so, the hold is read from there on."""
    hold.voices.append((now_s, not look.agrees or look.explained < LIMITS.gap_share))
    strange = [is_strange for at_s, is_strange in hold.voices if at_s > now_s - LIMITS.gap_sound_s]
    is_still = now_s - hold.quiet_since_s >= LIMITS.gap_sound_s and float(np.mean(strange)) < 0.4
    if is_still and now_s - hold.gap_asked_s >= LIMITS.gap_every_s:
        hold.gap_asked_s = now_s
        sound = ring.last(LIMITS.gap_sound_s)
        at_s = find_gap(spectrum_of_hold(sound[:, np.newaxis], ring.sample_rate))
        if at_s is not None:
            hold.quiet_since_s = now_s - LIMITS.gap_sound_s + at_s + LIMITS.gap_margin_s
            hold.steady, hold.gap_s = None, now_s
    return now_s - hold.gap_s < LIMITS.gap_reported_s
