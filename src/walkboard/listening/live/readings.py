"""What the live tracker returns, about twenty times a second."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from walkboard.listening.live.company import Company

_TOGETHER_CENTS = 60.0
_MOST_NUMBER = 12


class LiveFlag(StrEnum):
    """What is odd about a live reading, or what is heard instead."""

    SILENT = "silent"  # nothing sounds
    NOISE = "noise"  # something sounds that is not a pipe of the rank
    OTHER_KEY = "other_key"  # another key of the rank is held instead
    NEIGHBOUR = "neighbour"  # another pipe sounds too
    OCTAVE = "octave"  # the pipe speaks an overtone
    HIDDEN = "hidden"  # another pipe covers all its partials
    UNSTEADY = "unsteady"  # what sounds is not one steady pipe: speech, a knock, the attack
    ATTACK = "attack"  # the key has just gone down: nothing has shown yet that the pipe is alone
    TREMULANT = "tremulant"  # the pitch swings as a tremulant makes it
    MOVING = "moving"  # the pipe has just been moved
    FAINT = "faint"  # too uncertain for a value
    MERGED = "merged"  # pipe and reference cannot be separated yet
    GAP = "gap"  # samples are missing in the sound
    CLIPPED = "clipped"


@dataclass(frozen=True, slots=True)
class LiveReading:
    """One update.

    Attributes
    ----------
    at_s : float
        Time of the newest sample in it.
    hz, sigma_cents : float or None
        The pipe's mean fundamental over the window [Hz] and one standard deviation [cents].
    cents : float or None
        Against the target, + is sharp.
    beats_per_second : float or None
        Against the target at the fundamental, or against the reference where one sounds, at the
        lowest partials that meet; + is sharp.
    level_db : float
        Level of the whole sound; a full-scale sine is 0 dB.
    window_s : float
        Length of the window.
    flags : tuple of LiveFlag
    heard : str or None
        Label of the other comb that is heard.
    reference_hz, reference_sigma_cents : float or None
        Pitch of the reference, if one is expected.
    near_hz, bound_cents : float or None
        For a pipe merged with its reference: both are within the bound of this place.
    company : Company or None
        What its partials show of other pipes.
    own_db, bright_db : float or None
        Level and brightness of the pipe's own partials; see `live.quick.Quick`.
    """

    at_s: float
    hz: float | None
    sigma_cents: float | None
    cents: float | None
    beats_per_second: float | None
    level_db: float
    window_s: float = 0.0
    flags: tuple[LiveFlag, ...] = ()
    heard: str | None = None
    reference_hz: float | None = None
    reference_sigma_cents: float | None = None
    near_hz: float | None = None
    bound_cents: float | None = None
    company: Company | None = None
    own_db: float | None = None
    bright_db: float | None = None

    @property
    def is_plain(self) -> bool:
        """Whether it has a value and nothing odd about it except clipping."""
        return self.cents is not None and all(flag is LiveFlag.CLIPPED for flag in self.flags)

    def without(self, *flags: LiveFlag) -> LiveReading:
        """The same without its value, for these reasons."""
        more = tuple(flag for flag in flags if flag not in self.flags)
        return replace(
            self,
            hz=None,
            sigma_cents=None,
            cents=None,
            beats_per_second=None,
            flags=(*self.flags, *more),
        )

    @classmethod
    def none(
        cls, at_s: float, level_db: float, *flags: LiveFlag, heard: str | None = None
    ) -> LiveReading:
        """A reading without a value."""
        return cls(at_s, None, None, None, None, level_db, flags=flags, heard=heard)


def beats_against(hz: float, reference_hz: float) -> float:
    """Beats a second of the lowest partials of two pipes that meet, + where the first is sharp.

    Parameters
    ----------
    hz, reference_hz : float
        Fundamentals [Hz].
    """
    for number in range(1, _MOST_NUMBER + 1):
        other = round(number * hz / reference_hz)
        if other < 1:
            continue
        apart = abs(number * hz / (other * reference_hz) - 1.0)
        if apart < _TOGETHER_CENTS / 1731.234:
            return number * hz - other * reference_hz
    return hz - reference_hz
