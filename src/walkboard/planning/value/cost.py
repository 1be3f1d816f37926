"""What an out-of-tune pipe costs the listener.

Two things are heard. A pipe a little off **beats** with what it sounds with:

    ψ(d) = u²/(1 + u²),  u = d/γ,  1/γ² = (f/1731/b₀)² + 1/c₀²

Half of it is reached at b₀ = 0.8 beats a second, or at c₀ = 8 cents for pipes so low that they
hardly beat; near the target it grows with the square of the deviation, far off it levels out. d is
the deviation from the target [cents], f the frequency at which the beats are heard [Hz]; f·d/1731
is the beat rate against a pipe in tune (arithmetic: 1731.234 cents are a ratio of e). The pipes it
sounds with are never quite in tune themselves, so the mean over their usual scatter counts: a pipe
0.5 cent off in the treble is then not worth a minute.

A pipe far off **sticks out**: as roughness and as a wrong note, whatever the other pipes do.
Listeners notice the sourest moment, not the mean, so a stray of more than 10 cents in the played
range costs a badness of 0.35 more.

Unit: badness 1 is one open flue pipe of average loudness on the most used key with the roughest
beats. Fitted on organs and hymns that judge nothing else (`python -m bench ear_fit`), under models
of fluctuation strength and roughness from their papers; `python -m bench ear` judges. A pipe's
pitch is not known exactly: the badness is the mean over a normal forecast.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, voigt_profile

from walkboard.planning.arrays import FloatArray
from walkboard.quantities import CENTS_PER_NEPER


@dataclass(frozen=True, slots=True)
class Limits:
    """Constants of the cost.

    Attributes
    ----------
    half_beats_hz : float
        b₀: beats a second at which half the badness of beats is reached.
    half_cents : float
        c₀: deviation at which half is reached in the lowest bass [cents].
    neighbours_cents : float
        Usual scatter of what a pipe sounds with, one standard deviation [cents].
    stray_cents : float
        Deviation from which a pipe sticks out [cents].
    stray_edge_cents : float
        How gradual this limit is, one standard deviation [cents].
    stray_badness : float
        Cost of sticking out, loud or soft.
    treble_hz : float
        Where beats are heard half as much as lower ones, by the pitch of the partials that beat.
    lowest_key, highest_key : int
        Range of keys in which a stray counts, MIDI numbers; on a pedal from its lowest key.
    left_hz, left_least_cents, left_most_cents, left_reed_cents : float
        Error left by tuning, one standard deviation: a flue without an audible beat in five to ten
        seconds, at most some cents in the bass; a reed to a cent.
    """

    half_beats_hz: float = 0.8  # fitted by bench ear_fit
    half_cents: float = 8.0  # chosen; ear_fit is flat from 4 to 30
    neighbours_cents: float = 0.75  # fitted by bench ear_fit
    stray_cents: float = 10.0  # chosen
    stray_edge_cents: float = 1.0  # chosen
    stray_badness: float = 0.35  # fitted by bench ear_fit at 60 minutes, where not all strays fit
    treble_hz: float = 5000.0  # fitted by bench ear_fit
    lowest_key: int = 48  # C3; chosen
    highest_key: int = 84  # C6; chosen
    left_hz: float = 0.1  # common practice, no source
    left_least_cents: float = 0.2  # common practice, no source
    left_most_cents: float = 1.5  # common practice, no source
    left_reed_cents: float = 1.0  # common practice, no source


LIMITS = Limits()


def half_width_cents(hz: FloatArray | float) -> FloatArray:
    """Deviation γ at which half of the badness of beats is reached [cents]; broadcasts.

    Examples
    --------
    >>> [round(float(half_width_cents(f)), 2) for f in (32.7, 261.6, 1046.5)]
    [7.86, 4.42, 1.31]
    """
    beats = np.asarray(hz, dtype=np.float64) / (CENTS_PER_NEPER * LIMITS.half_beats_hz)
    width: FloatArray = 1.0 / np.sqrt(beats**2 + 1.0 / LIMITS.half_cents**2)
    return width


def heard_in_treble(hz: FloatArray) -> FloatArray:
    """How much beats of partials at a pitch are heard, 1 in the bass to 0; broadcasts.

    Parameters
    ----------
    hz : array
        Frequency at which the beats are heard.

    Notes
    -----
    Beats of high partials are hidden by what lies below them, of the same pipe and its company.
    """
    heard: FloatArray = 1.0 / (1.0 + (hz / LIMITS.treble_hz) ** 2)
    return heard


def badness(deviation_cents: FloatArray | float, hz: FloatArray | float) -> FloatArray:
    """Badness ψ of the beats of a pipe exactly so far off, 0 to 1; broadcasts."""
    u2 = (np.asarray(deviation_cents, dtype=np.float64) / half_width_cents(hz)) ** 2
    psi: FloatArray = u2 / (1.0 + u2)
    return psi


def expected_badness(
    deviation_cents: FloatArray | float, sigma_cents: FloatArray | float, hz: FloatArray | float
) -> FloatArray:
    """Mean of ψ for a normal deviation (mean, σ) [-]; broadcasts.

    Parameters
    ----------
    deviation_cents, sigma_cents : float or array
        Mean and standard deviation of the pipe's deviation [cents]; σ may be 0.
    hz : float or array
        Frequency at which its beats are heard.

    Notes
    -----
    1 − ψ is a Lorentzian of half width γ, so its mean under a normal is the Voigt profile: E ψ = 1
    − π γ V(d; σ, γ), exact, with V from the Faddeeva function (scipy.special.voigt_profile;
    Johnson's implementation states a relative error below 1e-13). Subtraction from 1 leaves an
    absolute error of about 1e-15.
    """
    gamma = half_width_cents(hz)
    profile = voigt_profile(deviation_cents, sigma_cents, gamma)
    mean: FloatArray = np.maximum(0.0, 1.0 - np.pi * gamma * profile)
    return mean


def heard_badness(
    deviation_cents: FloatArray | float, sigma_cents: FloatArray | float, hz: FloatArray | float
) -> FloatArray:
    """The same among pipes with the usual scatter; broadcasts.

    Parameters
    ----------
    deviation_cents, sigma_cents, hz : float or array
        As in `expected_badness`.
    """
    both = np.hypot(sigma_cents, LIMITS.neighbours_cents)
    return expected_badness(deviation_cents, both, hz)


def chance_stray(
    deviation_cents: FloatArray | float, sigma_cents: FloatArray | float
) -> FloatArray:
    """Chance that a pipe with a normal deviation (mean, σ) sticks out; broadcasts.

    Examples
    --------
    >>> [round(float(chance_stray(d, 0.1)), 3) for d in (1.0, 8.0, 10.0, 15.0)]
    [0.0, 0.023, 0.5, 1.0]
    """
    spread = np.hypot(sigma_cents, LIMITS.stray_edge_cents)
    off = np.asarray(deviation_cents, dtype=np.float64)
    above = ndtr((off - LIMITS.stray_cents) / spread)
    below = ndtr((-off - LIMITS.stray_cents) / spread)
    chance: FloatArray = above + below
    return chance


def steepest_bend(hz: FloatArray, weight: FloatArray, stray: FloatArray) -> FloatArray:
    """The largest second derivative of a pipe's cost by its deviation [1/cents²].

    Parameters
    ----------
    hz : (n,) array
        Frequency at which its beats are heard.
    weight : (n,) array
        Weight of its beats.
    stray : (n,) array
        Its cost of sticking out.

    Returns
    -------
    (n,) array

    Notes
    -----
    ψ'' = 2γ²(γ² − 3d²)/(γ² + d²)³ is largest at d = 0: 2/γ². A normal distribution function of
    spread s bends by at most e^(−1/2)/√(2π)/s² = 0.242/s². A mean over a forecast bends no more.
    """
    beats = weight * 2.0 / half_width_cents(hz) ** 2
    bend: FloatArray = beats + stray * 0.242 / LIMITS.stray_edge_cents**2
    return bend


def left_by_tuning_cents(hz: float, *, reed: bool) -> float:
    """How far off a tuned pipe may be left, one standard deviation [cents]."""
    if reed:
        return LIMITS.left_reed_cents
    by_beats = LIMITS.left_hz * CENTS_PER_NEPER / hz
    return min(LIMITS.left_most_cents, max(LIMITS.left_least_cents, by_beats))
