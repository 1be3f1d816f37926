"""Thresholds of the live tracker and of the hold that it follows."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limits:
    """Of following one pipe. Chosen, where no origin is said.

    Attributes
    ----------
    ring_s : float
        Sound that is kept [s].
    shortest_s : float
        Sound without which nothing is read [s].
    quick_s, quick_periods : float
        Stretch of a quick look, at least [s], and in periods of the pipe [-]: a raised cosine keeps
        partials apart from six on (derived).
    steady_s, steady_periods : float
        The same of a steady look [s], [-].
    jump_cents : float
        Between two looks, from which it is another hold [cents].
    own_cents, plain_cents : float
        From the target, within which it is the pipe whatever else is near, and plainly so [cents].
    recognise_s : float
        Between two looks at what else sounds [s].
    unexplained : float
        Share of the power from which something else sounds [-].
    clipped : float
        Of full scale, from which a sample is clipped [-].
    swings_every_s, swings_from_s : float
        How often a tremulant is asked for, and from when in a hold [s].
    gap_sound_s, gap_every_s, gap_margin_s, gap_reported_s : float
        Sound in which missing samples are looked for (what `find_gap` needs and a quarter), how
        often, how much around a gap is left out, how long it is reported [s].
    gap_share : float
        Of the sound that is the pipe's, below which a voice may jump instead [-].
    agree_sigmas : float
        That two ways of looking may differ by.
    worst_sigma_cents : float
        From which there is no value [cents].
    room_fills_s : float
        Time constant of a room that fills [s].
    moved_cents, moved_sigmas : float
        Difference of two looks from which a pipe has moved, at least [cents], and in σ.
    still_s : float
        Over which a pipe must have stood still to be read steadily [s].
    believed_s : float
        A shorter window cannot clear a pipe of what a longer one has heard [s].
    holds, fades : float
        Of the share of the sound that looks usually hold, below which one is not trusted; how that
        fades from look to look [-].
    gone_db, gone_share : float
        Softer than usual by so much, and holding so little of the sound, a pipe is elsewhere [dB],
        [-]; fitted by ``bench mishaps``.
    forgets_db : float
        Of how loud it usually is, from look to look [dB].
    in_a_row : int
        Verdicts that a pipe is hidden, or alone again, until that is believed.
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
    gone_share: float = 0.2
    forgets_db: float = 0.1
    in_a_row: int = 2
    room_fills_s: float = 0.25


LIMITS = Limits()
