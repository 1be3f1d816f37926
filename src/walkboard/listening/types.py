"""What listening is asked to expect, and what it finds; readings are in `readings`.

Conventions. Times are seconds from the start of the recording. Frequencies are Hz of the pipe's
fundamental. Levels are dB relative to full scale (a full-scale sine is 0 dB): root of the summed
squares of the pipe's partials.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class ReadingFlag(StrEnum):
    """Why a reading is missing, or must be used with care."""

    SILENT = "silent"
    MERGED = "merged"
    UNSTEADY = "unsteady"
    FAINT = "faint"
    CLIPPED = "clipped"
    SHORT = "short"
    OCTAVE = "octave"
    FAR = "far"
    LOCKED = "locked"  # two pipes pull each other into step: neither sounds as it would alone
    OTHER = "other"  # something not declared sounds among the pipe's partials
    TREMULANT = "tremulant"
    GAP = "gap"  # the recorder dropped samples; only the longer side was read


class HoldFlag(StrEnum):
    """What was odd about a hold."""

    REPEAT = "repeat"
    OUT_OF_ORDER = "out_of_order"
    UNKNOWN_KEY = "unknown_key"
    SHORT = "short"
    CLIPPED = "clipped"
    RELEASED_LATE = "released_late"  # the key was still down when the next one was held


class Spectrum(StrEnum):
    """Which partials a pipe probably has; a hint, never a rule."""

    FULL = "full"  # open flues, reeds
    ODD = "odd"  # stopped flues: even partials weak
    BRIGHT = "bright"  # reeds: many strong partials, perhaps stronger than the fundamental


@dataclass(frozen=True, slots=True)
class Comb:
    """One strictly harmonic series that may sound.

    Attributes
    ----------
    label : str
        The caller's name for it; returned unchanged.
    hz : float
        Where its fundamental is expected [Hz].
    spectrum : Spectrum
    levels_db : tuple of float, optional
        Levels of its partials from 1, remembered from when it sounded alone, up to a common level
        [dB]; used to separate two pipes in near unison.
    """

    label: str
    hz: float
    spectrum: Spectrum = Spectrum.FULL
    levels_db: tuple[float, ...] | None = None

    def __post_init__(self) -> None:
        if not 1.0 <= self.hz <= 40_000.0:
            raise ValueError(f"a comb's fundamental must be 1 to 40 000 Hz, not {self.hz!r}")


@dataclass(frozen=True, slots=True)
class ExpectedKey:
    """One key of the walk, in walking order, with the combs that it sounds."""

    label: str
    combs: tuple[Comb, ...]


@dataclass(frozen=True, slots=True)
class SlowMovement:
    """What a pipe's pitch does slowly within a window.

    Attributes
    ----------
    rise_cents : float
        Pitch at the end of the window over that at its beginning.
    restless_cents : float
        Root mean square of the movement that is not the pipe settling after its attack.
    """

    rise_cents: float
    restless_cents: float


@dataclass(frozen=True, slots=True)
class SoundInfo:
    """What a recording is.

    Attributes
    ----------
    seconds : float
    sample_rate : int
        Sample rate of the recording itself [Hz].
    channels : int
    format : str
        Container and coding in words, for example ``FLAC, 24 bit``.
    """

    seconds: float
    sample_rate: int
    channels: int
    format: str


@dataclass(frozen=True, slots=True)
class FoundHold:
    """One held key found in a walk.

    Attributes
    ----------
    key : int or None
        Index into the expected keys; None where no expected key explains the sound.
    start_s, end_s : float
        From the key going down to its going up.
    level_db : float
    heard_hz : float or None
        The fundamental heard for the first comb, roughly (to a few cents).
    overtone : int
        1 if the pipe speaks its own pitch; 2, 3 … if it speaks that partial instead.
    sureness : float
        Probability that the key is identified correctly, 0 to 1.
    flags : tuple of HoldFlag
    """

    key: int | None
    start_s: float
    end_s: float
    level_db: float
    heard_hz: float | None
    overtone: int
    sureness: float
    flags: tuple[HoldFlag, ...] = ()


@dataclass(frozen=True, slots=True)
class Walk:
    """What was found in a recording of a walk.

    Attributes
    ----------
    holds : tuple of FoundHold
        In order of time.
    silent : tuple of int
        Expected keys between the lowest and the highest found that were not heard.
    explained : float
        Share of the energy of the sounding parts that the expected combs explain, 0 to 1; a low
        share means that a different stop was walked.
    """

    holds: tuple[FoundHold, ...]
    silent: tuple[int, ...]
    explained: float


@dataclass(frozen=True, slots=True)
class Partial:
    """One partial of a measured pipe: its number (1 is the fundamental) and level [dB]."""

    number: int
    level_db: float
