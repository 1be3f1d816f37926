"""Thresholds of recognition, in one place."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limits:
    """Thresholds of recognition; fitted by ``python -m bench situations`` unless noted.

    Attributes
    ----------
    least_distinct : float
        Different keys over holds; below this it is not a walk [-].
    also_share : float
        Share of holds with a series of an unstated pipe, above which such a pipe sounds, with one
        rank stated [-].
    also_share_several : float
        The same with several ranks stated, whose own beats leave unexplained lines [-].
    also_below_db, beside_below_db : float
        Lines more than this below the stated partials either side do not count, nor lines more than
        this below one within 45 cents [dB].
    also_faintest_db : float
        How far the strongest line of an unstated pipe may be below the loudest of the hold [dB]. A
        soft stop in a closed swell box is some 30 below; what is fainter comes with the sounding
        pipe itself. Chosen, after sampled organ sounds whose loops add half-numbered partials 41
        and 44 dB below.
    least_lines : int
        Least number of lines in a series that make a pipe.
    reach_cents : float
        How far an unstated pipe may be from its expected place [cents].
    shift_asked_cents : float
        Shift of the whole organ from which the tuner is asked [cents]. Chosen: 13 °C of air.
    shift_said_cents : float
        Shift from which it is reported [cents]. Clean walks are within 6.
    tremulant_times, tremulant_cents : float
        Line of the pitch's movement over its surroundings [-]; its least depth [cents].
    tremulant_rate_hz : float
        How much the rate may differ from hold to hold; the wind's own tremor wavers more [Hz].
    tremulant_slowest_hz : float
        Tremulants beat 3 to 8 times a second (common practice, no source), less what the rate may
        differ; slower movement is that of the wind, or the beats of several ranks [Hz].
    tremulant_db : float
        Least movement of the level [dB]; without it, shaking wind is left to the measurement.
    tremulant_deep_cents : float
        Depth from which movement at one rate is a tremulant even if the level stands still [cents].
        Chosen: twice what a shaking wind does.
    unrest_db : float
        Variation of a partial's loudness beyond what one pipe makes [dB]; the median is at most 0.6
        in clean and real walks, 1.6 or more for two in unison.
    unrest_share : float
        Share of such holds from which a second pipe sounds throughout the walk.
    plain_unrest_db, plain_unrest_share : float
        A larger variation, of which a smaller share is enough: slow beats do not show in every
        hold. No hold of clean or real walks has more than 1.6 dB in the median; two dull unisons
        have it in 4 holds of 10.
    moves_share : float
        Share of holds in which every second, or third, partial is off the others, from which an
        octave or a twelfth nearly in tune sounds: none of 240 holds of clean walks.
    moved_cents : float
        Median wander of the pipes within their holds, above which the microphone moved [cents].
    restless_cents : float
        The same of what is slow in it and not the pipe settling after its attack [cents]: .04 to
        .20 in calm and shaking wind and with real pipes, .42 and more on a phone carried about.
    unlike_cents : float
        Median difference between a pipe's rise within its hold and its neighbours' [cents]: up to
        1.1 in large rooms, 1.2 and more on a phone carried about.
    silent_share : float
        Share of holds with a value, below which a stated stop counts as not sounding [-].
    """

    least_distinct: float = 0.35
    also_share: float = 0.25
    also_share_several: float = 0.35
    also_below_db: float = 38.0
    beside_below_db: float = 22.0
    also_faintest_db: float = 40.0
    least_lines: int = 3
    reach_cents: float = 35.0
    shift_asked_cents: float = 40.0
    shift_said_cents: float = 15.0
    tremulant_times: float = 8.0
    tremulant_cents: float = 0.3
    tremulant_rate_hz: float = 0.18
    tremulant_slowest_hz: float = 2.8
    tremulant_db: float = 0.1
    tremulant_deep_cents: float = 2.0
    unrest_db: float = 1.1
    unrest_share: float = 0.5
    plain_unrest_db: float = 2.0
    plain_unrest_share: float = 0.2
    moves_share: float = 0.12
    moved_cents: float = 0.8
    restless_cents: float = 0.3
    unlike_cents: float = 1.3
    silent_share: float = 0.08


LIMITS = Limits()
