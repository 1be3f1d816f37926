"""The verdict on a walk as a whole, and whether its values are trusted."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class AlsoSounding:
    """A stop that sounds but was not stated.

    Attributes
    ----------
    stop : str
        Its id; if a stated stop also sounds an octave off, that stop's id.
    keys : int
        Keys at which it was heard.
    of_keys : int
        Keys at which it could have been heard.
    semitones : int
        12 or −12 if the stop sounds through its own octave coupler, else 0.
    or_stops : tuple of str
        Stops of the same pitch that it may be instead.
    """

    stop: str
    keys: int
    of_keys: int
    semitones: int = 0
    or_stops: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Tremulant:
    """A tremulant: rate [Hz], depth of the pitch [cents] and of the level [dB], peak."""

    rate_hz: float
    depth_cents: float
    depth_db: float


@dataclass(frozen=True, slots=True)
class Cipher:
    """A pipe that sounds whichever key is held.

    Attributes
    ----------
    pipe : str or None
        The most likely pipe; None if the organ has no pipe there.
    hz : float
    start_s, end_s : float
    or_pipes : tuple of str
        Others of the same pitch.
    """

    pipe: str | None
    hz: float
    start_s: float
    end_s: float
    or_pipes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Clock:
    """The recorder's clock, which moves every pitch of a recording alike.

    Attributes
    ----------
    sigma_cents : float
        One standard deviation of what it adds to absolute pitch; differences are free of it, and
        the readings' own sigma does not contain it.
    tone_hz : float or None
        The known tone that it was measured by; None where it was not measured.
    off_cents : float or None
        By how much the recording read too high; already taken out of the readings.
    """

    sigma_cents: float
    tone_hz: float | None = None
    off_cents: float | None = None


UNMEASURED_CLOCK = Clock(0.09)
"""50 parts in a million: what the quartz of a recorder or telephone usually keeps within. Common
practice, no source."""


@dataclass(frozen=True, slots=True)
class Heard:
    """What was heard of a walk as a whole: interface.md's object ``heard``.

    Attributes
    ----------
    sentence : str
        One sentence for the tuner.
    is_walk : bool
    also_sounding : tuple of AlsoSounding
    not_sounding : tuple of str
        Stated stops that were not heard at all.
    shift_cents : float or None
        Median of all pipes relative to the description; None if nothing was measured.
    tremulant : Tremulant or None
    cipher : tuple of Cipher
    believed : bool
        Whether the values may be used; if not, each has a flag.
    question : str
        What to ask the tuner before the values are used; empty if there is nothing to ask.
    undecided : tuple of str
        What this recording cannot show, as ends of a sentence.
    clock : Clock or None
        None in walks of older versions.
    """

    sentence: str
    is_walk: bool = True
    also_sounding: tuple[AlsoSounding, ...] = ()
    not_sounding: tuple[str, ...] = ()
    shift_cents: float | None = None
    tremulant: Tremulant | None = None
    cipher: tuple[Cipher, ...] = ()
    believed: bool = True
    question: str = ""
    undecided: tuple[str, ...] = ()
    clock: Clock | None = None
