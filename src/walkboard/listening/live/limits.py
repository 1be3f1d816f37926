"""Thresholds of the live tracker and of the hold that it follows."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits for following one pipe. Chosen, unless marked otherwise.

    Attributes
    ----------
    ring_s : float
        Length of sound kept [s].
    shortest_s : float
        Least sound for any reading [s].
    quick_s, quick_periods : float
        Length of a quick look, at least [s], and in periods of the pipe [-]: a raised cosine
        separates partials from six periods on (derived).
    steady_s, steady_periods : float
        The same of a steady look [s], [-].
    jump_cents : float
        Change between two looks that means another hold [cents].
    own_cents, plain_cents : float
        Within these of the target it is the pipe whatever else is near, and clearly so [cents].
    recognise_s : float
        Time between two looks at what else sounds [s].
    unexplained : float
        Unexplained share of the power from which something else sounds [-].
    clipped : float
        Share of full scale from which a sample is clipped [-].
    swings_every_s, swings_from_s : float
        How often to check for a tremulant, and from when in a hold [s].
    gap_sound_s, gap_every_s, gap_margin_s, gap_reported_s : float
        Sound searched for missing samples (what `find_gap` needs plus a quarter), how often, how
        much is skipped around a gap, and how long it is reported [s].
    gap_share : float
        The pipe's share of the sound, below which the jump may be a voice [-].
    agree_sigmas : float
        How far two kinds of look may differ, in σ.
    worst_sigma_cents : float
        σ from which there is no value [cents].
    room_fills_s : float
        Time constant of a filling room [s].
    moved_cents, moved_sigmas : float
        Difference of two looks from which a pipe has moved, at least [cents], and in σ.
    still_s : float
        How long a pipe must not have moved before a steady look [s].
    believed_s : float
        A shorter window cannot clear a pipe of what a longer one has heard [s].
    holds, fades : float
        Share of the usually explained sound below which a look is not trusted; how that memory
        fades from look to look [-].
    gone_db, gone_share : float
        Softer than usual by this much, and with this little of the sound, the pipe has moved
        elsewhere [dB], [-]; fitted by ``bench mishaps``.
    forgets_db : float
        How fast the usual loudness is forgotten, per look [dB].
    unjudged_s : float
        A hold that no steady look has judged gets a caution until its window is this long [s]:
        beside an octave or a unison, the first looks were up to 8 cents wrong; fitted by ``bench
        mishaps``.
    in_a_row : int
        Verdicts in a row that a pipe is hidden, or alone again, before that counts.
    """

    ring_s: float = 4.0
    shortest_s: float = 0.12
    quick_s: float = 0.2
    quick_periods: float = 7.0
    steady_s: float = 0.45
    steady_periods: float = 14.0
    jump_cents: float = 60.0
    own_cents: float = 50.0
    plain_cents: float = 35.0
    recognise_s: float = 0.15
    unexplained: float = 0.06
    clipped: float = 0.999
    swings_every_s: float = 0.2
    swings_from_s: float = 1.15
    gap_sound_s: float = 1.15
    gap_every_s: float = 0.2
    gap_margin_s: float = 0.06
    gap_reported_s: float = 0.5
    gap_share: float = 0.7
    agree_sigmas: float = 4.0
    worst_sigma_cents: float = 3.0
    moved_cents: float = 0.5
    moved_sigmas: float = 5.0
    still_s: float = 0.3
    believed_s: float = 0.8
    holds: float = 0.7
    fades: float = 0.98
    gone_db: float = 12.0
    gone_share: float = 0.45
    forgets_db: float = 0.1
    unjudged_s: float = 0.6
    in_a_row: int = 2
    room_fills_s: float = 0.25


LIMITS = Limits()
